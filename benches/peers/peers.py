"""What one would otherwise write for the same stages: numpy, scipy, FFTW and OpenCV, vectorised, on
one thread.

Each function makes a stage ready and returns a function that runs it once. Sizes and figures are
those of `benches/kernels.rs`.
"""

import cv2
import numpy as np
import pyfftw
import scipy.fft
import scipy.special
from numpy.lib.stride_tricks import sliding_window_view

SIZE = 1024
SIGMA = np.float32(2.2 / 4)
MARGIN = 4


def light(streak_px):
    """Noise-free light of a pair, from the drawing of the particles on: 0.05 ppp, a Gaussian sheet
    cut at 1e-5 of its light. A streak of 2 px takes 7 points, as the program needs for 1e-6 of the
    light."""
    rng = np.random.Generator(np.random.SFC64(1))
    points, weights = np.polynomial.legendre.leggauss(7 if streak_px else 1)
    side = SIZE + 2 * MARGIN

    def frame(x, y, electrons):
        pixels = np.zeros(side * side)
        for chunk in range(0, len(x), 16384):
            part = slice(chunk, chunk + 16384)
            shares, first = [], []
            for at in (x[part], y[part]):
                begin = np.floor(at - np.float32(4.75) * SIGMA + np.float32(0.5))
                edges = begin[:, None] + np.arange(8, dtype=np.float32) - np.float32(0.5)
                erf = scipy.special.erf((edges - at[:, None]) / (SIGMA * np.float32(np.sqrt(2))))
                shares.append(np.float32(0.5) * np.diff(erf, axis=1))
                first.append(begin.astype(np.int32) + MARGIN)
            spots = (electrons[part, None] * shares[1])[:, :, None] * shares[0][:, None, :]
            rows = (first[1][:, None] + np.arange(7)) * side
            columns = first[0][:, None] + np.arange(7)
            index = rows[:, :, None] + columns[:, None, :]
            pixels += np.bincount(index.ravel(), spots.ravel(), minlength=side * side)
        return pixels.reshape(side, side)[MARGIN:-MARGIN, MARGIN:-MARGIN].astype(np.float32) + np.float32(20)

    def run():
        count = rng.poisson(0.05 * SIZE * SIZE * 2.4)
        x, y = rng.random((2, count), dtype=np.float32) * np.float32(SIZE - 1)
        u = (rng.random(count, dtype=np.float32) - np.float32(0.5)) * np.float32(2.4)
        electrons = np.float32(5000) * np.exp(np.float32(-8) * u * u)
        for sign in (-0.5, 0.5):
            middle = np.clip(x + np.float32(3.3 * sign), 0, SIZE - 1)
            along = middle[:, None] + np.float32(0.5 * streak_px) * points.astype(np.float32)
            shared = electrons[:, None] * (0.5 * weights).astype(np.float32)
            rows = np.repeat(np.clip(y + np.float32(1.2 * sign), 0, SIZE - 1), len(points))
            frame(along.ravel(), rows, shared.ravel())

    return run


def sensor(mean_e):
    """Shot and dark noise, gain, rounding and clipping of one frame."""
    rng = np.random.Generator(np.random.SFC64(1))
    image = np.full((SIZE, SIZE), mean_e)

    def run():
        electrons = rng.poisson(image).astype(np.float32)
        electrons += np.float32(5) * rng.standard_normal(image.shape, dtype=np.float32)
        electrons *= np.float32(0.3405)
        electrons += np.float32(9)
        np.rint(electrons, out=electrons)
        np.clip(electrons, 0, 4095, out=electrons)

    return run


def scipy_transforms(side, padded, batch, count):
    """Fourier transforms and product alone, of windows that lie ready."""
    rng = np.random.default_rng(1)
    a, b = rng.random((2, batch, side, side), dtype=np.float32)
    length = scipy.fft.next_fast_len(side + side // 2 + 1, real=True) if padded else side

    def run():
        for _ in range(0, count, batch):
            product = np.conj(scipy.fft.rfft2(a, (length, length))) * scipy.fft.rfft2(b, (length, length))
            scipy.fft.irfft2(product, (length, length))

    return run


def fftw_transforms(side, padded, batch, count):
    """The same by FFTW with patient plans."""
    length = scipy.fft.next_fast_len(side + side // 2 + 1, real=True) if padded else side
    windows = [pyfftw.zeros_aligned((batch, length, length), dtype="float32") for _ in range(3)]
    spectra = [pyfftw.zeros_aligned((batch, length, length // 2 + 1), dtype="complex64") for _ in range(3)]
    effort = dict(axes=(1, 2), flags=("FFTW_PATIENT", "FFTW_DESTROY_INPUT"), threads=1, planning_timelimit=10)
    forward = [pyfftw.FFTW(windows[k], spectra[k], **effort) for k in range(2)]
    inverse = pyfftw.FFTW(spectra[2], windows[2], direction="FFTW_BACKWARD", **effort)

    def run():
        for _ in range(0, count, batch):
            forward[0].execute()
            forward[1].execute()
            np.conj(spectra[0], out=spectra[2])
            np.multiply(spectra[2], spectra[1], out=spectra[2])
            inverse.execute()

    return run


def phase_correlation(side, count):
    """OpenCV's phase correlation, window by window."""
    rng = np.random.default_rng(1)
    a, b = rng.random((2, side, side), dtype=np.float32)
    taper = cv2.createHanningWindow((side, side), cv2.CV_32F)

    def run():
        for _ in range(count):
            cv2.phaseCorrelate(a, b, taper)

    return run


def measured(a, b, side, batch=512):
    """Displacements of all windows at an overlap of 0.75: mean, both peaks, Gaussian fit."""
    step = side // 4
    views = [sliding_window_view(frame, (side, side))[::step, ::step] for frame in (a, b)]
    rows, columns = views[0].shape[:2]
    found = np.zeros((rows * columns, 2), np.float32)
    for start in range(0, rows * columns, batch):
        n = np.arange(start, min(start + batch, rows * columns))
        spectra = []
        for view in views:
            windows = view[n // columns, n % columns]
            spectra.append(scipy.fft.rfft2(windows - windows.mean(axis=(1, 2), keepdims=True)))
        plane = scipy.fft.irfft2(np.conj(spectra[0]) * spectra[1], (side, side))
        plane = np.roll(plane, (side // 2, side // 2), axis=(1, 2))
        inner = plane[:, 3:-3, 3:-3].reshape(len(n), -1)
        top = inner.argmax(axis=1)
        y, x = top // (side - 6) + 3, top % (side - 6) + 3
        k = np.arange(len(n))
        fitted = []
        for dx, dy in ((1, 0), (0, 1)):
            c = np.log(np.maximum([plane[k, y + s * dy, x + s * dx] for s in (-1, 0, 1)], 1e-9))
            fitted.append(0.5 * (c[0] - c[2]) / np.minimum(c[0] - 2 * c[1] + c[2], -1e-9))
        found[n] = np.stack([x + fitted[0], y + fitted[1]], axis=1) - side // 2
        for j in range(-2, 3):
            for i in range(-2, 3):
                plane[k, np.clip(y + j, 0, side - 1), np.clip(x + i, 0, side - 1)] = -np.inf
        plane.reshape(len(n), -1).max(axis=1)
    return found.reshape(rows, columns, 2)


def trusted(field):
    """Vectors whose normalised median residual is above 2 are replaced by the median of their
    neighbours."""
    padded = np.pad(field, ((1, 1), (1, 1), (0, 0)), mode="edge")
    around = [(j, i) for j in range(3) for i in range(3) if (j, i) != (1, 1)]
    near = np.stack([padded[j:j + field.shape[0], i:i + field.shape[1]] for j, i in around])
    median = np.median(near, axis=0)
    residual = np.abs(field - median) / (np.median(np.abs(near - median), axis=0) + 0.1)
    bad = np.hypot(residual[..., 0], residual[..., 1]) > 2
    return np.where(bad[..., None], median, field)


def passes(size):
    """Windows of 64 and then 32 px, the frames deformed in between by OpenCV's bicubic remap, which
    is less accurate than the program's cubic B-spline but the fastest to be had."""
    rng = np.random.default_rng(1)
    spots = np.zeros((size + 8, size + 8), np.float32)
    spots[rng.integers(0, size + 8, size * size // 20), rng.integers(0, size + 8, size * size // 20)] = 5000
    spots = cv2.GaussianBlur(spots, (0, 0), 0.65)
    a, b = (np.ascontiguousarray(spots[4:-4, k:k + size]) for k in (4, 1))
    y, x = np.mgrid[:size, :size].astype(np.float32)

    def run():
        field = trusted(measured(a, b, 64))
        at = [(grid - np.float32(31.5)) / np.float32(16) for grid in (x, y)]
        d = cv2.remap(field.astype(np.float32), *at, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        shift = 0.5 * d
        deformed = [
            cv2.remap(frame, x + sign * shift[..., 0], y + sign * shift[..., 1], cv2.INTER_CUBIC)
            for frame, sign in ((a, -1), (b, 1))
        ]
        trusted(measured(*deformed, 32))

    return run
