"""Where a camera that clips at its full well shows the largest temporal variance, computed
independently of the program.

The reading of a pixel is K min(n, F) + noise with n a Poisson number of mean mu; its variance is
largest where that of min(n, F) is. EMVA 1288 takes the saturation there.
"""

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.stats import poisson


def variance(mean_e, full_well_e):
    """Variance of min(n, F), e^2."""
    n = np.arange(int(full_well_e))
    below = poisson.pmf(n, mean_e)
    at_full = poisson.sf(full_well_e - 1, mean_e)
    first = (n * below).sum() + full_well_e * at_full
    return ((n - first) ** 2 * below).sum() + (full_well_e - first) ** 2 * at_full


def saturation_e(full_well_e):
    """Mean number of electrons at which the variance is largest, before clipping, and what is then
    read on average.
    """
    found = minimize_scalar(
        lambda mean: -variance(mean, full_well_e),
        bounds=(0.9 * full_well_e, full_well_e),
        method="bounded",
        options={"xatol": 1e-3},
    )
    return found.x


def of_series(full_well_e, exposures=56, largest=1.1):
    """The same among evenly spaced exposures from dark to `largest` times the full well: mean
    number read there, e.
    """
    means = largest * full_well_e * np.arange(exposures) / (exposures - 1)
    best = max(means[means > 0.9 * full_well_e], key=lambda mean: variance(mean, full_well_e))
    n = np.arange(int(full_well_e))
    return (n * poisson.pmf(n, best)).sum() + full_well_e * poisson.sf(full_well_e - 1, best)


if __name__ == "__main__":
    for full in (10_500, 30_000):
        mean, series = saturation_e(full), of_series(full)
        print(f"full well {full} e: {mean:.1f} e, {mean / full:.4f} of it; of 56 exposures {series:.1f} e, {series / full:.4f}")
