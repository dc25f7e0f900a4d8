"""The reference case of the damped variance lists what the spectrum gives."""

import tomllib
from pathlib import Path

import pytest
from window_variance import kept, length_of, sampled, share

CASE = Path(__file__).parents[2] / "cases" / "reference" / "window-variance.toml"


def test_length_of_the_whole_spectrum():
    """Without a smallest scale the integral scale of von Karman's spectrum is sqrt(pi)
    Gamma(5/6)/Gamma(1/3) = 0.7468 times l (integrals of the beta function); waves shorter than
    l/20000 are left out.
    """
    assert 80.0 / length_of(80.0, 0.005) == pytest.approx(0.74683, rel=1e-3)


def test_limits():
    """A small window leaves everything; a large scale leaves 1 - <k^2 D^2>/12 to the first
    order."""
    assert kept(80.0, window_px=1e-3, sheet_px=1e-3) == pytest.approx(1.0, abs=1e-9)
    assert kept(80.0) < kept(160.0) < 1


def test_samples_agree_with_the_mean():
    """A hundred pictures together, within three standard errors."""
    for integral in (40.0, 160.0):
        value, error = share([sampled(integral, seed) for seed in range(100)])
        assert abs(value - kept(integral)) < 3 * error


def test_case():
    for variant in tomllib.loads(CASE.read_text())["variant"]:
        constants = variant["constants"]
        assert kept(float(constants["L"])) == pytest.approx(constants["kept"], abs=6e-5)
