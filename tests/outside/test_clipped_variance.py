"""The reference case of the camera lists what the independent calculation of its saturation
gives."""

import tomllib
from pathlib import Path

import pytest
from clipped_variance import of_series

CASE = Path(__file__).parents[2] / "cases" / "reference" / "emva-camera.toml"


def test_saturation():
    for variant in tomllib.loads(CASE.read_text())["variant"]:
        constants = variant["constants"]
        assert of_series(constants["full"]) == pytest.approx(constants["saturation"], rel=1e-4)
