"""The reference cases of the absolute light list what the independent chain gives."""

import tomllib
from pathlib import Path

import pytest
from iapws import IAPWS95
from iapws._iapws import _Refractive
from light_chain import RIGS, TEN_MICRON, WATER_20C_532NM, at_right_angles, chain, into_cone

CASES = Path(__file__).parents[2] / "cases" / "reference"


def case(name):
    return tomllib.loads((CASES / name).read_text())


def test_water():
    density = IAPWS95(T=293.15, P=0.1).rho
    assert WATER_20C_532NM == pytest.approx(_Refractive(density, 293.15, 0.532), abs=1e-6)


def test_chain():
    variants = {v["name"]: v["constants"] for v in case("light-chain.toml")["variant"]}
    assert variants.keys() == RIGS.keys()
    for name, rig in RIGS.items():
        found = chain(**rig)
        assert variants[name] == pytest.approx({figure: found[figure] for figure in variants[name]}, rel=1e-5, abs=0)


def test_ten_micron():
    variants = {v["name"]: v["constants"] for v in case("tracer-light.toml")["variant"]}
    for name, index in TEN_MICRON.items():
        assert (variants[name]["s"], variants[name]["p"]) == pytest.approx(at_right_angles(index), rel=3e-5, abs=0)


def test_cone():
    of = case("tracer-light-cone.toml")
    [expect] = of["expect"]
    for angle, value in zip(of["sweep"]["values"], expect["equals"], strict=True):
        assert into_cone(float(angle.removesuffix(" deg"))) == pytest.approx(value, rel=3e-5, abs=0)
