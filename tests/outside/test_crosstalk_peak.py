"""The reference case of the crosstalk lists what the independent correlation peak gives."""

import tomllib
from pathlib import Path

import pytest
from crosstalk_peak import width

CASE = Path(__file__).parents[2] / "cases" / "reference" / "crosstalk.toml"


def test_case():
    case = tomllib.loads(CASE.read_text())
    diameter = float(case["setup"]["image"]["particle_diameter"].removesuffix(" px"))
    window = case["setup"]["processing"]["passes"][0]["window"]
    for expect in case["expect"]:
        for crosstalk, expected in zip(case["sweep"]["values"], expect["equals"], strict=True):
            assert width(crosstalk, diameter, window) == pytest.approx(expected, abs=6e-6)
