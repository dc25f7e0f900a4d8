"""The reference cases of water and air list what the standards' equations give."""

import tomllib
from pathlib import Path

import pytest
from fluid_properties import air, solid_angle, tracer, water

CASES = Path(__file__).parents[2] / "cases" / "reference"


def listed(name):
    case = tomllib.loads((CASES / name).read_text())
    celsius = [float(value.removesuffix(" degC")) for value in case["sweep"]["values"]]
    return celsius, {expect["quantity"]: expect["equals"] for expect in case["expect"]}


def test_water():
    celsius, values = listed("fluid-water.toml")
    for k, at in enumerate(celsius):
        density, viscosity, index = water(at)
        found = (*tracer(density, viscosity), solid_angle(index))
        names = ("response_time_s", "settling_velocity_m_s", "solid_angle_sr")
        assert [values[name][k] for name in names] == pytest.approx(found, rel=6e-6, abs=0)


def test_air():
    celsius, values = listed("fluid-air.toml")
    for k, at in enumerate(celsius):
        names = ("response_time_s", "settling_velocity_m_s")
        assert [values[name][k] for name in names] == pytest.approx(tracer(*air(at)), rel=6e-6, abs=0)


def test_standard_atmosphere():
    """Table values of the US Standard Atmosphere 1976 at 288.15 K, to their last digit."""
    assert air(15) == pytest.approx((1.2250, 1.7894e-5), rel=3e-5)
