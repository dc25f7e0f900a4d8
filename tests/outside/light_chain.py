"""The light of one rig worked by hand, from the pulse to the grey level, computed independently of
the program.

Mie's theory by miepython (its amplitudes S1 and S2 with the norm |S|^2 summing to pi x^2 Q_sca),
water's refractive index by the package iapws (IAPWS R9-97 at the density of IAPWS-95), the
constants by scipy, everything between by hand:

  energy        E = P t
  fluence       E / (height x thickness sqrt(pi/8)) in the middle of a Gaussian sheet (e^-2 full
                thickness)
  half angle    sin a = M / (2 n f# (M + 1)), by Abbe's sine condition and Snell's law at a flat
                window
  photons       fluence x dC/dOmega x 2 pi (1 - cos a) x transmission x wavelength / (h c)
  electrons     photons x quantum efficiency
  diameter      geometric M d_p, the blur stated, and diffraction 4 sqrt(2)/pi f# (M + 1) wavelength
                in quadrature, both e^-2 full widths: the Gaussian with the peak and the light of
                Airy's disc has exp(-2 r^2/w^2) with the peak 2/(pi w^2) of the disc's
                pi/(4 N^2 l^2)
  middle pixel  erf(sqrt(2)/d)^2 of a Gaussian of standard deviation d/4 with its middle on the
                pixel's
  grey level    black level + gain x electrons
  SNR           e / sqrt(e + dark noise^2 + 1/(12 gain^2)) (EMVA 1288)
"""

import numpy as np
from miepython import S1_S2
from scipy import constants
from scipy.special import erf

WATER_20C_532NM = 1.3353805  # test_light_chain.py holds it against the package iapws


def intensities(diameter_m, index, medium, wavelength_m, cosines):
    """|S1|^2/k^2 and |S2|^2/k^2, m^2/sr, at the cosines of scattering angles."""
    s1, s2 = S1_S2(index / medium, np.pi * diameter_m * medium / wavelength_m, cosines, norm="wiscombe")
    k = 2 * np.pi * medium / wavelength_m
    return np.abs(s1) ** 2 / k**2, np.abs(s2) ** 2 / k**2


def section(diameter_m, index, medium, wavelength_m, half_angle_rad):
    """Mean of dC/dOmega of unpolarised light over a cone at right angles to the light, m^2/sr.

    Gauss and Legendre over the cosine to the cone's axis, equal steps around it: equal solid
    angles."""
    # Enough for the lobes of the pattern, pi over the size parameter wide.
    rings = 4 + int(np.pi * diameter_m * medium / wavelength_m * half_angle_rad)
    spokes = 2 * rings + 4
    x, w = np.polynomial.legendre.leggauss(rings)
    z = 1 - (1 - np.cos(half_angle_rad)) * 0.5 * (x + 1)
    turn = 2 * np.pi * (np.arange(spokes) + 0.5) / spokes
    towards = np.sqrt(1 - z * z)[:, None] * np.cos(turn)
    perpendicular, parallel = intensities(diameter_m, index, medium, wavelength_m, towards.ravel())
    mean = 0.5 * (perpendicular + parallel).reshape(rings, spokes).mean(axis=1)
    return np.sum(0.5 * w * mean)


def mean_section(diameter_m, spread, *others, count=401):
    """Its mean over diameters evenly within +- spread."""
    if spread == 0:
        return section(diameter_m, *others)
    places = (2 * np.arange(count) + 1) / count - 1
    return np.mean([section(diameter_m * (1 + spread * p), *others) for p in places])


def chain(
    *,
    power_w=8.0,
    pulse_s=25e-6,
    wavelength_m=532e-9,
    thickness_m=1e-3,
    height_m=50e-3,
    tracer_m=10e-6,
    spread=0.1,
    index=1.53,
    magnification=0.1,
    f_number=4.0,
    blur_m=9e-6,
    pixel_m=5e-6,
    transmission=0.8,
    quantum_efficiency=0.6,
    gain=0.35,
    black_dn=50.0,
    dark_noise_e=4.0,
    medium=WATER_20C_532NM,
):
    """Every link, by the plan's names."""
    energy = power_w * pulse_s
    fluence = energy / (height_m * thickness_m * np.sqrt(np.pi / 8))
    half_angle = np.arcsin(magnification / (2 * medium * f_number * (magnification + 1)))
    solid_angle = 2 * np.pi * (1 - np.cos(half_angle))
    dc = mean_section(tracer_m, spread, index, medium, wavelength_m, half_angle)
    photons = fluence * dc * solid_angle * transmission * wavelength_m / (constants.h * constants.c)
    electrons = photons * quantum_efficiency
    geometric = magnification * tracer_m
    diffraction = 4 * np.sqrt(2) / np.pi * f_number * (magnification + 1) * wavelength_m
    diameter_px = np.sqrt(geometric**2 + diffraction**2 + blur_m**2) / pixel_m
    peak = electrons * erf(np.sqrt(2) / diameter_px) ** 2
    return {
        "pulse_energy_j": energy,
        "fluence_j_m2": fluence,
        "cross_section_m2_sr": dc,
        "solid_angle_sr": solid_angle,
        "photons": photons,
        "electrons_e": electrons,
        "particle_image_diameter_px": diameter_px,
        "recorded_diameter_px": np.sqrt(diameter_px**2 + 16 / 12),
        "peak_electrons_e": peak,
        "peak_grey_dn": black_dn + gain * peak,
        "peak_snr": peak / np.sqrt(peak + dark_noise_e**2 + 1 / (12 * gain**2)),
    }


# The curves of cases/reference/light-chain.toml by their names.
RIGS = {"f/4": {"f_number": 4.0}, "f/1.4": {"f_number": 1.4}}
# 10 um spheres in water of index 1.3354 at 532 nm, as cases/reference/tracer-light.toml names them.
TEN_MICRON = {"polyamide 10 um in water": 1.533, "solid glass 10 um in water": 1.5224}


def at_right_angles(index):
    """Cross-sections of such a sphere at exactly 90 degrees, perpendicular and parallel, m^2/sr."""
    s, p = intensities(10e-6, index, 1.3354, 532e-9, np.array([0.0]))
    return s[0], p[0]


def into_cone(half_angle_deg):
    """Mean of the cross-section of the polyamide, +- 10 % of its diameter, over a cone, m^2/sr."""
    return mean_section(10e-6, 0.1, 1.533, 1.3354, 532e-9, np.radians(half_angle_deg))


if __name__ == "__main__":
    for name, rig in RIGS.items():
        print(name)
        for figure, value in chain(**rig).items():
            print(f"  {figure:28} {value:.6g}")
    for half_deg in (1.0, 5.0):
        print(f"polyamide, cone of {half_deg} deg: {into_cone(half_deg):.5g} m2/sr")
    for name, index in TEN_MICRON.items():
        s, p = at_right_angles(index)
        print(f"{name}: perpendicular {s:.5g}, parallel {p:.5g} m2/sr")
