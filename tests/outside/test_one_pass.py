"""The reference cases list what the Monte Carlo of one plain pass gives.

A fresh simulation of fewer windows and another seed is held against the listed values: five
standard errors of it, and as many of the 10 000 windows that the values come from.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from one_pass import CASES, Conditions, errors, figures, profile

REFERENCE = Path(__file__).parents[2] / "cases" / "reference"
WINDOWS, LISTED = 600, 10000
X, Y = "random_x_px", "random_y_px"

# Case file -> name of its conditions; the places of the sweep are matched by their numbers.
FILES = {
    "window-size": "window-size",
    "window-offset": "window-offset",
    "seeding": "seeding",
    "diameter": "diameter",
    "noise-error": "noise-error",
    "quantisation": "quantisation",
    "valid-detection": "valid-detection",
    "quarter-rule": "quarter-rule",
    "gradient-error": "gradient-error",
    "valid-detection-gradient": "gradient-valid",
    "valid-detection-noise": "noise-valid",
    "streak-error": "streak-error",
    "streak-brightness": "streak-offset",
    "saturation": "saturation",
    "error-at-rest": "error-at-rest",
}


def number(text):
    return float(str(text).split()[0])


def found(name):
    """By the place's number: the figures of a fresh simulation."""
    return {number(label): figures(c, WINDOWS, seed=2) for label, c in CASES[name]}


def of(simulated, quantity):
    """(value, standard error) of a figure by the name that cases use."""
    if quantity in ("valid", "outliers", "fast_outliers"):
        share, error = simulated["valid"]
        return (share, error) if quantity == "valid" else (1 - share, error)
    kind, axis = quantity.removesuffix("_px").split("_")
    return simulated[kind]["xy".index(axis)]


@pytest.mark.parametrize("file", FILES)
def test_listed_values(file):
    case = tomllib.loads((REFERENCE / f"{file}.toml").read_text())
    simulated = found(FILES[file])
    seen = 0
    for expectation in case["expect"]:
        if "equals" not in expectation:
            continue
        values = expectation["equals"]
        places = expectation.get("at", case["sweep"]["values"])
        if not isinstance(places, list):
            places, values = [places], [values]
        if not isinstance(values, list):
            continue
        for place, value in zip(places, values, strict=True):
            if number(place) in simulated:
                mine, error = of(simulated[number(place)], expectation["quantity"])
                assert abs(mine - value) <= 5 * error * (1 + np.sqrt(WINDOWS / LISTED)), (expectation["name"], place, mine)
                seen += 1
    assert seen >= 4


def test_equal_power():
    case = tomllib.loads((REFERENCE / "equal-power-optimum.toml").read_text())
    simulated = found("equal-power")
    for variant in case["variant"]:
        listed, mine = variant["constants"], simulated[number(variant["name"])]
        for name, quantity in (("along", X), ("across", Y), ("bias", "bias_x_px")):
            value, error = of(mine, quantity)
            assert abs(value - listed[name]) <= 5 * error * (1 + np.sqrt(WINDOWS / LISTED)), (variant["name"], name)


def test_images():
    """The ground of the simulation: an image holds all of its light, and has the variance of its
    Gaussian, its streak and its pixels.
    """
    at = np.arange(64.0)
    for streak in (0.0, 3.0):
        line = profile(64, np.array([31.3]), 4.0, streak)[:, 0]
        assert line.sum() == pytest.approx(1.0, abs=1e-12)
        assert line @ at == pytest.approx(31.3, abs=1e-6)
        assert line @ (at - 31.3) ** 2 == pytest.approx(1 + streak**2 / 12 + 1 / 12, rel=1e-6)


def test_nothing_moves():
    """The same picture twice is found to be at rest."""
    wrong, valid = errors(Conditions(displacement=(0.0, 0.0)), 20)
    assert valid.all() and np.abs(wrong).max() < 1e-9
