"""Errors of one plain pass by Monte Carlo, with a generator and a correlator that know nothing of
the program: what theory gives only as an order of magnitude.

Particles are uniformly random, their number in the field is a Poisson number. Each image is a
Gaussian of e^-2 diameter d (standard deviation d/4), drawn out over its streak and integrated by
square pixels: differences of the error function, of its integral along the streak. A particle moves
by half the displacement before and half after the middle. Of the images of the first frame a share
has left the sheet in the second, where as many others have come. The camera adds Poisson and normal
noise, clips at its full well, and rounds. Two windows of D pixels without their means are
correlated circularly by FFT; the highest lag within D/2 and the Gaussian through three points along
each axis give the displacement. A vector counts as valid within 1 px of the truth.

numpy and scipy alone. Each figure comes with its standard error.
"""

import argparse
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import erf


@dataclass(frozen=True)
class Conditions:
    """What is measured. Lengths in px, light in electrons."""

    displacement: tuple = (2.3, 1.6)
    diameter: float = 2.2
    window: int = 32
    density: float = 0.03
    electrons: float = 1000.0
    streak: tuple = (0.0, 0.0)
    gradient: float = 0.0  # change of the displacement along x with y, px per px
    lost: float = 0.0  # share of the images without a partner
    gaussian_sheet: bool = False  # of e^-2 thickness, inside which the density counts; else a top hat
    background: float = 0.0
    dark_noise: float | None = None  # no camera without
    full_well: float = np.inf
    gain: float | None = None  # grey levels per electron; without, nothing is rounded
    black: float = 0.0
    largest: float = np.inf  # grey level


def integral_of_erf(t):
    return t * erf(t) + np.exp(-t * t) / np.sqrt(np.pi)


def profile(size, at, diameter, streak):
    """Share of the light of each particle (columns) in each pixel (rows) along one axis."""
    scale = np.sqrt(2.0) * diameter / 4.0
    edges = (np.arange(size + 1)[:, None] - 0.5 - at) / scale
    if streak == 0.0:
        return 0.5 * np.diff(erf(edges), axis=0)
    half = 0.5 * streak / scale
    return 0.5 * np.diff(integral_of_erf(edges + half) - integral_of_erf(edges - half), axis=0) / (2.0 * half)


def picture(size, x, y, light, c):
    """Streaks are along one of the axes."""
    gx, gy = profile(size, x, c.diameter, c.streak[0]), profile(size, y, c.diameter, c.streak[1])
    return (gy * light) @ gx.T


def peak_share(diameter, streak):
    """Share of the light in the pixel in the middle of a streak along x."""
    return (profile(1, np.zeros(1), diameter, streak) * profile(1, np.zeros(1), diameter, 0.0)).item()


def camera(light, c, random):
    if c.dark_noise is None:
        return light
    electrons = np.minimum(random.poisson(np.maximum(light, 0.0)), c.full_well) + c.dark_noise * random.standard_normal(light.shape)
    if c.gain is None:
        return electrons
    return np.clip(np.round(c.gain * electrons + c.black), 0.0, c.largest)


def pair(c, random):
    size = c.window
    reach = 2.0 * c.diameter + 0.5 * max(map(abs, c.streak)) + 0.5 * max(map(abs, c.displacement)) + 0.5 * abs(c.gradient) * size
    side = size + 2.0 * reach
    # A Gaussian sheet lights particles out to 1.5 times its thickness, where 1e-8 of the light is
    # left.
    depth = 3.0 if c.gaussian_sheet else 1.0

    def particles(density):
        x, y = random.uniform(-0.5 - reach, size - 0.5 + reach, (2, random.poisson(density * depth * side * side)))
        z = random.uniform(-0.5 * depth, 0.5 * depth, x.size)
        return x, y, c.electrons * (np.exp(-8.0 * z * z) if c.gaussian_sheet else np.ones(x.size))

    x, y, light = particles(c.density)
    move = [c.displacement[0] + c.gradient * (y - 0.5 * (size - 1)), c.displacement[1]]
    stay = random.uniform(size=x.size) >= c.lost
    new = particles(c.density * c.lost)
    frames = []
    for sign in (-0.5, 0.5):
        of_frame = [x + sign * move[0], y + sign * move[1], light]
        if sign > 0:
            of_frame = [np.append(old[stay], other) for old, other in zip(of_frame, new)]
        frames.append(camera(picture(size, *of_frame, c) + c.background, c, random))
    return frames


def fraction(below, middle, above):
    """Of the three-point Gaussian; values that are not positive are raised to a hundredth of the
    peak.
    """
    below, above = (np.maximum(v, 0.01 * middle) for v in (below, above))
    with np.errstate(divide="ignore", invalid="ignore"):  # windows without light
        below, middle, above = np.log(below), np.log(middle), np.log(above)
        return (below - above) / (2.0 * (below - 2.0 * middle + above))


def interrogate(a, b):
    """Displacements (n, 2) of stacks of windows (n, D, D)."""
    n, size, _ = a.shape
    spectra = [np.fft.rfft2(w - w.mean(axis=(1, 2), keepdims=True)) for w in (a, b)]
    plane = np.fft.irfft2(np.conj(spectra[0]) * spectra[1], s=(size, size))
    plane = np.roll(plane, (size // 2, size // 2), axis=(1, 2))
    inner = plane[:, 1:-1, 1:-1].reshape(n, -1)
    row, column = np.divmod(inner.argmax(axis=1), size - 2)
    row, column, all_of = row + 1, column + 1, np.arange(n)
    value = lambda j, i: plane[all_of, row + j, column + i]  # noqa: E731
    dx = column - size // 2 + fraction(value(0, -1), value(0, 0), value(0, 1))
    dy = row - size // 2 + fraction(value(-1, 0), value(0, 0), value(1, 0))
    return np.stack([dx, dy], axis=1)


def errors(c, windows, seed=1):
    """Errors along x and y of so many windows, and which are valid."""
    random = np.random.default_rng(seed)
    found = []
    for start in range(0, windows, 500):
        pairs = [pair(c, random) for _ in range(min(500, windows - start))]
        found.append(interrogate(*(np.array([p[k] for p in pairs]) for k in (0, 1))))
    wrong = np.concatenate(found) - np.array(c.displacement)
    return wrong, np.hypot(*wrong.T) <= 1.0


def figures(c, windows=20000, seed=1):
    """Bias and random error of the valid vectors, share of valid ones: (value, standard error)."""
    wrong, valid = errors(c, windows, seed)
    good = wrong[valid]
    n, deviation = len(good), good.std(axis=0, ddof=1)
    share = valid.mean()
    # Of a standard deviation, with the kurtosis that the sample has.
    fourth = ((good - good.mean(axis=0)) ** 4).mean(axis=0) / deviation**4
    of_deviation = deviation * np.sqrt((fourth - 1.0) / (4.0 * n))
    return {
        "bias": list(zip(good.mean(axis=0), deviation / np.sqrt(n))),
        "random": list(zip(deviation, of_deviation)),
        "total": (np.sqrt((good**2).sum(axis=1).mean()), (good**2).sum(axis=1).std() / np.sqrt((good**2).sum(axis=1).mean() * 4.0 * n)),
        "valid": (share, np.sqrt(max(share * (1.0 - share), 1.0 / windows) / windows)),
    }


# The conditions of the reference cases: name -> (label, conditions) at each place.
CASES = {
    "window-size": [(f"{w} px", Conditions(window=w)) for w in (16, 24, 32, 64)],
    "window-offset": [(f"{u} px", Conditions(displacement=(u, 0.0), diameter=2.5)) for u in (0.05, 0.1, 0.2, 0.3, 0.4)],
    "seeding": [(f"{n} ppp", Conditions(density=n)) for n in (0.005, 0.01, 0.02, 0.04, 0.08)],
    "diameter": [(f"{d} px", Conditions(diameter=d)) for d in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0)],
    "noise-error": [
        (f"{s} e", Conditions(diameter=2.5, electrons=2000.0, dark_noise=s, full_well=30000.0, gain=1.0, black=2000.0, largest=65535.0))
        for s in (0.0, 15.0, 60.0, 120.0, 240.0)
    ],
    "valid-detection": [
        (f"{n} ppp", Conditions(displacement=(4.0, 4.0), diameter=2.5, density=n, lost=0.25)) for n in (0.003, 0.006, 0.0119, 0.017)
    ],
    "quarter-rule": [
        (f"{u} px", Conditions(displacement=(u, 0.0), diameter=2.5, density=0.0117)) for u in (0.0, 4.0, 8.0, 11.0, 14.0)
    ],
    "gradient-error": [
        (f"{g}", Conditions(displacement=(0.0, 0.0), diameter=2.5, gradient=g, density=0.05)) for g in (0.01, 0.03, 0.06, 0.1)
    ],
    "gradient-valid": [
        (f"{g}", Conditions(displacement=(0.0, 0.0), diameter=2.5, gradient=g, density=0.012)) for g in (0.02, 0.06, 0.1, 0.16)
    ],
    "noise-valid": [
        (f"{s} e", Conditions(displacement=(0.0, 0.0), diameter=2.5, density=0.012, electrons=2000.0, dark_noise=s, gain=1.0,
                              black=3000.0, largest=65535.0))
        for s in (50.0, 100.0, 150.0, 200.0)
    ],
    "streak-error": [
        (f"{s} px", Conditions(displacement=(2.3, 1.6), diameter=2.5, density=0.03, streak=(s, 0.0))) for s in (0.0, 1.0, 2.0, 3.0, 5.0)
    ],
    "streak-error, equal brightness": [
        (f"{s} px", Conditions(displacement=(2.3, 1.6), diameter=2.5, density=0.03, streak=(s, 0.0), electrons=2000.0 * b,
                               dark_noise=10.0, gain=1.0, black=3000.0, largest=65535.0))
        for s, b in ((0.0, 1.0), (1.0, 1.0), (5.0, 1.0))
    ],
    "offset-noise": [
        (f"{u} px at {s} e", Conditions(displacement=(u, 0.0), diameter=2.5, density=0.03, electrons=2000.0, dark_noise=s, gain=1.0,
                                        black=3000.0, largest=65535.0))
        for s in (20.0, 80.0, 160.0) for u in (6.1, 0.1)
    ],
    # 2.5 W of 450 nm for so long: electrons in proportion, streak 9.164 px/2400 us; the whole 9 px
    # are taken off by the window's offset.
    "equal-power": [
        (f"{p} us", Conditions(displacement=(9.1636 - 9.0, 0.0), diameter=2.11372, density=0.027225,
                               electrons=1.61127 * p, streak=(9.1636 * p / 2400.0, 0.0), background=12.0, dark_noise=4.0,
                               full_well=10000.0, gain=0.40863, black=9.0, largest=4095.0))
        for p in (200.0, 400.0, 600.0, 900.0, 1800.0)
    ],
    # The same light in the pixel in the middle of the streak; 8 px are taken off by the window's
    # offset.
    "streak-offset": [
        (f"{s} px", Conditions(displacement=(0.2, 0.0), diameter=2.5, density=0.03, streak=(s, 0.0), dark_noise=10.0, gain=1.0,
                               electrons=400.0 / peak_share(2.5, s), black=100.0, largest=65535.0))
        for s in (0.0, 1.0, 3.0, 5.0)
    ],
    "quantisation": [
        (f"{b} bits", Conditions(electrons=200000.0, dark_noise=0.0, full_well=150000.0, gain=(2**b - 1) / 150000.0, largest=2.0**b - 1))
        for b in (1, 2, 3, 4, 6, 8)
    ],
    "single pass": [("3.3 px", Conditions(displacement=(3.3, 0.0), electrons=20000.0, gaussian_sheet=True))],
    # Rigs of 2.5 W and 0.25 W, 8 px in 2 ms: what errs at each pulse length.
    **{
        f"pulse, {watts} W": [
            (f"{p} us", Conditions(displacement=(8.0, 0.0), diameter=2.11372, density=0.027225, electrons=0.644508 * watts * p,
                                   streak=(p / 250.0, 0.0), background=12.0, dark_noise=4.0, full_well=10000.0, gain=0.40863, black=9.0,
                                   largest=4095.0))
            for p in (50.0, 100.0, 200.0, 300.0, 400.0, 600.0, 900.0, 1300.0, 1800.0)
        ]
        for watts in (2.5, 0.25)
    },
    "offset-gain": [("6.1 px", Conditions(displacement=(6.1, 0.0), diameter=2.5))],
    "error-at-rest": [
        (f"{w} px", Conditions(displacement=(0.0, 0.0), diameter=2.5, window=w, dark_noise=40.0, gain=1.0, black=400.0, largest=65535.0))
        for w in (16, 32, 64)
    ],
    "saturation": [
        (f"{w} e", Conditions(displacement=(2.25, 0.0), diameter=2.5, density=0.03, electrons=2000.0, dark_noise=5.0, full_well=w, gain=1.0,
                              black=100.0, largest=65535.0))
        for w in (2000.0, 300.0, 100.0, 30.0)
    ],
}


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("case", nargs="*", choices=[[], *CASES], help="all if none is named")
    arguments.add_argument("--windows", type=int, default=20000)
    asked = arguments.parse_args()
    for name in asked.case or CASES:
        for label, c in CASES[name]:
            found = figures(c, asked.windows)
            bias, random = ("  ".join(f"{v:8.5f} +- {s:.5f}" for v, s in found[key]) for key in ("bias", "random"))
            valid = f"{found['valid'][0]:.5f} +- {found['valid'][1]:.5f}"
            total = f"{found['total'][0]:.5f} +- {found['total'][1]:.5f}"
            print(f"{name:32} {label:>16}  bias {bias}  random {random}  total {total}  valid {valid}", flush=True)
