"""Which part of a displacement wave's amplitude windows measure after k passes that deform both frames, by Monte Carlo with pictures, an
interpolation and a correlator that know nothing of the program.

Linear theory of a dense predictor gives 1 - (1 - r)^k, r being the response of one pass. It leaves out that the predictor's errors and
those of the next pass come from the same particle images: windows of few images err in proportion to the displacement, and what a pass
takes off and what it finds left share these errors. Products of the two remain in the mean.

Particles, uniformly random, move along x by a cos(2 pi y/L), half before and half after the middle; their images are those of
one_pass.py. Windows of D pixels, a quarter of a window apart, are freed of their weighted means, weighted, padded with as many zeros and
correlated; the plane is divided by the correlation of the weights. The predictor is the natural cubic spline along each axis through the
vectors; frame A is deformed by minus half of it, frame B by plus half, with quintic splines (the order counts: bilinear interpolation
loses a fifth of the wave in the second pass, cubic splines gain a fortieth). A pass adds the predictor in the window's
middle to what it finds. The response is the regression of the vectors on the true wave, away from the edges.
"""

import argparse

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from one_pass import fraction, profile
from scipy.interpolate import CubicSpline
from scipy.ndimage import map_coordinates
from window_response import WEIGHTS

WINDOW, STEP, SIZE, BORDER = 32, 8, (128, 384), 32  # px; of the pictures: along x, along y
REACH = 6  # px, of the search: the waves are small


def weights(name):
    t = 2 * (np.arange(WINDOW) - 0.5 * (WINDOW - 1)) / WINDOW
    return np.ones(WINDOW) if name == "top-hat" else WEIGHTS[name](t)


def pair(wave, density, diameter, random):
    """Frames A and B, [y, x]."""
    reach = 3 * diameter
    low, high = -0.5 - reach, np.array(SIZE) - 0.5 + reach
    x, y = random.uniform(low, high[:, None], (2, random.poisson(density * np.prod(high - low))))
    return [profile(SIZE[1], y, diameter, 0.0) @ profile(SIZE[0], x + sign * wave(y), diameter, 0.0).T for sign in (-0.5, 0.5)]


def interrogate(a, b, weight):
    """Displacements [row, column, 2]."""
    weight = np.multiply.outer(weight, weight)
    stacks = [sliding_window_view(frame, (WINDOW, WINDOW))[::STEP, ::STEP] for frame in (a, b)]
    rows, columns = stacks[0].shape[:2]
    side = (2 * WINDOW, 2 * WINDOW)
    transform = lambda w: np.fft.rfft2(w, s=side)  # noqa: E731
    spectra = [transform(weight * (w - np.einsum("rcyx,yx->rc", w, weight)[..., None, None] / weight.sum())) for w in stacks]
    lags = slice(WINDOW - REACH, WINDOW + REACH + 1)
    correlated = lambda f, g: np.fft.fftshift(np.fft.irfft2(np.conj(f) * g, s=side), axes=(-2, -1))[..., lags, lags]  # noqa: E731
    own = transform(weight)
    plane = (correlated(*spectra) / correlated(own, own)).reshape(rows * columns, 2 * REACH + 1, 2 * REACH + 1)
    inner = plane[:, 1:-1, 1:-1].reshape(len(plane), -1)
    j, i = (n + 1 for n in np.divmod(inner.argmax(axis=1), 2 * REACH - 1))
    value = lambda dj, di: plane[np.arange(len(plane)), j + dj, i + di]  # noqa: E731
    dx = i - REACH + fraction(value(0, -1), value(0, 0), value(0, 1))
    dy = j - REACH + fraction(value(-1, 0), value(0, 0), value(1, 0))
    return np.stack([dx, dy], axis=-1).reshape(rows, columns, 2)


def middles(axis):
    return np.arange((WINDOW - 1) / 2, SIZE[axis] - WINDOW / 2, STEP)


def natural(axis):
    """What a vector of displacement one adds to the spline at each pixel, straight beyond the outermost: pixels by vectors."""
    at, pixels = middles(axis), np.arange(SIZE[axis])
    spline = CubicSpline(at, np.eye(len(at)), bc_type="natural")
    held = np.clip(pixels, at[0], at[-1])
    return spline(held) + (pixels - held)[:, None] * spline(held, 1)


def passes_of(frames, weight, passes):
    """The vectors' displacements along x after each pass, [row, column]."""
    along, across = natural(0), natural(1)
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]].astype(float)
    moved, vectors, found = frames, 0.0, []
    for _ in range(passes):
        vectors = vectors + interrogate(*moved, weight)
        found.append(vectors[..., 0])
        px, py = (across @ vectors[..., k] @ along.T for k in (0, 1))
        moved = [
            map_coordinates(frame, [rows + 0.5 * sign * py, columns + 0.5 * sign * px], order=5, mode="nearest")
            for frame, sign in zip(frames, (-1, 1))
        ]
    return found


def response(name, wavelength_px, amplitude_px, passes, density, diameter, pairs=200, seed=1):
    """After each pass: (value, standard error)."""
    random, sums = np.random.default_rng(seed), []
    far = [(m >= BORDER) & (m <= SIZE[k] - 1 - BORDER) for k, m in enumerate(middles(axis) for axis in (0, 1))]
    for _ in range(pairs):
        phase = 2 * np.pi * random.random()
        wave = lambda y: amplitude_px * np.cos(2 * np.pi * y / wavelength_px + phase)  # noqa: E731
        true = np.repeat(wave(middles(1))[:, None], len(middles(0)), axis=1)[np.ix_(far[1], far[0])]
        found = passes_of(pair(wave, density, diameter, random), weights(name), passes)
        sums.append([np.sum(true * vectors[np.ix_(far[1], far[0])]) for vectors in found] + [np.sum(true**2)])
    sums = np.array(sums)
    value = sums[:, :-1].sum(axis=0) / sums[:, -1].sum()
    error = np.std(sums[:, :-1] - value * sums[:, -1:], axis=0) / sums[:, -1].mean() / np.sqrt(pairs)
    return list(zip(value, error, strict=True))


# Of the reference cases: weight -> density in ppp, diameter in px, wavelengths in px, passes.
CASES = {
    "top-hat": (0.08, 2.5, (128, 64), 4),
    "gaussian": (0.1, 3.0, (96, 64), 3),
    "triangular": (0.1, 3.0, (96, 64), 2),
    "blackman": (0.1, 3.0, (96, 64), 2),
}

if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--pairs", type=int, default=200)
    asked = arguments.parse_args()
    for name, (density, diameter, wavelengths, passes) in CASES.items():
        for wavelength in wavelengths:
            found = response(name, wavelength, 0.2, passes, density, diameter, asked.pairs)
            print(f"{name:10} {wavelength:4} px", *(f"{value:.5f} +- {error:.5f}" for value, error in found), flush=True)
