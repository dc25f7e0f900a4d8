"""What a window sees of the largest speed of a vortex, computed independently of the program.

A vortex of Lamb and Oseen turns with v(r) = V (1 + 1/(2 a)) (R/r) (1 - exp(-a r^2/R^2)), a =
1.25643 (the root of exp(a) = 1 + 2 a), so that the largest speed V is reached at r = R. The middle
of a top-hat window of D pixels lies there, where the velocity is V along y. The expected
correlation at the lag (0, l) is the mean over the window of the correlation of two images of
Gaussian shape, as pixels integrate them, v(x, y) apart; the Gaussian through three points of it
about the highest gives the displacement along y. What the window does to displacements by its
border is divided out.
"""

import numpy as np

ALPHA = 1.2564312086261697


def velocity(x, y, core_px, peak_px):
    r2 = x * x + y * y
    turn = peak_px * (1 + 1 / (2 * ALPHA)) * core_px * -np.expm1(-ALPHA * r2 / core_px**2) / r2
    return -turn * y, turn * x


def image_correlation(lag, diameter_px):
    """Correlation of two images along one axis; Gauss and Legendre over the sides of the pixels'
    triangle.
    """
    nodes, parts = np.polynomial.legendre.leggauss(12)
    t = np.concatenate([0.5 * (nodes - 1), 0.5 * (nodes + 1)])
    part = np.concatenate([parts, parts]) * (1 - np.abs(t))
    return np.exp(-0.5 * np.subtract.outer(lag, t) ** 2 / (2 * (diameter_px / 4) ** 2)) @ part


def measured(core_px, peak_px=1.0, diameter_px=2.5, window_px=32, steps=128):
    """Displacement along y that the fit finds, px."""
    at = (np.arange(steps) + 0.5) / steps * window_px - 0.5 * window_px
    x, y = np.meshgrid(core_px + at, at)
    u, v = velocity(x, y, core_px, peak_px)
    near = round(float(v.mean()))
    below, middle, above = (
        np.log(np.mean(image_correlation(0 - u, diameter_px) * image_correlation(lag - v, diameter_px)))
        for lag in (near - 1, near, near + 1)
    )
    return near + (below - above) / (2 * (below - 2 * middle + above))


if __name__ == "__main__":
    for core in (16, 24, 32, 48):
        at = (np.arange(256) + 0.5) / 8 - 16
        x, y = np.meshgrid(core + at, at)
        print(f"core {core} px: {measured(core):.5f} px of 1 px; mean over the window {velocity(x, y, core, 1.0)[1].mean():.5f} px")
