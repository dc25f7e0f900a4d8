"""The Cramér-Rao bound against photutils, which fits isolated particles as well as they can be
fitted.
"""

import numpy as np
from astropy.table import Table
from photutils.psf import CircularGaussianPRF, PSFPhotometry
from scipy.spatial import cKDTree

DIAMETER_PX, ELECTRONS, BACKGROUND_E, DARK_NOISE_E, BLACK_DN, SIDE_PX, WINDOW_PX = 2.5, 2000, 20, 5, 40, 512, 64

# A top-hat sheet lights every particle alike; about 225 of them. One grey level an electron.
SCENE = f"""
[image]
size = [{SIDE_PX}, {SIDE_PX}]
particle_diameter = "{DIAMETER_PX} px"
seeding_density = "0.00086 ppp"
electrons = "{ELECTRONS} e"
background = "{BACKGROUND_E} e"
[sheet]
profile = "top-hat"
[camera]
bits = 16
gain = "1 DN/e"
full_well = "60000 e"
dark_noise = "{DARK_NOISE_E} e"
black_level = "{BLACK_DN} DN"
[flow]
kind = "uniform"
displacement = ["3.3 px", "-1.6 px"]
[processing]
passes = [{{ window = {WINDOW_PX}, overlap = 0 }}]
weighting = "top-hat"
"""


def places(image, particles):
    """x and y of each particle by photutils' maximum-likelihood fit of a pixel-integrated Gaussian
    of known width: with the variance of every pixel as the fit without weights expects it, each fit
    starting from the list's place, rounded to a tenth of a pixel."""
    model = CircularGaussianPRF(fwhm=DIAMETER_PX / 4 * 2 * np.sqrt(2 * np.log(2)))
    fit = PSFPhotometry(model, (9, 9), aperture_radius=3)
    signal = image - BLACK_DN - BACKGROUND_E
    start = Table({"x": particles["x_px"].round(1), "y": particles["y_px"].round(1)})
    fit(signal, init_params=start)
    expected = fit.make_model_image(image.shape, psf_shape=(15, 15))
    variance = expected.clip(0) + BACKGROUND_E + DARK_NOISE_E**2 + 1 / 12
    last = fit(signal, error=np.sqrt(variance), init_params=start)
    return np.column_stack([last["x_fit"], last["y_fit"]])


def test_a_fit_of_isolated_particles_reaches_the_bound(program):
    """Requirement: the fitted displacements scatter by 0.8 to 1.25 of the bound. Information adds
    up over particles, so a particle's bound is that of all windows together times the square root
    of their number. Some 170 particles know the ratio to 6 % along either axis; those with a
    neighbour within 8 px, or within 8 px of the border, are left out of the scatter."""
    pairs = program.render(SCENE, 1, 3, "pairs", "--particles", "--bound")
    windows = np.load(pairs.directory / "bound-00000.npy")
    a, b = pairs.particles(0)
    # The lists hold what shows in a frame, in the same order; a particle that shows in both has one
    # number.
    a, b = a[np.isin(a["id"], b["id"])], b[np.isin(b["id"], a["id"])]
    assert np.array_equal(a["id"], b["id"])
    displacement = places(pairs.frames(0)[1], b) - places(pairs.frames(0)[0], a)

    middle = np.column_stack([a["x_px"] + b["x_px"], a["y_px"] + b["y_px"]]) / 2
    information = (windows.reshape(2, -1) ** -2.0).sum(axis=1)
    inside = np.all((middle > -0.5) & (middle < SIDE_PX - 0.5), axis=1)
    bound = np.sqrt(inside.sum() / information)

    near = np.array([len(n) for n in cKDTree(middle).query_ball_point(middle, 8)])
    alone = (near == 1) & np.all((middle > 8) & (middle < SIDE_PX - 9), axis=1)
    error = displacement[alone] - [3.3, -1.6]
    assert len(error) > 150
    ratio = error.std(axis=0, ddof=1) / bound
    print(f"{len(error)} particles: bound {bound} px, scatter over bound {ratio}")
    assert np.all((ratio > 0.8) & (ratio < 1.25))
    # No bias that the scatter hides: four standard errors.
    assert np.all(np.abs(error.mean(axis=0)) < 4 * bound / np.sqrt(len(error)))
