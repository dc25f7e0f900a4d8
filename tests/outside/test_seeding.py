"""Who is where and how bright: a Poisson process of particles in a light sheet, seen through the pictures alone."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import erf

from test_particle_images import stars

SCENE = """
[image]
size = [512, 512]
particle_diameter = "2.4 px"
seeding_density = "{ppp} ppp"
electrons = "10000 e"
[sheet]
profile = "{profile}"
thickness = "20 px"
[flow]
kind = "uniform"
displacement = ["0 px", "0 px"]
[camera]
ideal = true
"""
ELECTRONS = 10000.0


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_places_and_brightness(program, profile):
    """Kolmogorov-Smirnov tests of particles that photutils finds in sparse pictures: even in x, in y and in depth. Depth is told by the
    light: exp(-8 u^2) at u thicknesses from the middle of a Gaussian sheet. On fixed seeds; p above 1e-3."""
    found = []
    pairs = program.render(SCENE.format(ppp=0.0003, profile=profile), pairs=6, seed=21)
    for k in range(pairs.count):
        places, _ = stars(pairs.frames(k)[0], 2.4)
        found.append(places[(places[:, 2] > 0.01 * ELECTRONS) & np.all((places[:, :2] > 3) & (places[:, :2] < 508), axis=1)])
    x, y, light = np.concatenate(found).T
    assert len(x) > 300
    for place in (x, y):
        assert stats.kstest(place, stats.uniform(3, 505).cdf).pvalue > 1e-3
    if profile == "top-hat":
        # But for a pair of particles so close that it is taken for one.
        assert np.median(light) == pytest.approx(ELECTRONS, rel=1e-5) and np.percentile(light, 95) < 1.001 * ELECTRONS
    else:
        depth = np.sqrt(np.clip(-np.log(light / ELECTRONS), 0, None) / 8)
        assert stats.kstest(depth, stats.uniform(0, np.sqrt(np.log(100) / 8)).cdf).pvalue > 1e-3


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_light_in_squares(program, profile):
    """Campbell's theorem (derived): the light in a square of a Poisson process of seeding n, whose particle at x leaves in it the share
    p(x) of its light E b, has the cumulants n E^k <b^k> int p^k: k = 1 the mean, k = 2 the variance. <b^k> is the integral of b^k
    over the depth in thicknesses: sqrt(pi/(8 k)) for the Gaussian sheet, 1 for the top-hat. Squares 8 px apart share no particle.
    Particles on a lattice or of a fixed number would vary less, clusters more."""
    side, step, ppp, sigma = 16, 24, 0.05, 2.4 / 4
    pairs = program.render(SCENE.format(ppp=ppp, profile=profile), pairs=24, seed=5)
    corners = range(8, 512 - side, step)
    frames = (pairs.frames(k)[0] for k in range(pairs.count))
    light = np.array([frame[y : y + side, x : x + side].sum() for frame in frames for y in corners for x in corners])
    place = np.linspace(-side, side, 20001)
    share = (erf((place + side / 2) / (sigma * np.sqrt(2))) - erf((place - side / 2) / (sigma * np.sqrt(2)))) / 2

    def cumulant(k):
        brightness = np.sqrt(np.pi / (8 * k)) if profile == "gaussian" else 1
        return ppp * ELECTRONS**k * brightness * np.trapezoid(share**k, place) ** 2

    # Four standard deviations of a mean and of a variance.
    count, variance = len(light), cumulant(2)
    assert light.mean() == pytest.approx(cumulant(1), abs=4 * np.sqrt(variance / count))
    assert light.var(ddof=1) == pytest.approx(variance, abs=4 * np.sqrt((2 * variance**2 + cumulant(4)) / count))
