"""Places and brightness of the particles: a Poisson process in a light sheet, by the lists of
particles and by the pictures alone.

Statistical tests on fixed seeds fail at p below 1e-3.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.special import erf

SCENE = """
[image]
size = [512, 512]
particle_diameter = "2.4 px"
seeding_density = "{ppp} ppp"
electrons = "10000 e"
[sheet]
profile = "{profile}"
thickness = "20 px"
[tracer]
distribution = "{sizes}"
{spread}
[flow]
kind = "uniform"
displacement = ["3 px", "-2 px"]
[camera]
ideal = true
"""
ELECTRONS = 10000.0
THICKNESS_PX = 20


def text(ppp, profile, sizes="same"):
    return SCENE.format(ppp=ppp, profile=profile, sizes=sizes, spread="" if sizes == "same" else "diameter_sd = 0.3")


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_places(program, profile):
    """Kolmogorov-Smirnov: even in x, in y and in depth; the numbers in squares of 64 px obey
    Poisson's law (chi-squared of their dispersion); and each particle's light is the sheet's at its
    depth."""
    pairs = program.render(text(0.01, profile), 4, 21, "pairs", "--particles")
    both = [pairs.particles(k) for k in range(pairs.count)]
    particles = np.concatenate([a for a, _ in both])
    for name in ("x_px", "y_px"):
        assert stats.kstest(particles[name], stats.uniform(-0.5, 512).cdf).pvalue > 1e-3
    depth = particles["z_px"] / THICKNESS_PX
    # A particle whose light is below 1e-5 of that at the centre may be left out.
    reach = 0.5 if profile == "top-hat" else np.sqrt(np.log(1e5) / 8)
    assert stats.kstest(depth, stats.uniform(-reach, 2 * reach).cdf).pvalue > 1e-3

    counts = np.concatenate([np.histogram2d(a["x_px"], a["y_px"], bins=8, range=[[-0.5, 511.5]] * 2)[0].ravel() for a, _ in both])
    expected = 0.01 * 64**2 * 2 * reach
    assert counts.mean() == pytest.approx(expected, abs=4 * np.sqrt(expected / len(counts)))
    dispersion = ((counts - expected) ** 2).sum() / expected
    assert 1e-3 < stats.chi2(len(counts)).cdf(dispersion) < 1 - 1e-3

    light = np.exp(-8 * depth**2) if profile == "gaussian" else np.ones(len(depth))
    # The list gives depth to 1e-6 px; on the slope of the sheet that is 1e-6 of the light.
    assert particles["electrons_e"] == pytest.approx(ELECTRONS * light, rel=2e-6)


def test_partners(program):
    """Every particle of frame A that stays in the picture is in frame B, by its number, displaced
    as the flow says.
    """
    pairs = program.render(text(0.01, "gaussian"), 1, 21, "pairs", "--particles")
    a, b = ({p["id"]: np.array([p["x_px"], p["y_px"], p["z_px"]]) for p in frame} for frame in pairs.particles(0))
    stay = {k: p for k, p in a.items() if -0.5 < p[0] + 3 < 511.5 and -0.5 < p[1] - 2 < 511.5}
    assert len(stay) > 3000 and len(a) == len(pairs.particles(0)[0])
    # Six digits after the point.
    assert max(np.abs(b[k] - p - [3, -2, 0]).max() for k, p in stay.items()) < 2e-6


@pytest.mark.parametrize("sizes", ["normal", "log-normal"])
def test_sizes(program, sizes):
    """Light goes with the square of the diameter, so its root over the sheet's is the diameter over
    the mean: Kolmogorov-Smirnov against scipy's law of mean 1 and standard deviation 0.3, cut at
    0.1 and 4."""
    pairs = program.render(text(0.01, "gaussian", sizes), 2, 8, "pairs", "--particles")
    particles = np.concatenate([pairs.particles(k)[0] for k in range(2)])
    size = np.sqrt(particles["electrons_e"] / ELECTRONS / np.exp(-8 * (particles["z_px"] / THICKNESS_PX) ** 2))
    if sizes == "normal":
        law = stats.norm(1, 0.3)
    else:
        sd = np.sqrt(np.log(1 + 0.3**2))
        law = stats.lognorm(sd, scale=np.exp(-(sd**2) / 2))
    low, high = law.cdf([0.1, 4])
    assert size.min() > 0.1 - 1e-6
    assert stats.kstest(size, lambda d: np.clip((law.cdf(d) - low) / (high - low), 0, 1)).pvalue > 1e-3


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_light_in_squares(program, profile):
    """Campbell's theorem (derived): the light in a square of a Poisson process of seeding n, whose
    particle at x leaves in it the share p(x) of its light E b, has the cumulants n E^k <b^k> int
    p^k: k = 1 the mean, k = 2 the variance. <b^k> is the integral of b^k over the depth in
    thicknesses: sqrt(pi/(8 k)) for the Gaussian sheet, 1 for the top-hat. Squares 8 px apart share
    no particle. Particles on a lattice or of a fixed number would vary less, clusters more."""
    side, step, ppp, sigma = 16, 24, 0.05, 2.4 / 4
    pairs = program.render(text(ppp, profile), pairs=24, seed=5)
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
