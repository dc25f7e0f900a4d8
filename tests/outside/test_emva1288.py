"""The camera as the EMVA group's own reference implementation sees it (PyPI emva1288, for release
4.0 of the standard), in an environment of its own: flat fields rendered by the program go in, the
figures of the setup must come out.

Tolerances: the requirement, K and QE within 0.6 %, dark noise and DSNU within 2 %, PRNU within 1.5
%. With 65,536 pixels one variance is known to 0.55 %, the slope over the lights up to 70 % of
saturation to about 0.15 %, and the standard deviation over the pixels, which are one draw of the
camera, to 0.28 %.
"""

import json
import os
import subprocess

import numpy as np
import pytest

CAMERA = """
[image]
size = [256, 256]
particle_diameter = "2 px"
seeding_density = "1e-12 ppp"
electrons = "0 e"
background = "{background} e"
[flow]
kind = "uniform"
displacement = ["0 px", "0 px"]
[camera]
bits = 12
gain = "0.32 DN/e"
full_well = "12000 e"
dark_noise = "5 e"
black_level = "30 DN"
dsnu = "8 e"
prnu = 0.02
"""
# The scene states light in photo-electrons: so many photons per electron make the descriptor's
# photon count.
EFFICIENCY = 0.6
EXPOSURE_NS = 1000000


def descriptor(program, series):
    """The group's descriptor file: dark (`d`) and bright (`b`) series, each with its exposure,
    photons and images (`i`).
    """
    lines = ["v 4.0", "n 12 256 256"]
    for background, pairs, seed, name in series:
        rendered = program.render(CAMERA.format(background=background), pairs, seed, name)
        photons = f" {background / EFFICIENCY}" if background else ""
        lines.append(f"{'b' if background else 'd'} {EXPOSURE_NS}{photons}")
        lines += [f"i {name}\\{file.name}" for k in range(pairs) for file in rendered.files(k)]
    file = program.directory / "descriptor.txt"
    file.write_text("\n".join(lines) + "\n")
    return file


def test_camera(program):
    # Two pictures at each of 46 lights for the temporal noise; 40 in the dark and at half
    # saturation for the spatial. Those need one seed, since the pixels' differences belong to it;
    # those each a seed of their own, lest their noise be the same.
    temporal = [(light, 1, k + 1, f"light-{k}") for k, light in enumerate(np.linspace(0, 12600, 46))]
    spatial = [(0, 20, 99, "spatial-dark"), (6000, 20, 99, "spatial-bright")]
    file = descriptor(program, temporal + spatial)
    script = os.path.join(os.path.dirname(__file__), "emva1288_figures.py")
    done = subprocess.run([os.environ["EMVA1288_PYTHON"], script, file], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["QE"] == pytest.approx(100 * EFFICIENCY, rel=0.006)
    assert found["K"] == pytest.approx(0.32, rel=0.006)
    assert found["sigma_d"] == pytest.approx(5, rel=0.02)
    assert found["DSNU1288"] == pytest.approx(8, rel=0.02)
    assert found["PRNU1288"] == pytest.approx(2, rel=0.015)
