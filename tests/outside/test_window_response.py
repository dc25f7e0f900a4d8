"""The reference cases of the weighted windows list what the expected peak gives."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from window_response import WEIGHTS, response

CASES = Path(__file__).parents[2] / "cases" / "reference"


def px(text):
    return float(text.removesuffix(" px"))


def test_small_waves():
    """The ground of the check: with a small amplitude, the mean of the cosine with the squared
    weight, but for the image's own size (with d = 3 px, exp(-2 pi^2 0.32/48^2) = 0.997)."""
    y = np.arange(32) - 15.5
    for name, weight in WEIGHTS.items():
        square = weight(y / 16) ** 2
        plain = np.sum(square * np.cos(2 * np.pi * y / 48)) / np.sum(square)
        assert response(name, 48, 0.01, 3.0) == pytest.approx(0.997 * plain, rel=2e-3)


def test_case():
    case = tomllib.loads((CASES / "response-weighted.toml").read_text())
    amplitude, diameter = px(case["setup"]["flow"]["amplitude"]), px(case["setup"]["image"]["particle_diameter"])
    listed = {e["of"]: e["equals"] for e in case["expect"]}
    assert listed.keys() == WEIGHTS.keys()
    for name, values in listed.items():
        for wavelength, expected in zip(map(px, case["sweep"]["values"]), values, strict=True):
            assert response(name, wavelength, amplitude, diameter) == pytest.approx(expected, abs=6e-6)
