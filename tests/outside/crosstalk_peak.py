"""Correlation peak of particle images whose pixels share their light, computed independently of
the program.

The expected correlation at the lag (i, j) of two frames with the same particles is that of one
image with itself. An image is a Gaussian of e^-2 diameter d integrated by whole pixels, so its
correlation is, along each axis, a Gaussian of variance 2 (d/4)^2 convolved with a triangle of half
width 1 px. A pixel keeps the share 1 - c of its light and gives c/4 to each of its four neighbours,
in both frames: the correlation is convolved twice with that cross. The width is the standard
deviation of the Gaussian through the peak and its two neighbours along x; whole windows of D pixels
lower these by 1 - 1/D.
"""

import numpy as np
from scipy.integrate import quad
from scipy.signal import convolve2d


def along_axis(lag, diameter_px):
    sigma = np.sqrt(2) * diameter_px / 4
    of = lambda t: (1 - abs(t)) * np.exp(-0.5 * ((lag - t) / sigma) ** 2)
    return quad(of, -1, 0, epsabs=1e-13)[0] + quad(of, 0, 1, epsabs=1e-13)[0]


def width(crosstalk, diameter_px, window_px):
    line = np.array([along_axis(lag, diameter_px) for lag in range(-6, 7)])
    cross = np.array([[0, crosstalk / 4, 0], [crosstalk / 4, 1 - crosstalk, crosstalk / 4], [0, crosstalk / 4, 0]])
    twice = convolve2d(cross, cross)
    plane = convolve2d(np.outer(line, line), twice, mode="same")
    peak, beside = plane[6, 6], plane[6, 7] * (1 - 1 / window_px)
    return 1 / np.sqrt(2 * np.log(peak / beside))


if __name__ == "__main__":
    print(" ".join(f"{width(c, 2.5, 64):.5f}" for c in (0.0, 0.1, 0.3)))
