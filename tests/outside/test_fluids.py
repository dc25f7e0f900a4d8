"""Fluids and lens as `motefield plan` uses them: what the plan prints is solved for the fluid's
properties, which must be those of iapws (IAPWS formulations), CoolProp and GalSim (air's index)."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from galsim.dcr import air_refractive_index_minus_one
from iapws import IAPWS95
from iapws._iapws import _Refractive
from scipy import constants
from scipy.integrate import quad
from scipy.special import j1

RIG = """
[light]
wavelength = "{nm} nm"
power = "2 W"
pulse_length = "100 us"
hazard_class = "4"
[sheet]
thickness = "1 mm"
height = "50 mm"
[tracer]
diameter = "2 um"
density = "1500 kg/m3"
refractive_index = 1.6
[fluid]
kind = "{fluid}"
temperature = "{celsius} degC"
[lens]
magnification = 0.2
aperture = "f/2.8"
[camera]
size = [256, 256]
pixel = "5 um"
quantum_efficiency = 0.6
[image]
seeding_density = "0.02 ppp"
[flow]
kind = "uniform"
velocity = ["0.1 m/s", "0 m/s"]
[timing]
separation = "1 ms"
"""
DIAMETER_M, DENSITY_KG_M3, MAGNIFICATION, F_NUMBER = 2e-6, 1500, 0.2, 2.8


def planned(program, fluid, celsius, nm):
    """The plan, and the viscosity, density and index it was made with: response time rho_p d^2/(18
    mu), settling velocity d^2 (rho_p - rho) g/(18 mu), and the solid angle 2 pi (1 - cos a) of the
    cone with n sin a = M/(2 f# (1 + M))."""
    plan = program.json("plan", program.setup(RIG.format(fluid=fluid, celsius=celsius, nm=nm)))
    viscosity = DENSITY_KG_M3 * DIAMETER_M**2 / (18 * plan["response_time_s"])
    density = DENSITY_KG_M3 - plan["settling_velocity_m_s"] * 18 * viscosity / (DIAMETER_M**2 * constants.g)
    half_angle = np.arccos(1 - plan["solid_angle_sr"] / (2 * np.pi))
    index = MAGNIFICATION / (2 * F_NUMBER * (1 + MAGNIFICATION)) / np.sin(half_angle)
    return plan, viscosity, density, index


@pytest.mark.parametrize("celsius, nm", [(0.5, 355), (10, 450), (20, 532), (35, 589.3), (60, 640), (95, 808)])
def test_water(program, celsius, nm):
    """Index within 6e-5, the uncertainty that IAPWS R9-97 states in visible light; viscosity within
    1 %, that of IAPWS SR6-08, which the program uses; density within 0.01 %."""
    _, viscosity, density, index = planned(program, "water", celsius, nm)
    reference = IAPWS95(T=celsius + 273.15, P=0.1)
    assert index == pytest.approx(_Refractive(reference.rho, reference.T, nm / 1000), abs=6e-5)
    assert viscosity == pytest.approx(reference.mu, rel=0.01)
    assert density == pytest.approx(reference.rho, rel=1e-4)


@pytest.mark.parametrize("celsius, nm", [(-40, 355), (0, 450), (20, 532), (50, 640), (95, 808)])
def test_air(program, celsius, nm):
    """Density within 0.2 % (the ideal gas law's error in air) of 1.5 kg/m3 at most; viscosity
    within 1 % (Sutherland's law against CoolProp's correlation); index within 2e-6: Edlen's formula
    of 1953 in GalSim and the one of 1972 differ by 1e-7 or so."""
    _, viscosity, density, index = planned(program, "air", celsius, nm)
    kelvin = celsius + 273.15
    assert viscosity == pytest.approx(PropsSI("V", "T", kelvin, "P", 101325, "Air"), rel=0.01)
    assert density == pytest.approx(PropsSI("D", "T", kelvin, "P", 101325, "Air"), abs=0.003)
    expected = air_refractive_index_minus_one(nm, pressure=101.325, temperature=kelvin, H2O_pressure=0)
    assert index - 1 == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize("fluid, nm", [("water", 450), ("air", 532)])
def test_lens(program, fluid, nm):
    """The diffraction pattern (2 J1(v)/v)^2, v = pi r/(f# (1 + M) lambda), by scipy's Bessel
    function: the Gaussian with its peak and its light has the e^-2 diameter 4 sigma, 2 pi sigma^2
    being the light over the peak. To 1e-6, since both are exact."""
    plan, _, _, index = planned(program, fluid, 20, nm)
    scale = F_NUMBER * (1 + MAGNIFICATION) * nm * 1e-9 / np.pi
    # The light inside v falls short of the whole by J0(v)^2 + J1(v)^2 of it, about 2/(pi v); over
    # zeros 4 pi apart the oscillating part is gone, and what is left is added.
    end = 2000.0
    light = 2 * np.pi * quad(lambda v: (2 * j1(v) / v) ** 2 * v, 0, end, limit=5000)[0]
    light /= 1 - 2 / (np.pi * end)
    sigma = scale * np.sqrt(light / (2 * np.pi))
    assert plan["diffraction_diameter_m"] == pytest.approx(4 * sigma, rel=1e-6)
    assert plan["geometric_diameter_m"] == pytest.approx(MAGNIFICATION * DIAMETER_M, rel=1e-12)
    size = np.hypot(plan["diffraction_diameter_m"], plan["geometric_diameter_m"]) / 5e-6
    assert plan["particle_image_diameter_px"] == pytest.approx(size, rel=1e-12)
    # At the end of the depth of field the disc of defocus is as large as the first dark ring
    # (J1(3.8317) = 0), half of it on either side; behind a flat window depth counts 1/n.
    ring = 2 * 3.8317059702075125 * scale
    depth = plan["depth_of_field_m"] / 2
    disc = MAGNIFICATION**2 * depth / (index * F_NUMBER * (1 + MAGNIFICATION))
    assert disc == pytest.approx(ring, rel=1e-6)
