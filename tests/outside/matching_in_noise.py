"""Error of least-squares matching in strong noise, by Monte Carlo with pictures, an interpolation
and a correlator that know nothing of the program: how near matching comes to the bound of
displacement_bound.py, for which there is no closed form.

Frames deformed by a predictor that misses the displacement by r differ by r times the slope of
their mean (the deformation is central, so that this holds to the third order), by a share of their
mean and by a constant: four unknowns, by least squares over the pixels of a window (Ackermann 1984,
Gruen 1985; memory). Slopes taken from noisy pictures are noisy themselves. They add to the
equations' left side what does not belong there, by which r comes out too small, and they let noise
of the difference in, by which it scatters more; a smoothing of the frames by (1, 3, 1)/5 along both
axes, as the program has it, takes part of that noise away, and of the signal.

Two passes of 32 px without overlap come first (iterated_passes.py), then the frames are deformed by
the smoothed vectors of the second and matched once. A window adds r to the predictor's mean over
its pixels. What the mean takes from a predictor through these sums is added back.
"""

import argparse

import numpy as np
from displacement_bound import root_mean_square_bound
from iterated_passes import Interrogation, deformed, interpolated, interrogate, smooth, through
from one_pass import Conditions, pair
from scipy.ndimage import correlate1d

WINDOW = 32
PASSES = Interrogation(((WINDOW, 0.0),) * 2, "top-hat", smoothed=True)


def conditions(noise_e, size=512):
    return Conditions((0.0, 0.0), diameter=2.5, window=size, density=0.03, electrons=2000.0, dark_noise=noise_e)


def windows(field):
    """[row of windows, column of windows, pixel] of a field [y, x] that they cover."""
    rows, columns = (n // WINDOW for n in field.shape)
    return field.reshape(rows, WINDOW, columns, WINDOW).swapaxes(1, 2).reshape(rows, columns, -1)


def averaged(predictor, size):
    """The predictor's mean over the pixels of each window."""
    pixels = np.arange(size, dtype=float)
    everywhere = through(*predictor, (pixels, pixels))
    return np.stack([windows(everywhere[..., k]).mean(axis=-1) for k in (0, 1)], axis=-1)


def missed(frames, order):
    """What each window finds that the deformation missed, [row, column, 2]."""
    calm = [correlate1d(correlate1d(f, [0.2, 0.6, 0.2], axis=0, mode="mirror"), [0.2, 0.6, 0.2], axis=1, mode="mirror") for f in frames]
    mean = 0.5 * (calm[0] + calm[1])
    y, x = (n.astype(float) for n in np.mgrid[: mean.shape[0], : mean.shape[1]])
    step = 0.03
    slope_x = (interpolated(mean, y, x + step, order) - interpolated(mean, y, x - step, order)) / (2 * step)
    slope_y = (interpolated(mean, y + step, x, order) - interpolated(mean, y - step, x, order)) / (2 * step)
    columns = np.stack([windows(v) for v in (slope_x, slope_y, mean - mean.mean(), np.ones_like(mean))], axis=-1)
    left = np.einsum("rcpi,rcpj->rcij", columns, columns)
    right = np.einsum("rcpi,rcp->rci", columns, windows(calm[0] - calm[1]))
    return np.linalg.solve(left, right[..., None])[..., :2, 0]


def match(frames, order=7):
    """Displacements of the windows, [row, column, 2]."""
    size = frames[0].shape[0]
    grid, vectors = interrogate(frames, PASSES)[-1]
    predictor = grid, smooth(vectors)
    sums = averaged(predictor, size) + missed(deformed(frames, predictor, order), order)
    refined = grid, smooth(sums)
    return sums + through(*refined, (grid.middles(0), grid.middles(1))) - averaged(refined, size)


def random_error(noise_e, pairs=40, seed=1):
    """Along x and y: (value, standard error)."""
    random, c = np.random.default_rng(seed), conditions(noise_e)
    squares = np.array([np.mean(match(pair(c, random)) ** 2, axis=(0, 1)) for _ in range(pairs)])
    value = np.sqrt(squares.mean(axis=0))
    return list(zip(value, squares.std(axis=0, ddof=1) / np.sqrt(pairs) / (2 * value), strict=True))


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--pairs", type=int, default=40)
    asked = arguments.parse_args()
    for noise_e in (80.0, 160.0):
        found, bound = random_error(noise_e, asked.pairs), root_mean_square_bound(noise_e)
        told = "  ".join(f"{value:.5f} +- {error:.5f} px, bound over it {bound / value:.3f}" for value, error in found)
        print(f"{noise_e} e: {told}", flush=True)
