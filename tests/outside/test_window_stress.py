"""The reference case of the damped shear stress lists what averages over windows give."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from window_stress import averages, kept, stress

CASE = Path(__file__).parents[2] / "cases" / "reference" / "window-stress.toml"


def test_stress_of_the_wave():
    """a^2/4: sin^2 is a half in the mean, and cos 45 sin 45 is a half."""
    assert stress(averages(96, amplitude=0.2)[1]) == pytest.approx(0.2**2 / 4, rel=1e-9)


@pytest.mark.parametrize("wavelength", [64.0, 96.0, 160.0])
def test_closed_form(wavelength):
    """(sin(x)/x)^4, x = pi D/(sqrt(2) L); pixels in place of an integral change that by (pi/L)^2/6
    or less in each of its factors."""
    closed = np.sinc(32 / (np.sqrt(2) * wavelength)) ** 4
    assert kept(wavelength) == pytest.approx(closed, rel=4 * (np.pi / wavelength) ** 2 / 6)


def test_case():
    for variant in tomllib.loads(CASE.read_text())["variant"]:
        constants = variant["constants"]
        assert kept(float(constants["L"])) == pytest.approx(constants["kept"], abs=6e-5)
