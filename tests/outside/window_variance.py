"""What a window leaves of the variance of turbulent fluctuations, computed independently of the
program.

Isotropic turbulence with von Karman's spectrum E ~ k^4 / (1 + (k l)^2)^(17/6), from 0.1/l to the
smallest wavelength; the length l is such that the longitudinal integral scale pi/(2 u^2) int E/k
dk, u^2 = 2/3 int E dk, is the one asked for. The variance of a component over wave vectors is E/(4
pi k^2) (1 - k1^2/k^2). A top-hat window of D pixels in a sheet of T pixels passes the product H of
sin(x)/x, with x = k1 D/2, k2 D/2 and k3 T/2, of a wave's amplitude; of its variance H^2.

A picture of some integral scales holds a sample of this. How far samples scatter is told by fields
of few random waves: one wave number at a random place in each of 40 bins of ln k, with the bin's
energy on three waves at right angles.
"""

import numpy as np
from scipy.optimize import brentq

LOWEST = 0.1


def energy(k, length_px):
    s2 = (k * length_px) ** 2
    return s2**2 * (1 + s2) ** (-17 / 6)


def wave_numbers(length_px, smallest_px, points=4000):
    """Wave numbers evenly in ln k, and their weights by the midpoint rule."""
    ends = np.log([LOWEST / length_px, 2 * np.pi / smallest_px])
    step = (ends[1] - ends[0]) / points
    k = np.exp(ends[0] + (np.arange(points) + 0.5) * step)
    return k, k * step


def length_of(integral_px, smallest_px):
    def found(length_px):
        k, dk = wave_numbers(length_px, smallest_px)
        e = energy(k, length_px) * dk
        return 0.75 * np.pi * np.sum(e / k) / np.sum(e) - integral_px

    return brentq(found, 0.2 * integral_px, 5 * integral_px)


def passed(k, window_px, sheet_px):
    """Part of a wave's amplitude; k of shape (..., 3) in rad/px."""
    sides = np.array([window_px, window_px, sheet_px])
    return np.prod(np.sinc(k * sides / (2 * np.pi)), axis=-1)


def kept(integral_px, smallest_px=20.0, window_px=32.0, sheet_px=10.0):
    """Share of the variance of a component in the plane."""
    length = length_of(integral_px, smallest_px)
    k, dk = wave_numbers(length, smallest_px, 400)
    cosine, part = np.polynomial.legendre.leggauss(80)
    turn = 2 * np.pi * (np.arange(160) + 0.5) / 160
    sine = np.sqrt(1 - cosine**2)[:, None]
    unit = np.stack([sine * np.cos(turn), sine * np.sin(turn), np.broadcast_to(cosine[:, None], (80, 160))], axis=-1)
    across = part[:, None] * (1 - unit[..., 0] ** 2)
    of_waves = np.array([np.sum(across * passed(one * unit, window_px, sheet_px) ** 2) for one in k])
    e = energy(k, length) * dk
    return np.sum(e * of_waves) / (np.sum(e) * np.sum(across * np.ones(160)))


def sampled(integral_px, seed, size_px=512, smallest_px=20.0, window_px=32.0, sheet_px=10.0):
    """Sums of the squares in the windows of one picture of one field of random waves, and of those
    at their centres, both components: the share is the first over the second, of many pictures
    together.
    """
    rng = np.random.default_rng(seed)
    length = length_of(integral_px, smallest_px)
    ends = np.log([LOWEST / length, 2 * np.pi / smallest_px])
    width = (ends[1] - ends[0]) / 40
    waves, amplitudes = [], []
    for number in range(40):
        k = np.exp(ends[0] + (number + rng.random()) * width)
        axes = np.linalg.qr(rng.standard_normal((3, 3)))[0]
        for axis in range(3):
            waves.append(k * axes[axis])
            amplitudes.append(np.sqrt(energy(k, length) * k * width) * axes[(axis + 1) % 3])
    waves, amplitudes = np.array(waves), np.array(amplitudes)
    phases = 2 * np.pi * rng.random(len(waves))
    at = np.arange(window_px / 2, size_px - window_px / 2 + 1, window_px / 2)
    x, y = np.meshgrid(at, at)
    angle = x[..., None] * waves[:, 0] + y[..., None] * waves[:, 1] + phases
    point = np.cos(angle) @ amplitudes[:, :2]
    window = (np.cos(angle) * passed(waves, window_px, sheet_px)) @ amplitudes[:, :2]
    return np.sum(window**2), np.sum(point**2)


def share(samples):
    """Of many pictures together, with its standard error."""
    window, point = np.array(samples).T
    value = window.sum() / point.sum()
    return value, np.std(window - value * point) / point.mean() / np.sqrt(len(samples))


if __name__ == "__main__":
    for integral in (40, 80, 160):
        value, error = share([sampled(integral, seed) for seed in range(200)])
        print(f"integral scale {integral} px: {kept(integral):.4f}; in 200 pictures {value:.4f} +- {error:.4f}, in one +- {error * 200**0.5:.4f}")
