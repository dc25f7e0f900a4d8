"""Error of B-spline interpolation of random particle images, from their power spectrum, computed
independently of the program.

Particles are uniformly random, so pictures of them are stationary and waves of different
frequencies are uncorrelated. Along an axis the pictures' spectrum is that of one image: a Gaussian
of standard deviation d/4, integrated by a pixel,

    S(f) = exp(-(2 pi f d/4)^2) (sin(pi f)/(pi f))^2.

The pixels sample a wave exp(2 pi i f x). The interpolating spline of degree n takes it for the wave
of the same samples: at n - h it gives the transfer sum_k beta(k - h) exp(2 pi i f k) over sum_k
beta(k) exp(2 pi i f k), beta being the B-spline, and the wave itself has exp(2 pi i f h) there (the
sign of h is of no account). The transfer repeats with every whole number in f, so waves shorter
than two pixels are included with what they are taken for. Across the shift nothing is interpolated.

Between a picture moved by h and one that the spline moves there the expected correlation at the lag
l is the sum over the spectrum of transfer times exp(-2 pi i f (h + l)), the lag counted along the
move. The Gaussian through three points of it, times the triangle 1 - |l|/D of a window of D pixels,
gives the bias of one plain pass.
"""

import numpy as np
from scipy.integrate import quad
from scipy.interpolate import BSpline

DEGREES = {"bilinear": 1, "cubic": 3, "quintic": 5, "septic": 7}


def spectrum(f, diameter_px):
    return np.exp(-((2 * np.pi * f * diameter_px / 4) ** 2)) * np.sinc(f) ** 2


def transfer(f, shift_px, degree):
    """What becomes of exp(2 pi i f x) at the place `shift_px` from a pixel."""
    half = (degree + 1) / 2
    beta = BSpline.basis_element(np.arange(degree + 2) - half, extrapolate=False)
    k = np.arange(-degree - 1, degree + 2)
    waves = np.exp(2j * np.pi * np.multiply.outer(f, k))
    at = lambda x: np.nan_to_num(beta(x))
    return (waves @ at(shift_px - k)) / (waves @ at(-k.astype(float)))


def rms_over_deviation(diameter_px, shift_px, degree):
    """Root mean square error of the interpolated pixels over their standard deviation."""

    def error(f):
        wave = np.exp(2j * np.pi * f * shift_px)
        return spectrum(f, diameter_px) * np.abs(transfer(np.array([f]), shift_px, degree)[0] - wave) ** 2

    # At d = 2 px the spectrum is below 1e-34 beyond 4 waves per pixel.
    total = lambda of: sum(quad(of, m / 2, (m + 1) / 2, epsabs=1e-14, epsrel=1e-10)[0] for m in range(8))
    return np.sqrt(total(error) / total(lambda f: spectrum(f, diameter_px)))


def bias(diameter_px, shift_px, degree, window_px):
    """Displacement that one plain pass measures between the moved and the interpolated picture, px;
    negative where the latter lags behind.
    """

    def value(lag):
        def wave(f):
            return spectrum(f, diameter_px) * (
                transfer(np.array([f]), shift_px, degree)[0] * np.exp(-2j * np.pi * f * (shift_px + lag))
            )

        parts = [quad(lambda f: wave(f).real, m / 2, (m + 1) / 2, epsabs=1e-14, epsrel=1e-10)[0] for m in range(8)]
        return sum(parts) * (1 - abs(lag) / window_px)

    below, middle, above = (np.log(value(lag)) for lag in (-1, 0, 1))
    return (below - above) / (2 * (below - 2 * middle + above))


if __name__ == "__main__":
    for name, degree in DEGREES.items():
        values = [rms_over_deviation(d, 0.5, degree) for d in (2.5, 3.0, 4.0)]
        print(f"{name:9}", " ".join(f"{value:.5f}" for value in values))
    print("bias at a quarter of a pixel, window of 32 px")
    for name, degree in DEGREES.items():
        print(f"{name:9}", " ".join(f"{bias(d, 0.25, degree, 32):.5f}" for d in (2.5, 3.0, 4.0)))
