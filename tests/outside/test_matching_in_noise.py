"""Least-squares matching: the program's vectors against those of another implementation, and the
reference case of its efficiency in strong noise against a fresh simulation.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from displacement_bound import root_mean_square_bound
from iterated_passes import interrogate
from matching_in_noise import PASSES, WINDOW, match, random_error

CASE = Path(__file__).parents[2] / "cases" / "reference" / "efficiency-noise.toml"

SCENE = """
[image]
size = [192, 192]
particle_diameter = "2.5 px"
seeding_density = "0.03 ppp"
electrons = "2000 e"
[camera]
bits = 16
gain = "1 DN/e"
full_well = "60000 e"
black_level = "2000 DN"
dark_noise = "80 e"
[flow]
kind = "sinusoidal-shear"
velocity = ["2.3 px", "-1.6 px"]
amplitude = "0.5 px"
wavelength = "160 px"
[processing]
passes = [{ window = 32, overlap = 0 }, { window = 32, overlap = 0 }]
weighting = "top-hat"
outlier_threshold = 1e6
refinement = "least-squares"
"""


def test_vectors(program):
    """The solution of four equations in single-precision pictures: 1e-4 px is a hundredth of what
    matching changes."""
    pairs = program.render(SCENE, seed=5)
    found = program.correlate(*pairs.files(0), SCENE)
    mine = match(pairs.frames(0)).reshape(-1, 2)
    theirs = np.column_stack([found["dx_px"], found["dy_px"]])
    assert len(theirs) == (192 // WINDOW) ** 2
    assert np.abs(theirs - mine).max() < 1e-4
    unmatched = interrogate(pairs.frames(0), PASSES)[-1][1].reshape(-1, 2)
    assert np.abs(theirs - unmatched).std() > 1e-2


@pytest.mark.parametrize("place", [0, 1])
def test_case(place):
    """Within five standard errors of four pairs here and of the forty of which the case lists what
    they gave."""
    case = tomllib.loads(CASE.read_text())
    noise_e = float(case["sweep"]["values"][place].removesuffix(" e"))
    bound = root_mean_square_bound(noise_e)
    listed = {e["quantity"]: e["equals"][place] for e in case["expect"]}
    for axis, (value, error) in zip("xy", random_error(noise_e, pairs=4, seed=2), strict=True):
        expected = listed[f"random_{axis}_px"]
        assert abs(value - expected) < 5 * error * (1 + np.sqrt(4 / 40))
        # Three digits are printed.
        assert listed[f"efficiency_{axis}"] == pytest.approx(bound / expected, abs=6e-4 + 6e-6 / expected)
