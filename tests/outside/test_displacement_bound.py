"""The reference case of the bound in strong noise lists what the independent calculation gives."""

import tomllib
from pathlib import Path

import pytest
from displacement_bound import root_mean_square_bound

CASE = Path(__file__).parents[2] / "cases" / "reference" / "efficiency-noise.toml"


def test_case():
    case = tomllib.loads(CASE.read_text())
    noises = [float(value.removesuffix(" e")) for value in case["sweep"]["values"]]
    bounds = [e["equals"] for e in case["expect"] if e["quantity"].startswith("bound")]
    assert len(bounds) == 2
    for noise, *listed in zip(noises, *bounds, strict=True):
        # Four digits are printed, of 4000 windows.
        assert root_mean_square_bound(noise) == pytest.approx(listed[0], abs=6e-5)
        assert listed[0] == listed[1]
