"""The reference case of the vortex lists what the expected peak gives."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from vortex_core import ALPHA, measured, velocity

CASE = Path(__file__).parents[2] / "cases" / "reference" / "vortex-core.toml"


def test_largest_speed():
    """The ground of the check: the speed is largest, and 1, at the core's radius."""
    assert np.exp(ALPHA) == pytest.approx(1 + 2 * ALPHA, rel=1e-12)
    speeds = [velocity(r, 0.0, 32.0, 1.0)[1] for r in (31.9, 32.0, 32.1)]
    assert speeds[1] == pytest.approx(1.0, rel=1e-12) and speeds[1] == max(speeds)


def test_large_core():
    """A core much larger than the window: the second derivative, -a V/R^2 times some number, over
    24 of the window's side squared.
    """
    for core in (200.0, 400.0):
        assert (1 - measured(core)) * core**2 == pytest.approx((1 - measured(800.0)) * 800.0**2, rel=0.02)


def test_case():
    for variant in tomllib.loads(CASE.read_text())["variant"]:
        core = float(variant["name"].split()[2])
        assert measured(core) == pytest.approx(variant["constants"]["seen"], abs=6e-6)
