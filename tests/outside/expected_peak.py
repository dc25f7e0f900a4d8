"""Three-point Gaussian fit on the expected correlation peak of one plain pass, computed
independently of the program.

Particles are uniformly random, so the expected correlation of two windows of D pixels that hold all
light at lag s is the windows' common part, 1 - |s|/D along each axis, times the correlation of two
particle images a displacement apart. Each image is a Gaussian of e^-2 diameter d (standard
deviation d/4), drawn out over its streak and integrated by the pixels, so along an axis its
correlation is a Gaussian of variance 2 (d/4)^2 convolved with the triangle of the pixels (half
width 1) and, along the streak, with that of the streaks (half width L). The mean of the windows
removes only a constant.

The fit takes the logarithm of the largest value and of its two neighbours (the parabola through
three logarithms).
"""

import numpy as np
from scipy.integrate import quad


def image_correlation(lag, diameter_px, streak_px):
    """Correlation of two particle images `lag` px apart along one axis, up to a factor."""
    sigma = np.sqrt(2.0) * diameter_px / 4.0

    def gaussian(at):
        return np.exp(-0.5 * (at / sigma) ** 2)

    def over_pixels(at):
        value, _ = quad(lambda t: (1.0 - abs(t)) * gaussian(at - t), -1.0, 1.0, points=[0.0], epsabs=1e-13, epsrel=1e-12)
        return value

    if streak_px == 0.0:
        return over_pixels(lag)
    value, _ = quad(
        lambda t: (1.0 - abs(t) / streak_px) * over_pixels(lag - t),
        -streak_px,
        streak_px,
        points=[0.0],
        epsabs=1e-11,
        epsrel=1e-10,
    )
    return value / streak_px


def fitted_displacement(displacement_px, diameter_px, window_px, streak_px=0.0):
    """Where the three-point Gaussian fit finds the expected peak, px."""

    def value(lag):
        return (1.0 - abs(lag) / window_px) * image_correlation(lag - displacement_px, diameter_px, streak_px)

    near = round(displacement_px)
    values = {lag: value(lag) for lag in range(near - 2, near + 3)}
    peak = max(values, key=values.get)
    below, middle, above = (np.log(values[lag] if lag in values else value(lag)) for lag in (peak - 1, peak, peak + 1))
    return peak + (below - above) / (2.0 * (below - 2.0 * middle + above))


def bias(displacement_px, diameter_px, window_px, streak_px=0.0):
    """Fitted less true displacement, px."""
    return fitted_displacement(displacement_px, diameter_px, window_px, streak_px) - displacement_px


if __name__ == "__main__":
    print("streak-bias: d = 2.5 px, D = 32 px, displacement 4.25 px")
    for streak in (0.0, 1.0, 2.0, 3.0):
        print(f"  L = {streak} px: {bias(4.25, 2.5, 32, streak):.5f} px")
    for diameter in (2.0, 2.5, 4.0):
        print(f"window-bias: d = {diameter} px, D = 32 px")
        for displacement in (1.0, 1.75, 2.5, 3.25, 4.0, 4.75, 5.5, 7.0, 10.0):
            print(f"  {displacement} px: {bias(displacement, diameter, 32):.5f} px")
