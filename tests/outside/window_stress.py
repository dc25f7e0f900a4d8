"""What a window leaves of a Reynolds shear stress, computed independently of the program.

A wave of shear that runs at 45 degrees, a (cos 45, sin 45) sin(k . x) with k at right angles to it,
has the stress <uv> = a^2/4 over whole wavelengths. A top-hat window of D pixels measures the mean
of the displacement over it. Here windows are laid over the wave at many places and pixels are
averaged, as the windows hold them; no formula of a moving average is used. In closed form each of
the two components keeps the product of sin(x)/x, x = pi D/(sqrt(2) L), along both axes, and the
stress the square of that: test_window_stress.py.
"""

import numpy as np


def averages(wavelength_px, window_px=32, amplitude=1.0, places=4000, seed=1):
    """Means of both components over windows at places evenly over the wavelength, and their values
    in the windows' centres: two arrays (places, 2).
    """
    rng = np.random.default_rng(seed)
    pixels = np.arange(window_px) - (window_px - 1) / 2
    x, y = np.meshgrid(pixels, pixels)
    along = np.array([np.cos(np.pi / 4), np.sin(np.pi / 4)])
    number = 2 * np.pi / wavelength_px * np.array([-along[1], along[0]])
    # Phases evenly over the wavelength, with a random start: whole wavelengths.
    phases = 2 * np.pi * (np.arange(places) + rng.random()) / places
    means = np.array([np.mean(np.sin(number[0] * x + number[1] * y + phase)) for phase in phases])
    return amplitude * means[:, None] * along, amplitude * np.sin(phases)[:, None] * along


def stress(values):
    return np.mean(values[:, 0] * values[:, 1])


def kept(wavelength_px, window_px=32):
    """Share of the stress that is left."""
    window, point = averages(wavelength_px, window_px)
    return stress(window) / stress(point)


if __name__ == "__main__":
    for wavelength in (64, 96, 160):
        print(f"wavelength {wavelength} px: {kept(wavelength):.4f}")
