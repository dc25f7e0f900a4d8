"""Cramer-Rao bound of the displacement of a window of random particles in noise, computed
independently of the program.

Two frames show the same particles at rest with independent noise of the variance v = s^2 + F in a
pixel of F electrons. One frame has the Fisher information J = sum (dF/dx)^2 / v about the place of
its pattern F along x, and the displacement between two has at least the variance 2/J (Cramer 1946,
Rao 1945). Along x and y together: the inverse of the 2 x 2 matrix.

Particles are drawn at random, each a Gaussian of e^-2 diameter d integrated by the pixels; the
slopes are differences of erf's Gaussians, in closed form. The root mean square of the bound over
many windows is printed.
"""

import numpy as np
from scipy.special import erf


def line(edges, at, sigma):
    """Integral of the Gaussian over each pixel, and its change with `at`; pixels along the first
    axis.
    """
    u = (edges[:, None] - at) / sigma
    whole = 0.5 * erf(u / np.sqrt(2))
    slope = -np.exp(-0.5 * u * u) / (np.sqrt(2 * np.pi) * sigma)
    return np.diff(whole, axis=0), np.diff(slope, axis=0)


def root_mean_square_bound(noise_e, window_px=32, diameter_px=2.5, electrons=2000.0, density_ppp=0.03, windows=4000, seed=1):
    generator = np.random.default_rng(seed)
    reach = 2 * diameter_px
    side = window_px + 2 * reach
    edges = np.arange(window_px + 1) - 0.5
    squares = []
    for _ in range(windows):
        count = generator.poisson(density_ppp * side * side)
        x, y = generator.uniform(-0.5 - reach, window_px - 0.5 + reach, (2, count))
        (gx, sx), (gy, sy) = line(edges, x, diameter_px / 4), line(edges, y, diameter_px / 4)
        along_x, along_y = electrons * gy @ sx.T, electrons * sy @ gx.T
        variance = noise_e**2 + electrons * gy @ gx.T
        xx, yy, xy = (np.sum(a * b / variance) for a, b in ((along_x, along_x), (along_y, along_y), (along_x, along_y)))
        squares.append(2 * yy / (xx * yy - xy * xy))
    return np.sqrt(np.mean(squares))


if __name__ == "__main__":
    for noise_e in (80.0, 160.0):
        print(f"{noise_e} e: {root_mean_square_bound(noise_e):.4f} px")
