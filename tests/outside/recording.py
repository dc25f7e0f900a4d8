"""Recorded pairs from a plain generator of numpy and scipy that shares nothing with the program:
every particle's light, integrated over the pixels in closed form, is added up; photons, read noise
and rounding follow. Invented scenes."""

import numpy as np
from scipy.special import erf


def velocity(scene, x, y):
    """Displacement between the pulses at (x, y), px."""
    u, v = scene["mean"]
    n = scene["size"]
    dx, dy = np.full_like(x, u), np.full_like(y, v)
    kind = scene["flow"]
    if kind == "shear":
        dx = dx + scene["gradient"] * (y - n / 2)
    elif kind == "rotation":
        dx = dx - scene["gradient"] * (y - n / 2)
        dy = dy + scene["gradient"] * (x - n / 2)
    elif kind == "waves":
        k = 2 * np.pi / scene["wavelength"]
        a = scene["gradient"] / k
        dx = dx + a * np.sin(k * x + 1.0) * np.cos(k * y)
        dy = dy - a * np.cos(k * x + 1.0) * np.sin(k * y)
    return dx, dy


def along(scene, x, y, time, steps=8):
    """Where particles that are at (x, y) midway are at `time`, in pulse separations (Runge and
    Kutta, fourth order)."""
    h = time / steps
    for _ in range(steps):
        k1 = velocity(scene, x, y)
        k2 = velocity(scene, x + h / 2 * k1[0], y + h / 2 * k1[1])
        k3 = velocity(scene, x + h / 2 * k2[0], y + h / 2 * k2[1])
        k4 = velocity(scene, x + h * k3[0], y + h * k3[1])
        x = x + h / 6 * (k1[0] + 2 * k2[0] + 2 * k3[0] + k4[0])
        y = y + h / 6 * (k1[1] + 2 * k2[1] + 2 * k3[1] + k4[1])
    return x, y


def add(frame, x, y, light, sigma):
    """Gaussian images integrated over square pixels."""
    n = frame.shape[0]
    reach = int(np.ceil(4 * sigma)) + 1
    offsets = np.arange(-reach, reach + 1)
    ix, iy = np.rint(x).astype(int), np.rint(y).astype(int)

    def share(centre, whole):
        edges = (whole[:, None] + np.append(offsets, reach + 1) - 0.5 - centre[:, None]) / (sigma * np.sqrt(2))
        return 0.5 * np.diff(erf(edges), axis=1)

    sx, sy = share(x, ix), share(y, iy)
    image = light[:, None, None] * sy[:, :, None] * sx[:, None, :]
    columns = np.broadcast_to((ix[:, None] + offsets)[:, None, :], image.shape)
    rows = np.broadcast_to((iy[:, None] + offsets)[:, :, None], image.shape)
    inside = (columns >= 0) & (columns < n) & (rows >= 0) & (rows < n)
    frame += np.bincount(rows[inside] * n + columns[inside], image[inside], n * n).reshape(n, n)


def pair(scene, rng):
    """Frames A and B in grey levels."""
    n, margin = scene["size"], 24
    # Midway in time, from -1.3 to 1.3 thicknesses of the sheet: beyond, e^-13 of the light is left.
    count = rng.poisson(scene["density"] * 2.6 * (n + 2 * margin) ** 2)
    x, y = rng.uniform(-margin, n + margin, (2, count))
    u = rng.uniform(-1.3, 1.3, count)
    v = np.log(1 + scene["spread"] ** 2)
    size = np.exp(rng.normal(-v / 2, np.sqrt(v), count)) if scene["spread"] > 0 else np.ones(count)
    z = np.sqrt(-np.log(1 - scene["loss"])) / 2
    sigma = scene["diameter"] / 4
    frames = []
    for k, time in enumerate((-0.5, 0.5)):
        light = scene["electrons"] * size**2 * np.exp(-8 * (u + time * z) ** 2) * scene["ratio"] ** k
        seen = light > 1e-3
        frame = np.zeros((n, n))
        # The pulse about its middle, in moments half a pixel apart at most.
        fraction = scene["fraction"]
        speed = np.hypot(*velocity(scene, x, y)).max()
        moments = max(1, int(np.ceil(4 * fraction * speed))) if fraction > 0 else 1
        for m in range(moments):
            t = time + fraction * ((m + 0.5) / moments - 0.5)
            px, py = along(scene, x[seen], y[seen], t)
            add(frame, px, py, light[seen] / moments, sigma)
        electrons = rng.poisson(frame + scene["background"]) + rng.normal(0, scene["read"], frame.shape)
        grey = np.floor(scene["gain"] * electrons + scene["black"] + 0.5)
        frames.append(np.clip(grey, 0, 2 ** scene["bits"] - 1).astype(np.uint16))
    return frames


def random_scene(seed, size=256):
    """A scene by its seed, of the kinds that laboratories record."""
    rng = np.random.default_rng(seed)
    bits = int(rng.choice([8, 12, 12, 16]))
    electrons = float(np.exp(rng.uniform(np.log(300), np.log(10_000))))
    diameter = float(rng.uniform(1.6, 4.0))
    # The brightest images reach a tenth to nine tenths of the range.
    peak = electrons * erf(0.5 / (diameter / 4 * np.sqrt(2))) ** 2
    gain = float(rng.uniform(0.1, 0.9) * (2**bits - 1) / peak) if bits != 16 else float(rng.uniform(0.5, 3))
    flow = str(rng.choice(["uniform", "shear", "rotation", "waves"]))
    return {
        "size": size,
        "bits": bits,
        "diameter": diameter,
        "density": float(np.exp(rng.uniform(np.log(0.01), np.log(0.06)))),
        "electrons": electrons,
        "spread": float(rng.choice([0.0, rng.uniform(0.05, 0.25)])),
        "background": float(rng.uniform(0, 40)),
        "read": float(rng.uniform(3, 15)),
        "gain": gain,
        "black": float(np.ceil(gain * 60 + 2)),
        "loss": float(rng.uniform(0, 0.4)),
        "ratio": float(rng.uniform(0.8, 1.25)),
        "fraction": float(rng.choice([0.0, rng.uniform(0.05, 0.5)])),
        "flow": flow,
        "mean": [float(v) for v in rng.uniform(-5, 5, 2)],
        "gradient": float(rng.uniform(0.005, 0.04)),
        "wavelength": float(rng.uniform(64, 200)),
    }


def truths(scene):
    """What an estimate of the scene's pairs is held against, by the names of twin.json."""
    n = scene["size"]
    y, x = np.mgrid[0:n, 0:n].astype(float)
    dx, dy = velocity(scene, x, y)
    displacement = float(np.sqrt(np.mean(dx**2 + dy**2)))
    noise_e2 = scene["read"] ** 2 + scene["background"] + 1 / (12 * scene["gain"] ** 2)
    noise = scene["gain"] * np.sqrt(noise_e2)
    sigma = scene["diameter"] / 4
    streak = scene["fraction"] * displacement
    share = erf(0.5 / (sigma * np.sqrt(2)))
    at = streak / 2 * np.linspace(-1, 1, 201)
    line = np.mean(erf((0.5 - at) / (sigma * np.sqrt(2))) - erf((-0.5 - at) / (sigma * np.sqrt(2)))) / 2
    v = np.log(1 + scene["spread"] ** 2)
    size = np.exp(np.sqrt(v) * np.random.default_rng(0).standard_normal(20_000) - v / 2)
    peaks = scene["gain"] * scene["electrons"] * size**2 * share * line
    counted = scene["density"] * np.mean(2 * np.sqrt(np.log(np.maximum(peaks / (3 * noise), 1)) / 8))
    return {
        "particle_diameter": scene["diameter"],
        "density_counted": float(counted),
        "noise": float(noise),
        "streak": streak,
        "loss": scene["loss"],
        "energy_ratio": scene["ratio"],
        "floor": scene["black"] + scene["gain"] * scene["background"],
        "gain": scene["gain"],
    }
