"""`motefield correlate` against the same interrogation computed by scipy, window by window."""

import numpy as np
import pytest
from scipy.ndimage import maximum_filter

import correlation

SCENE = """
[image]
size = [256, 192]
particle_diameter = "2.4 px"
seeding_density = "0.04 ppp"
electrons = "6000 e"
background = "20 e"
[sheet]
out_of_plane = {loss}
[flow]
kind = "linear-shear"
displacement = ["{dx} px", "{dy} px"]
shear = 0.004
[camera]
bits = 12
dark_noise = "5 e"
"""

PROCESSING = """
[flow]
kind = "uniform"
displacement = ["0 px", "0 px"]
[processing]
passes = [{{ window = 32, overlap = 0 }}]
deform = false
weighting = "top-hat"
correlation = "{correlation}"
normalise = "{normalise}"
peak_fit = "gaussian3"
"""


# The program correlates in single precision: rounding of 6e-8 of the peak at each of its points,
# against log-ratios of the order of 0.5 per pixel, moves the fit by about 1e-6 px. A wrong sample,
# weight or lag moves it by 1e-3 or more. Hence 1e-5 px.
TOLERANCE_PX = 1e-5
SIDE = 32
# The search range: half the window, less the pixel that the fit needs beyond the peak.
REACH = SIDE // 2 - 1


@pytest.mark.parametrize("kind", ["zero-padded", "direct"])
@pytest.mark.parametrize("normalise", ["none", "window"])
@pytest.mark.parametrize("dx, dy", [(2.3, -1.4), (-4.6, 3.15)])
def test_one_plain_pass(program, kind, normalise, dx, dy):
    pairs = program.render(SCENE.format(dx=dx, dy=dy, loss=0.1), seed=5)
    vectors = program.correlate(*pairs.files(0), PROCESSING.format(correlation=kind, normalise=normalise))
    expected = []
    for a, b in correlation.windows(*pairs.frames(0), SIDE):
        values = correlation.plane(a, b)
        if normalise == "window":
            values = values / correlation.triangle(a.shape)
        expected.append(correlation.peak(values, a.shape, REACH))
    found = np.column_stack([vectors["dx_px"], vectors["dy_px"]])
    # The places too: a window over the pixels i to i + 31 has its centre at i + 15.5.
    centres = [(x + 15.5, y + 15.5) for y in range(0, 192, SIDE) for x in range(0, 256, SIDE)]
    assert np.array_equal(np.column_stack([vectors["x_px"], vectors["y_px"]]), centres)
    assert np.abs(found - expected).max() < TOLERANCE_PX


def test_peak_ratio_and_outliers(program):
    """Peak ratio: the highest local maximum over the highest one more than 2 px away from it, six
    digits in the file. Status: the normalised median test of Westerweel and Scarano (Exp. Fluids 39
    (2005) 1096) over the 3 x 3 neighbours that exist, threshold 2, epsilon 0.1 px, both components
    as the sides of a right angle. Out-of-plane loss makes enough of both."""
    pairs = program.render(SCENE.format(dx=2.3, dy=-1.4, loss=0.65), seed=5)
    vectors = program.correlate(*pairs.files(0), PROCESSING.format(correlation="zero-padded", normalise="none"))
    for (a, b), found in zip(correlation.windows(*pairs.frames(0), SIDE), vectors["peak_ratio"], strict=True):
        values = correlation.plane(a, b)
        near = np.where(values == maximum_filter(values, 3), values, 0)[SIDE - 1 - REACH : SIDE + REACH, SIDE - 1 - REACH : SIDE + REACH]
        y, x = np.unravel_index(np.argmax(near), near.shape)
        first = near[y, x]
        near[max(y - 2, 0) : y + 3, max(x - 2, 0) : x + 3] = 0
        assert found == pytest.approx(first / near.max(), rel=2e-5)

    field = np.stack([vectors["dx_px"], vectors["dy_px"]]).reshape(2, 192 // SIDE, 256 // SIDE)
    padded = np.pad(field, ((0, 0), (1, 1), (1, 1)), constant_values=np.nan)
    around = np.stack(
        [np.roll(padded, (j, i), (1, 2))[:, 1:-1, 1:-1] for j in (-1, 0, 1) for i in (-1, 0, 1) if (i, j) != (0, 0)]
    )
    median = np.nanmedian(around, axis=0)
    residual = np.abs(field - median) / (np.nanmedian(np.abs(around - median), axis=0) + 0.1)
    expected = np.hypot(*residual).ravel() > 2
    assert 5 < np.count_nonzero(expected) < 40
    assert np.array_equal(vectors["status"] == "outlier", expected)
