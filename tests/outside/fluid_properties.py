"""Response time, settling velocity and solid angle by water and air as standards state them,
independently of the program.

Water: density by IAPWS-95, viscosity by IAPWS R12-08, refractive index by IAPWS R9-97, all of the
package iapws at 0.1 MPa (0.101325 MPa at 100 degC would be on the boiling line). Air: density p/(R
T) and Sutherland's viscosity of the US Standard Atmosphere 1976, worked here; its table has 1.2250
kg/m3 and 1.7894e-5 Pa s at 288.15 K. A sphere of density rho_p has the response time rho_p d^2/(18
mu) and settles at d^2 (rho_p - rho) g/(18 mu); the lens takes 2 pi (1 - cos a) with sin a = M/(2 n
f# (M + 1)).
"""

import numpy as np
from iapws import IAPWS95
from iapws._iapws import _Refractive, _Viscosity
from scipy import constants

DIAMETER_M, DENSITY_KG_M3, MAGNIFICATION, F_NUMBER = 2e-6, 1500.0, 0.2, 2.8
WATER_CELSIUS, AIR_CELSIUS = (1.0, 20.0, 40.0, 90.0), (-30.0, 15.0, 60.0)


def water(celsius, wavelength_um=0.532):
    """Density kg/m3, viscosity Pa s, refractive index."""
    kelvin = celsius + 273.15
    density = IAPWS95(T=kelvin, P=0.1).rho
    return density, _Viscosity(density, kelvin), _Refractive(density, kelvin, wavelength_um)


def air(celsius):
    """Density kg/m3 and viscosity Pa s."""
    kelvin = celsius + 273.15
    return 101325 / (287.05287 * kelvin), 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)


def tracer(density, viscosity):
    """Response time s, settling velocity m/s."""
    response = DENSITY_KG_M3 * DIAMETER_M**2 / (18 * viscosity)
    return response, DIAMETER_M**2 * (DENSITY_KG_M3 - density) * constants.g / (18 * viscosity)


def solid_angle(index):
    half_angle = np.arcsin(MAGNIFICATION / (2 * index * F_NUMBER * (MAGNIFICATION + 1)))
    return 2 * np.pi * (1 - np.cos(half_angle))


if __name__ == "__main__":
    print("water")
    for celsius in WATER_CELSIUS:
        density, viscosity, index = water(celsius)
        print(f"  {celsius:5}", *(f"{v:.6g}" for v in (*tracer(density, viscosity), solid_angle(index))))
    print("air")
    for celsius in AIR_CELSIUS:
        print(f"  {celsius:5}", *(f"{v:.6g}" for v in tracer(*air(celsius))))
