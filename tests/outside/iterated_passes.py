"""Several passes of interrogation that deform both frames, by Monte Carlo with pictures, an
interpolation and a correlator that know nothing of the program: what theory gives only for a dense
predictor and without noise.

Linear theory of a dense predictor lets windows measure 1 - (1 - r)^k of a wave of displacement
after k passes, r being the response of one pass. It leaves out that the predictor's errors and
those of the next pass come from the same particle images: windows of few images err in proportion
to the displacement, and what a pass takes off and what it finds left share these errors. Products
of the two remain in the mean: with Blackman's weight and waves of 96 px two passes measure 0.975,
but 1.00 where the predictor comes from other particles in the same flow (`--apart`; 1 - (1 - r)^2
is 0.999).

Particle images are those of one_pass.py. Windows are freed of their weighted means, weighted and
correlated by FFT, as they are or padded with as many zeros; the plane may be divided by the
correlation of the weights. The predictor is the natural cubic spline along each axis through the
vectors, or through the values at their places of a second-order polynomial fitted to the 5 x 5
vectors around each; straight beyond the outermost. Frame A is deformed by minus half of it, frame B
by plus half, with splines of a given order (the order counts: in the second pass of triangular
weights, to waves of 96 px of which the seventh order measures 0.98, linear interpolation adds 0.18,
cubic splines 0.03 and those of the fifth order 0.006). A pass adds the predictor in the window's
middle to what it finds. Where it is more than a pixel off the truth, the next pass takes the median
of the vectors around it.
"""

import argparse
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from one_pass import Conditions, fraction, pair, profile
from scipy.interpolate import CubicSpline, NdBSpline, make_interp_spline
from scipy.ndimage import generic_filter
from window_response import WEIGHTS


@dataclass(frozen=True)
class Interrogation:
    """How pairs are interrogated."""

    passes: tuple = ((32, 0.75),) * 2  # window in px, overlap
    weighting: str = "gaussian"
    padded: bool = False  # with zeros
    divided: bool = False  # by the correlation of the weights
    order: int = 7  # of the spline that interpolates the frames
    smoothed: bool = False  # the predictor, by second-order polynomials


@dataclass(frozen=True)
class Grid:
    """Windows as close to the edges as their steps allow."""

    window: int
    overlap: float
    size: tuple  # of the picture: along x, along y

    @property
    def step(self):
        return round(self.window * (1 - self.overlap))

    def first(self, axis):
        return (self.size[axis] - self.window) % self.step // 2

    def middles(self, axis):
        return self.first(axis) + np.arange(0, self.size[axis] - self.window + 1, self.step) + (self.window - 1) / 2


def weights(name, window):
    t = 2 * (np.arange(window) - 0.5 * (window - 1)) / window
    return np.ones(window) if name == "top-hat" else WEIGHTS[name](t)


def correlate(a, b, grid, how):
    """Displacements found in the windows of a grid, [row, column, 2]."""
    window = grid.window
    weight = weights(how.weighting, window)
    weight = np.multiply.outer(weight, weight)
    x, y = grid.first(0), grid.first(1)
    stacks = [sliding_window_view(frame, (window, window))[y :: grid.step, x :: grid.step] for frame in (a, b)]
    rows, columns = stacks[0].shape[:2]
    side = (2 * window if how.padded else window,) * 2
    transform = lambda w: np.fft.rfft2(w, s=side)  # noqa: E731
    spectra = [transform(weight * (w - np.einsum("rcyx,yx->rc", w, weight)[..., None, None] / weight.sum())) for w in stacks]
    # Where the plane is divided, far lags are noise over next to nothing.
    reach = window // 4 if how.divided else window // 2 - 1
    lags = slice(side[0] // 2 - reach, side[0] // 2 + reach + 1)
    plane_of = lambda f, g: np.fft.fftshift(np.fft.irfft2(np.conj(f) * g, s=side), axes=(-2, -1))[..., lags, lags]  # noqa: E731
    plane = plane_of(*spectra)
    if how.divided:
        own = transform(weight)
        plane = plane / plane_of(own, own)
    wide = 2 * reach + 1
    plane = plane.reshape(rows * columns, wide, wide)
    inner = plane[:, 1:-1, 1:-1].reshape(len(plane), -1)
    j, i = (n + 1 for n in np.divmod(inner.argmax(axis=1), wide - 2))
    value = lambda dj, di: plane[np.arange(len(plane)), j + dj, i + di]  # noqa: E731
    dx = i - reach + fraction(value(0, -1), value(0, 0), value(0, 1))
    dy = j - reach + fraction(value(-1, 0), value(0, 0), value(1, 0))
    return np.stack([dx, dy], axis=-1).reshape(rows, columns, 2)


@cache
def straight_beyond(grid, axis, at):
    """What a vector of displacement one adds to the natural spline at each place: places by
    vectors."""
    middles, at = grid.middles(axis), np.array(at, dtype=float)
    spline = CubicSpline(middles, np.eye(len(middles)), bc_type="natural")
    held = np.clip(at, middles[0], middles[-1])
    return spline(held) + (at - held)[:, None] * spline(held, 1)


@cache
def middle_of_parabola(left, right, above, below):
    """Weights of the vectors around one, in its place of the polynomial fitted to them."""
    y, x = (n.ravel().astype(float) for n in np.mgrid[-above : below + 1, -left : right + 1])
    return np.linalg.pinv(np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1))[0]


def smooth(vectors):
    rows, columns = vectors.shape[:2]
    found = np.empty_like(vectors)
    for j in range(rows):
        for i in range(columns):
            left, right, above, below = min(i, 2), min(columns - 1 - i, 2), min(j, 2), min(rows - 1 - j, 2)
            around = vectors[j - above : j + below + 1, i - left : i + right + 1].reshape(-1, 2)
            found[j, i] = middle_of_parabola(left, right, above, below) @ around
    return found


def through(grid, vectors, places):
    """The predictor, [row, column, 2], where these places along x and these along y cross."""
    along, across = (straight_beyond(grid, axis, tuple(places[axis])) for axis in (0, 1))
    return np.einsum("yj,jik,xi->yxk", across, vectors, along, optimize=True)


def trusted(vectors, truth):
    """The median of the vectors around it in place of each that is far off."""
    wrong = np.hypot(*np.moveaxis(vectors - truth, -1, 0)) > 1
    if not wrong.any():
        return vectors
    kept = np.where(wrong[..., None], np.nan, vectors)
    median = [generic_filter(kept[..., k], np.nanmedian, size=3, mode="constant", cval=np.nan) for k in (0, 1)]
    return np.where(wrong[..., None], np.stack(median, axis=-1), vectors)


def interpolated(frame, y, x, order):
    """A spline through the pixels and their mirror image beyond the edges."""
    margin = 30
    down = make_interp_spline(np.arange(-margin, frame.shape[0] + margin), np.pad(frame, margin, mode="reflect"), k=order, axis=0)
    across = make_interp_spline(np.arange(-margin, frame.shape[1] + margin), down.c.T, k=order, axis=0)
    return NdBSpline((down.t, across.t), across.c.T, order)(np.stack([y, x], axis=-1))


def deformed(frames, predictor, order):
    """Frame A by minus, frame B by plus half the predictor: grid and vectors."""
    x, y = (np.arange(n, dtype=float) for n in frames[0].shape[::-1])
    half = 0.5 * through(*predictor, (x, y))
    places = [(y[:, None] + sign * half[..., 1], x + sign * half[..., 0]) for sign in (-1, 1)]
    return [interpolated(frame, *place, order) for frame, place in zip(frames, places, strict=True)]


def interrogate(frames, how, truth=None, before=None):
    """After each pass: the grid and its displacements, [row, column, 2]. Where no truth is told,
    all are trusted. The first pass takes the grid and vectors `before` as predictor, where there
    are any."""
    found = []
    for window, overlap in how.passes:
        moved = frames if before is None else deformed(frames, before, how.order)
        grid = Grid(window, overlap, frames[0].shape[::-1])
        vectors = correlate(*moved, grid, how)
        if before is not None:
            vectors = vectors + through(*before, (grid.middles(0), grid.middles(1)))
        found.append((grid, vectors))
        kept = vectors if truth is None else trusted(vectors, truth)
        before = grid, smooth(kept) if how.smoothed else kept
    return found


# Waves of displacement.

BORDER = 32  # px that are left out


def wave_pair(wave, density, diameter, size, random):
    """Frames A and B, [y, x], of particles that move along x by a function of y, half before and
    half after the middle."""
    reach = 3 * diameter
    low, high = -0.5 - reach, np.array(size) - 0.5 + reach
    x, y = random.uniform(low, high[:, None], (2, random.poisson(density * np.prod(high - low))))
    return [profile(size[1], y, diameter, 0.0) @ profile(size[0], x + sign * wave(y), diameter, 0.0).T for sign in (-0.5, 0.5)]


def response(how, wavelength_px, density, diameter, pairs=160, seed=1, apart=False, amplitude_px=0.2, size=(128, 384)):
    """Regression of the vectors on the wave, after each pass: (value, standard error). Where the
    passes are to be `apart`, each of them sees other particles than the one before.
    """
    random, sums = np.random.default_rng(seed), []
    for _ in range(pairs):
        phase = 2 * np.pi * random.random()
        wave = lambda y: amplitude_px * np.cos(2 * np.pi * y / wavelength_px + phase)  # noqa: E731
        frames = lambda: wave_pair(wave, density, diameter, size, random)  # noqa: B023, E731
        if apart:
            found, before = [], None
            for one in how.passes:
                before = interrogate(frames(), replace(how, passes=(one,)), before=before)[0]
                found.append(before)
        else:
            found = interrogate(frames(), how)
        products = []
        for grid, vectors in found:
            far = [(grid.middles(k) >= BORDER) & (grid.middles(k) <= size[k] - 1 - BORDER) for k in (0, 1)]
            true = wave(grid.middles(1)[far[1]])[:, None]
            inner = vectors[np.ix_(far[1], far[0])][..., 0]
            products.append(np.sum(true * inner))
        sums.append([*products, np.sum(true**2) * inner.shape[1]])
    sums = np.array(sums)
    value = sums[:, :-1].sum(axis=0) / sums[:, -1].sum()
    error = np.std(sums[:, :-1] - value * sums[:, -1:], axis=0) / sums[:, -1].mean() / np.sqrt(pairs)
    return list(zip(value, error, strict=True))


def waves(weighting, passes):
    return Interrogation(((32, 0.75),) * passes, weighting, padded=True, divided=True)


# Of the reference cases: how, density in ppp, diameter in px, wavelengths in px.
WAVES = {
    "top-hat": (waves("top-hat", 4), 0.08, 2.5, (128, 64)),
    "gaussian": (waves("gaussian", 3), 0.1, 3.0, (96, 64)),
    "triangular": (waves("triangular", 2), 0.1, 3.0, (96, 64)),
    "blackman": (waves("blackman", 2), 0.1, 3.0, (96, 64)),
}


# Errors in a uniform flow.


def errors(c, how, pairs=64, seed=1):
    """Bias, random and total error of the last pass: (value, standard error) along x and y, of the
    vectors within 1 px of the truth; and the share of those."""
    random, sums = np.random.default_rng(seed), []
    for _ in range(pairs):
        wrong = interrogate(pair(c, random), how, c.displacement)[-1][1].reshape(-1, 2) - c.displacement
        good = wrong[np.hypot(*wrong.T) <= 1]
        sums.append([good.sum(axis=0), (good**2).sum(axis=0), np.full(2, len(good)), np.full(2, len(wrong))])
    sums = np.array(sums)

    def jackknifed(of):
        whole = sums.sum(axis=0)
        without = np.array([of(whole - one) for one in sums])
        return list(zip(of(whole), np.sqrt((pairs - 1) * np.mean((without - without.mean(axis=0)) ** 2, axis=0)), strict=True))

    return {
        "bias": jackknifed(lambda s: s[0] / s[2]),
        "random": jackknifed(lambda s: np.sqrt(s[1] / s[2] - (s[0] / s[2]) ** 2)),
        "total": jackknifed(lambda s: np.sqrt(s[1] / s[2])),
        "valid": jackknifed(lambda s: s[2] / s[3]),
    }


PLAIN = Interrogation(((32, 0.5),) * 3, smoothed=True)
USUAL = Interrogation(((64, 0.5), (32, 0.5), (32, 0.75), (32, 0.75)), smoothed=True)
LIT = {"window": 256, "gaussian_sheet": True}
CAMERA = {"background": 20.0, "dark_noise": 5.0}
DIM = {"displacement": (5.3, 1.6), "diameter": 2.2, "density": 0.02, "electrons": 800.0, "full_well": 12000.0, "gain": 4095 / 12000,
       "largest": 4095.0}

# Of the reference cases: by the place, conditions and how.
UNIFORM = {
    "interpolators-deforming": {
        name: (Conditions(displacement=(3.25, 0.0), diameter=2.5, electrons=20000.0, **LIT), replace(PLAIN, order=k))
        for name, k in (("bilinear", 1), ("cubic", 3), ("quintic", 5), ("septic", 7))
    },
    "deformation-gain": {"deformed": (Conditions(displacement=(3.3, 0.0), electrons=20000.0, **LIT), PLAIN)},
    "bright-uniform": {
        "default": (Conditions(displacement=(3.3, 0.0), diameter=2.5, electrons=20000.0, full_well=60000.0, gain=65535 / 60000,
                               largest=65535.0, **CAMERA, **LIT), USUAL)
    },
    "streak-equal-energy": {f"{s} px": (Conditions(streak=(float(s), 0.0), **DIM, **CAMERA, **LIT), USUAL) for s in (0, 2, 4, 6)},
}

if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("case", nargs="*", help="all if none is named")
    arguments.add_argument("--pairs", type=int)
    arguments.add_argument("--apart", action="store_true", help="of waves: each pass sees other particles")
    asked = arguments.parse_args()
    told = lambda found: "  ".join(f"{value:.5f} +- {error:.5f}" for value, error in found)  # noqa: E731
    for name in asked.case or [*WAVES, *UNIFORM]:
        if name in WAVES:
            how, density, diameter, wavelengths = WAVES[name]
            for wavelength in wavelengths:
                print(f"{name:24} {wavelength:5} px ", told(response(how, wavelength, density, diameter, asked.pairs or 160, apart=asked.apart)), flush=True)
        else:
            for place, (conditions, how) in UNIFORM[name].items():
                found = errors(conditions, how, asked.pairs or 64)
                print(f"{name:24} {place:>8} ", *(f"{what} {told(found[what])} " for what in found), flush=True)
