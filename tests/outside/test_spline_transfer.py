"""The reference cases of the interpolators list what their transfer functions give."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline
from spline_transfer import DEGREES, bias, rms_over_deviation, transfer

CASES = Path(__file__).parents[2] / "cases" / "reference"


@pytest.mark.parametrize("degree", [1, 3, 5, 7])
def test_transfer(degree):
    """The ground of the check: scipy's own interpolating spline of a wave, far from its ends."""
    at = np.arange(-60, 61)
    for frequency in (0.1, 0.3, 0.45, 0.8):
        real, imaginary = (
            make_interp_spline(at, of(2 * np.pi * frequency * at), k=degree)(0.37) for of in (np.cos, np.sin)
        )
        assert transfer(np.array([frequency]), 0.37, degree)[0] == pytest.approx(real + 1j * imaginary, abs=1e-6)


def test_case():
    case = tomllib.loads((CASES / "interpolators.toml").read_text())
    diameters = [float(value.removesuffix(" px")) for value in case["sweep"]["values"]]
    shift = float(case["arguments"]["shift"].removesuffix(" px"))
    listed = {e["of"]: e["equals"] for e in case["expect"] if e["name"].startswith("transfer of the")}
    assert listed.keys() == DEGREES.keys()
    for name, values in listed.items():
        for diameter, expected in zip(diameters, values, strict=True):
            assert rms_over_deviation(diameter, shift, DEGREES[name]) == pytest.approx(expected, abs=6e-6)


def test_bias():
    case = tomllib.loads((CASES / "interpolator-bias.toml").read_text())
    diameters = [float(value.removesuffix(" px")) for value in case["sweep"]["values"]]
    shift = float(case["arguments"]["shift"].removesuffix(" px"))
    listed = {e["of"]: e["equals"] for e in case["expect"] if e["name"].startswith("expected bias of the")}
    assert listed.keys() == DEGREES.keys()
    for name, values in listed.items():
        for diameter, expected in zip(diameters, values, strict=True):
            assert bias(diameter, shift, DEGREES[name], 32) == pytest.approx(expected, abs=6e-6)
