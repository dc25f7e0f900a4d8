"""The camera by the photon transfer method of EMVA 1288 (release 4.0 Linear): mean and variance of
flat fields.
"""

import numpy as np
import pytest
from scipy import stats

# No particle in a million pictures: the background lights all pixels alike.
FLAT = """
[image]
size = [512, 512]
particle_diameter = "2 px"
seeding_density = "1e-12 ppp"
electrons = "0 e"
background = "{background} e"
[flow]
kind = "uniform"
displacement = ["0 px", "0 px"]
[camera]
bits = 12
gain = "{gain} DN/e"
full_well = "12000 e"
dark_noise = "{dark} e"
black_level = "{black} DN"
"""
LEVELS = [0, 3, 20, 60, 200, 700, 2000, 4000, 6000, 8000]


def flat_fields(program, gain, dark, black):
    """Mean and temporal variance of the grey level at each light, from two pictures each: the
    variance is half that of the difference, as the standard has it."""
    means, variances = [], []
    for level in LEVELS:
        text = FLAT.format(background=level, gain=gain, dark=dark, black=black)
        a, b = program.render(text, seed=level + 1, out=f"flat-{level}").frames(0)
        means.append((a.mean() + b.mean()) / 2)
        variances.append(np.mean((a - b) ** 2) / 2 - (a.mean() - b.mean()) ** 2 / 2)
    return np.array(means), np.array(variances)


@pytest.mark.parametrize("gain, dark, black", [(0.33, 5, 10), (0.05, 40, 12), (0.4, 2.5, 8)])
def test_photon_transfer(program, gain, dark, black):
    """Slope of variance over mean: the gain K within 1 %. Each variance is known to sqrt(2/n) =
    0.28 % (n = 262,144 pixels), so the slope over nine lights to about 0.15 %. At no light: black
    level, and K^2 sigma_d^2 + 1/12 within four standard deviations. The least is 1 DN^2, where the
    rounding to grey levels is still uniform noise."""
    means, variances = flat_fields(program, gain, dark, black)
    pixels = 512 * 512
    slope = np.sum((means - means[0]) * (variances - variances[0])) / np.sum((means - means[0]) ** 2)
    assert slope == pytest.approx(gain, rel=0.01)
    dark_variance = gain**2 * dark**2 + 1 / 12
    assert variances[0] == pytest.approx(dark_variance, rel=4 * np.sqrt(2 / pixels))
    expected = gain * np.array(LEVELS) + black
    assert np.all(np.abs(means - expected) < 4 * np.sqrt((gain**2 * np.array(LEVELS) + dark_variance) / (2 * pixels)))


def test_shot_noise_is_poisson(program):
    """Without dark noise, at one grey level an electron, the pictures are counts. Chi-squared over
    their histogram, at the light where the generator draws exactly and where it approximates (above
    64 e): p above 1e-3, on fixed seeds."""
    for mean in (0.7, 12.0, 63.0, 65.5, 300.0):
        text = FLAT.format(background=mean, gain=1, dark=0, black=0)
        a, b = program.render(text, seed=7, out=f"counts-{mean}").frames(0)
        counts = np.bincount(np.concatenate([a, b]).astype(int).ravel())
        low, high = (int(end) for end in stats.poisson.ppf([1e-4, 1 - 1e-4], mean))
        observed = np.concatenate([[counts[: low + 1].sum()], counts[low + 1 : high], [counts[high:].sum()]])
        steps = stats.poisson.cdf(np.arange(low, high), mean)
        expected = np.diff(np.concatenate([[0], steps, [1]])) * counts.sum()
        assert stats.chisquare(observed, expected).pvalue > 1e-3, f"mean {mean} e"
