"""The reference cases list what the independent calculation of the expected peak gives."""

import tomllib
from pathlib import Path

import pytest
from expected_peak import bias

CASES = Path(__file__).parents[2] / "cases" / "reference"
NAME = "the three-point fit of the expected peak"


def number(text):
    return float(text.split()[0])


def listed(name):
    case = tomllib.loads((CASES / name).read_text())
    places = [number(value) for value in case["sweep"]["values"]]
    for expectation in case["expect"]:
        if expectation["name"].startswith(NAME):
            yield case, expectation, list(zip(places, expectation["equals"], strict=True))


def test_streaks():
    [(case, _, pairs)] = listed("streak-bias.toml")
    constants = case["constants"]
    for streak, expected in pairs:
        assert bias(constants["s"], constants["d"], constants["D"], streak) == pytest.approx(expected, abs=6e-6)


def test_windows():
    all_diameters = list(listed("window-bias.toml"))
    assert len(all_diameters) == 3
    for case, expectation, pairs in all_diameters:
        diameter = number(expectation["of"].removeprefix("d = "))
        for displacement, expected in pairs:
            assert bias(displacement, diameter, case["constants"]["D"]) == pytest.approx(expected, abs=6e-6)
