"""Which part of a displacement wave's amplitude one pass of a weighted window measures, computed
independently of the program.

The displacement u = a cos(2 pi y/L) along x is small. Both frames are weighted by w, so a row of
pixels y counts by w(y)^2. A particle image of the standard deviation s = d/4 is seen by the rows
around it, by the square of its profile there, a Gaussian of variance (s^2 + 1/12)/2 (the pixel's
own 1/12 added). For small displacements and images the part that remains is

    sum w^2 cos(2 pi y/L) / sum w^2.

Here the correlation peak itself is summed: at the lag l it is the mean over the rows of R(l - u), R
being the correlation of two images a displacement apart along x, a Gaussian of variance 2 s^2
convolved with the triangle of the pixels. The three-point Gaussian fit at lags -1, 0 and 1 gives
the displacement; its regression on the true one in the window's middle, over all phases, is the
response. What the weight does along x is divided out (the correlation over the window's own).

With t = 2 y/D from the middle to the border (y at the pixels' centres):

  gaussian     exp(-t^2)
  blackman     0.42 + 0.5 cos(pi t) + 0.08 cos(2 pi t)
  triangular   1 - |t|
"""

import numpy as np

WEIGHTS = {
    "gaussian": lambda t: np.exp(-(t**2)),
    "blackman": lambda t: 0.42 + 0.5 * np.cos(np.pi * t) + 0.08 * np.cos(2 * np.pi * t),
    "triangular": lambda t: 1 - np.abs(t),
}


def image_correlation(lag, diameter_px):
    """Correlation of two images along x; Gauss and Legendre over the two sides of the triangle."""
    nodes, parts = np.polynomial.legendre.leggauss(12)
    t = np.concatenate([0.5 * (nodes - 1), 0.5 * (nodes + 1)])
    part = np.concatenate([parts, parts]) * (1 - np.abs(t))
    variance = 2 * (diameter_px / 4) ** 2
    return np.exp(-0.5 * np.subtract.outer(lag, t) ** 2 / variance) @ part


def response(name, wavelength_px, amplitude_px, diameter_px, window_px=32):
    y = np.arange(window_px) - 0.5 * (window_px - 1)
    square = WEIGHTS[name](2 * y / window_px) ** 2
    spread, part = np.polynomial.hermite_e.hermegauss(9)
    seen = y[:, None] + np.sqrt(((diameter_px / 4) ** 2 + 1 / 12) / 2) * spread
    weight = np.multiply.outer(square, part)
    found, true = [], []
    for phase in np.linspace(0, 2 * np.pi, 64, endpoint=False):
        moved = amplitude_px * np.cos(2 * np.pi * seen / wavelength_px + phase)
        below, middle, above = (np.log(np.sum(weight * image_correlation(lag - moved, diameter_px))) for lag in (-1, 0, 1))
        found.append((below - above) / (2 * (below - 2 * middle + above)))
        true.append(amplitude_px * np.cos(phase))
    return np.dot(found, true) / np.dot(true, true)


if __name__ == "__main__":
    for name in WEIGHTS:
        print(name, " ".join(f"{response(name, wavelength, 0.2, 3.0):.5f}" for wavelength in (48, 36)))
