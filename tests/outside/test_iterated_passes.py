"""Passes that deform the frames: the program's vectors on its own pictures against those of another
interpolation and correlator, and the reference cases against a fresh simulation.
"""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from iterated_passes import UNIFORM, USUAL, WAVES, errors, interrogate, response

REFERENCE = Path(__file__).parents[2] / "cases" / "reference"
# Pairs of the simulations here, and of those that the cases list.
WAVE_PAIRS, UNIFORM_PAIRS = (10, 160), (4, 64)

SCENE = """
[image]
size = [192, 256]
particle_diameter = "2.4 px"
seeding_density = "0.05 ppp"
electrons = "6000 e"
background = "20 e"
[flow]
kind = "sinusoidal-shear"
velocity = ["3.3 px", "-1.6 px"]
amplitude = "1 px"
wavelength = "160 px"
[camera]
bits = 12
dark_noise = "5 e"
[processing]
outlier_threshold = 1e6
"""


@pytest.mark.parametrize(
    "changes, how",
    [
        ("", USUAL),
        *((f'interpolator = "{name}"', replace(USUAL, order=order)) for name, order in (("bilinear", 1), ("cubic", 3), ("quintic", 5))),
        (
            'predictor_filter = "none"\ncorrelation = "zero-padded"\nnormalise = "window"\nweighting = "triangular"',
            replace(USUAL, smoothed=False, padded=True, divided=True, weighting="triangular"),
        ),
    ],
)
def test_vectors(program, changes, how):
    """Rounding to single precision moves a vector by 1e-6 px per pass (test_correlate.py); a wrong
    sign, place, weight or interpolation by 1e-3 px or more. Hence 1e-5 px."""
    pairs = program.render(SCENE + changes, seed=5)
    found = program.correlate(*pairs.files(0), SCENE + changes)
    grid, expected = interrogate(pairs.frames(0), how)[-1]
    x, y = np.meshgrid(grid.middles(0), grid.middles(1))
    assert np.array_equal(found["x_px"], x.ravel()) and np.array_equal(found["y_px"], y.ravel())
    assert np.abs(np.column_stack([found["dx_px"], found["dy_px"]]) - expected.reshape(-1, 2)).max() < 1e-5


def listed(file):
    """Variant or place, quantity and value of what a case lists of these simulations."""
    case = tomllib.loads((REFERENCE / f"{file}.toml").read_text())
    for expectation in case["expect"]:
        if "iterated_passes.py" in expectation["reason"]:
            yield case, expectation


def agrees(mine, error, value, pairs):
    """Within five standard errors of the simulation here, and as many of the listed one."""
    return abs(mine - value) <= 5 * error * (1 + np.sqrt(pairs[0] / pairs[1]))


@pytest.mark.parametrize("weighting", WAVES)
def test_waves(weighting):
    how, density, diameter, wavelengths = WAVES[weighting]
    simulated = {w: response(how, w, density, diameter, WAVE_PAIRS[0], seed=2) for w in wavelengths}
    seen = 0
    for case, expectation in listed("response-iterated" if weighting == "top-hat" else "response-weighted-iterated"):
        if weighting == "top-hat" or expectation["of"].startswith(weighting):
            passes = next(v["set"]["passes"] for v in case["variant"] if v["name"] == expectation["of"])
            for place, value in zip(case["sweep"]["values"], expectation["equals"], strict=True):
                mine, error = simulated[int(place.split()[0])][passes - 1]
                assert agrees(mine, error, value, WAVE_PAIRS), (expectation["name"], place, mine)
                seen += 1
    assert seen >= 2


@pytest.mark.parametrize("file", UNIFORM)
def test_uniform(file):
    simulated = {name: errors(c, how, UNIFORM_PAIRS[0], seed=2) for name, (c, how) in UNIFORM[file].items()}
    seen = 0
    for case, expectation in listed(file):
        values = expectation["equals"]
        places = [expectation["of"]] if "of" in expectation else case.get("sweep", {}).get("values", ["default"])
        for place, value in zip(places, values if isinstance(values, list) else [values], strict=True):
            kind, axis, _ = expectation["quantity"].split("_")
            mine, error = simulated[place][kind]["xy".index(axis)]
            assert agrees(mine, error, value, UNIFORM_PAIRS), (expectation["name"], place, mine)
            seen += 1
    assert seen >= len(simulated)
