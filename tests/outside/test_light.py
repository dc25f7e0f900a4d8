"""`motefield plan` on the rig of cases/flume.toml against an independent computation of its light,
end to end.
"""

import tomllib
from pathlib import Path

import miepython
import numpy as np
import pytest
from iapws import IAPWS95
from iapws._iapws import _Refractive
from scipy import constants

FLUME = Path(__file__).parents[2] / "cases" / "flume.toml"
UNITS = {"W": 1, "mJ": 1e-3, "us": 1e-6, "ms": 1e-3, "nm": 1e-9, "um": 1e-6, "mm": 1e-3}


def si(text):
    """A quantity of the rig in SI."""
    number, unit = text.split()
    return float(number) * UNITS[unit]


def scattering(diameter, index, medium, wavelength, half_angle):
    """dC/dOmega of one sphere in m^2/sr at right angles to unpolarised light, averaged over the
    directions in a cone.

    |S|^2/k^2 with the wave number k in the medium (Bohren and Huffman 1983). The directions are
    spread over the cone's cap along Fibonacci's spiral, each with the same solid angle; 20 of them
    are within 0.1 % of 400 here."""
    count = 20
    z = 1 - (1 - np.cos(half_angle)) * (np.arange(count) + 0.5) / count
    turn = np.pi * (3 - np.sqrt(5)) * np.arange(count)
    # The cosine to the light, which is at right angles to the cone's axis.
    towards = np.sqrt(1 - z * z) * np.cos(turn)
    return intensity(index / medium, np.pi * diameter * medium / wavelength, towards).mean() * (wavelength / (2 * np.pi * medium)) ** 2


def intensity(index, x, cosine):
    """(|S1|^2 + |S2|^2)/2, which over the whole sphere comes to pi x^2 Q_sca. (miepython calls that
    norm "wiscombe"; its "bohren" is four times as much, in spite of the book.)"""
    s1, s2 = miepython.S1_S2(index, x, cosine, norm="wiscombe")
    return (np.abs(s1) ** 2 + np.abs(s2) ** 2) / 2


def test_scattering_is_normalised():
    """The check's own ground, by the conservation of energy."""
    index, x = 1.53 / 1.34, 28.0
    angles = np.linspace(0, np.pi, 4001)
    total = np.trapezoid(2 * np.pi * intensity(index, x, np.cos(angles)) * np.sin(angles), angles)
    assert total == pytest.approx(miepython.efficiencies_mx(index, x)[1] * np.pi * x * x, rel=1e-4)


# A wind tunnel: oil droplets in air, a pulsed laser, a wide cone.
TUNNEL = """
[light]
source = "laser"
pulse_energy = "20 mJ"
pulse_length = "0.008 us"
wavelength = "532 nm"
hazard_class = "4"
[sheet]
profile = "top-hat"
thickness = "1 mm"
height = "80 mm"
[tracer]
diameter = "1 um"
diameter_spread = 0.5
refractive_index = 1.45
density = "912 kg/m3"
[fluid]
kind = "air"
temperature = "25 degC"
[lens]
magnification = 0.5
aperture = "f/2.8"
[camera]
size = [256, 256]
pixel = "6.5 um"
quantum_efficiency = 0.6
[image]
seeding_density = "0.02 ppp"
[flow]
kind = "uniform"
velocity = ["10 m/s", "0 m/s"]
[timing]
separation = "0.01 ms"
"""


@pytest.mark.parametrize("name, text", [("flume", FLUME.read_text()), ("tunnel", TUNNEL)])
def test_light_budget(program, name, text):
    """Every link of the chain, and its end, within 1 %: the requirement. Forgetting the refraction
    at the flume's window would change the solid angle by 78 %, the Gaussian sheet's profile by 60
    %, the mean over the diameters by several per cent."""
    rig = tomllib.loads(text)
    light, sheet, tracer, lens, camera = (rig[part] for part in ("light", "sheet", "tracer", "lens", "camera"))
    wavelength = si(light["wavelength"])
    if rig["fluid"]["kind"] == "water":
        kelvin = float(rig["fluid"]["temperature"].removesuffix(" degC")) + 273.15
        medium = _Refractive(IAPWS95(T=kelvin, P=0.101325).rho, kelvin, wavelength * 1e6)
    else:
        medium = 1.00027

    energy = si(light["pulse_energy"]) if "pulse_energy" in light else si(light["power"]) * si(light["pulse_length"])
    # A Gaussian of e^-2 full width w across the sheet has the peak of a top-hat of width w
    # sqrt(pi/8).
    width = si(sheet["thickness"]) * (np.sqrt(np.pi / 8) if sheet["profile"] == "gaussian" else 1)
    fluence = energy * light.get("delivery", 1) / (si(sheet["height"]) * width)
    # Sine condition: the image side has sin = 1/(2 f# (1 + M)), the object side M times that over
    # the index.
    magnification, f_number = lens["magnification"], float(lens["aperture"].removeprefix("f/"))
    half_angle = np.arcsin(magnification / (2 * f_number * (1 + magnification)) / medium)
    solid_angle = 2 * np.pi * (1 - np.cos(half_angle))
    # 801 diameters, evenly: as many again change the mean by 0.01 %.
    diameters = si(tracer["diameter"]) * (1 + tracer["diameter_spread"] * np.linspace(-1, 1, 1603)[1::2])
    section = np.mean([scattering(d, tracer["refractive_index"], medium, wavelength, half_angle) for d in diameters])
    photons = fluence * section * solid_angle * lens.get("transmission", 1) / (constants.h * constants.c / wavelength)
    expected = {
        "pulse_energy_j": energy,
        "fluence_j_m2": fluence,
        "cross_section_m2_sr": section,
        "solid_angle_sr": solid_angle,
        "photons": photons,
        "electrons_e": photons * camera["quantum_efficiency"],
    }
    plan = program.json("plan", program.setup(text))
    assert {part: plan[part] for part in expected} == pytest.approx(expected, rel=0.01, abs=0)
