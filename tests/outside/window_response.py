"""Which part of a displacement wave's amplitude one pass of a weighted window measures, computed independently of the program.

Both frames are weighted by w, so a particle counts by w^2 in the correlation peak, and small displacements are averaged with that
weight: of a wave of length L centred anywhere, the part sum w^2 cos(2 pi x/L) / sum w^2 over the window's pixels remains.
With t = 2 x/D from the middle to the border (x at the pixels' centres):

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


def response(name, wavelength_px, window_px=32):
    x = np.arange(window_px) - 0.5 * (window_px - 1)
    square = WEIGHTS[name](2 * x / window_px) ** 2
    return np.sum(square * np.cos(2 * np.pi * x / wavelength_px)) / np.sum(square)


if __name__ == "__main__":
    for name in WEIGHTS:
        print(name, " ".join(f"{response(name, wavelength):.5f}" for wavelength in (48, 36)))
