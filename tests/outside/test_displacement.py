"""Estimators that share nothing with the program measure the displacement its pairs were rendered
with.

Tolerance: 0.02 px in the mean, the requirement; a fifth of the 0.1 px that is commonly accepted as
a measurement's error.
"""

import cv2
import numpy as np
import pytest

import correlation

TOLERANCE_PX = 0.02

SCENE = """
[image]
size = [512, 512]
particle_diameter = "2.6 px"
seeding_density = "0.03 ppp"
electrons = "8000 e"
background = "20 e"
pulse_fraction = {fraction}
[flow]
kind = "uniform"
displacement = ["{dx} px", "{dy} px"]
[camera]
bits = 12
full_well = "12000 e"
dark_noise = "5 e"
"""

# dx and dy in px, and the share of them that is streak: whole, half and odd fractions of a pixel,
# both signs, both axes.
STILL = [(0, 0, 0), (1, -1, 0), (0.5, 0, 0), (0, -0.5, 0), (-3.3, 1.7, 0), (7.4, -5.25, 0)]
STREAKS = [(0, 9.61, 0.3), (-5.63, 0, 0.4)]
# A slanting streak makes a slanting peak, which a fit along one axis after the other mistakes by up
# to 0.07 px.
SLANTING = [(5.63, 2.08, 0.4), (-4.3, 4.7, 0.4)]


def pairs(program, count, dx, dy, fraction):
    rendered = program.render(SCENE.format(dx=dx, dy=dy, fraction=fraction), pairs=count, seed=11)
    for k in range(rendered.count):
        truth = rendered.truth(k)
        # Exact for a uniform flow, but for the rounding of two places of up to 512 px.
        assert np.allclose(truth[0], dx, rtol=0, atol=1e-11) and np.allclose(truth[1], dy, rtol=0, atol=1e-11)
        yield rendered.frames(k)


@pytest.mark.parametrize("dx, dy, fraction", STILL + STREAKS)
def test_correlation_by_scipy(program, dx, dy, fraction):
    """256 windows of 64 px, zero-padded correlation without the means, divided by the window's own
    triangle, Gaussian through three points. The scatter of one window is up to 0.02 px, so the mean
    is known to 0.0015 px."""
    found = []
    for a, b in pairs(program, 4, dx, dy, fraction):
        for window_a, window_b in correlation.windows(a, b, 64):
            values = correlation.plane(window_a, window_b) / correlation.triangle(window_a.shape)
            found.append(correlation.peak(values, window_a.shape, reach=16))
    mean = np.mean(found, axis=0)
    assert np.abs(mean - [dx, dy]).max() < TOLERANCE_PX, f"found {mean} for {dx, dy}"


@pytest.mark.parametrize("dx, dy, fraction", STILL + STREAKS + SLANTING)
def test_dense_flow_by_opencv(program, dx, dy, fraction):
    """Farnebäck's polynomial expansion (a different principle: no correlation) in neighbourhoods of
    33 px, from 8-bit copies, away from the border, where its neighbourhoods are cut. Its own bias
    at 10 px is about 0.01 px."""
    found = []
    for a, b in pairs(program, 2, dx, dy, fraction):
        scale = 255 / np.percentile(a, 99.5)
        grey = [np.clip(frame * scale, 0, 255).astype(np.uint8) for frame in (a, b)]
        flow = cv2.calcOpticalFlowFarneback(*grey, None, 0.5, 4, 33, 10, 7, 1.5, cv2.OPTFLOW_FARNEBACK_GAUSSIAN)
        found.append(flow[32:-32, 32:-32].mean(axis=(0, 1)))
    mean = np.mean(found, axis=0)
    assert np.abs(mean - [dx, dy]).max() < TOLERANCE_PX, f"found {mean} for {dx, dy}"
