"""Other programs' vectors: scored by conventions of their own, and as the processing of a study.
Chain of evidence: errors computed here with numpy from the vectors and the truth -> the
program's."""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy.ndimage import map_coordinates

SCENE = """
[image]
size = [256, 192]
particle_diameter = "2.6 px"
seeding_density = "0.04 ppp"
electrons = "2000 e"
pulse_fraction = 0.1
[flow]
kind = "lamb-oseen"
peak_displacement = "4 px"
core_radius = "40 px"
"""
CHAINS = Path(__file__).parent / "chains"


def command(script, out="{out}"):
    return f"{sys.executable} {CHAINS / script} {{a}} {{b}} {out}"


def test_score_of_another_program_in_its_convention(program):
    """Lower-left corner as the origin, y up, columns in another order: the same figures as numpy's;
    and without saying so, the mistake is named."""
    pairs = program.render(SCENE)
    x, y = (c.ravel() for c in np.meshgrid(np.arange(12.3, 240, 9.7), np.arange(11.1, 180, 9.7)))
    truth = np.stack([map_coordinates(t, [y, x], order=3) for t in pairs.truth(0)])
    dx, dy = truth + np.random.default_rng(1).normal(0, 0.05, truth.shape)
    np.savetxt(program.directory / "v.txt", np.stack([-dy, dx, 192 - 0.5 - y, x + 0.5]).T, delimiter=";")
    said = ["--columns", "x=4,y=3,dx=2,dy=1", "--y", "up", "--origin", "0.5"]
    found = program.json("score", "v.txt", "--truth", "pairs", *said)
    errors = np.stack([dx, dy]) - truth
    # Both interpolate the truth, by different polynomials: 1e-4 px.
    assert abs(found["bias_x_px"]["value"] - errors[0].mean()) < 1e-4
    assert abs(found["total_px"]["value"] - np.sqrt((errors**2).sum(axis=0).mean())) < 1e-4
    assert found["explanation"] is None
    wrong = program.json("score", "v.txt", "--truth", "pairs", "--columns", said[1], "--origin", "0.5")["explanation"]
    assert wrong["mistake"] == "y-reversed" and wrong["remedy"] == "--y up" and wrong["share"] > 0.99


def test_chains_side_by_side(program):
    """Two programs and the setup's processing over one sweep; the correlation is better than the
    dense flow, and a program that fails is a row with the reason."""
    program.setup(SCENE)
    chains = [command("windows.py"), command("dense_flow.py", "{out}.npy"), "setup"]
    asked = [word for chain in chains for word in ("--chain", chain)]
    program.run("sweep", "setup.toml", "--vary", "image.electrons=500 e,2000 e", "--most-pairs", 4, *asked, "--out", "sweep")
    with open(program.directory / "sweep" / "chains.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["chain"] for row in rows] == 2 * ["windows", "dense_flow", "setup"]
    assert all(row["failed_pairs"] == "0" and float(row["outliers"]) < 0.6 for row in rows), rows
    program.run("sweep", "setup.toml", "--vary", "image.electrons=500 e", "--chain", f"{sys.executable} -c 'raise SystemExit(\"no licence\")' {{a}} {{b}} {{out}}", "--out", "failed")
    failures = (program.directory / "failed" / "failures.csv").read_text()
    assert "no licence" in failures
