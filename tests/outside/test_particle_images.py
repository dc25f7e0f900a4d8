"""Particle images against photutils and GalSim, which draw and fit stars.

The program's own promise: no pixel is off by more than 1e-6 of a particle's light. Images are 32-bit floats, which adds 6e-8.
"""

import astropy.table
import galsim
import numpy as np
import pytest
from photutils.detection import DAOStarFinder
from photutils.psf import CircularGaussianPRF, PSFPhotometry, SourceGrouper
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

ELECTRONS = 10000.0

# A top-hat sheet lights every particle alike; no camera, so the pictures are expected photo-electrons.
SCENE = """
[image]
size = [256, 192]
particle_diameter = "{diameter} px"
seeding_density = "0.0005 ppp"
electrons = "10000 e"
{streak}
[sheet]
profile = "top-hat"
[flow]
{flow}
[camera]
ideal = true
"""
UNIFORM = 'kind = "uniform"\ndisplacement = ["{dx} px", "{dy} px"]'
STREAK = 'streak = ["{x} px", "{y} px"]'


# GalSim's own errors, in its words, brought well below the program's promise.
EXACT = galsim.GSParams(
    folding_threshold=1e-8, maxk_threshold=1e-8, kvalue_accuracy=1e-9, xvalue_accuracy=1e-9, shoot_accuracy=1e-9, maximum_fft_size=16384
)
# What particles beyond the border draw inside it ends within this, px.
BORDER = 12


def stars(image, diameter):
    """x, y and flux of the particle images, by photutils' pixel-integrated Gaussian of known width, neighbours together; and what
    the fit leaves of the picture."""
    fwhm = diameter / 4 * 2 * np.sqrt(2 * np.log(2))
    finder = DAOStarFinder(threshold=0.002 * image.max(), fwhm=max(fwhm, 1.5), sharpness_range=None, roundness_range=None)
    fit = PSFPhotometry(CircularGaussianPRF(fwhm=fwhm), (11, 11), finder=finder, aperture_radius=3, grouper=SourceGrouper(14))
    found = fit(image)
    left = fit.make_residual_image(image, psf_shape=(25, 25))
    return np.column_stack([found[name].value for name in ("x_fit", "y_fit", "flux_fit")]), left


def inside(image):
    return image[BORDER:-BORDER, BORDER:-BORDER]


def scene(flow=UNIFORM, diameter=2.4, streak=(0, 0), **numbers):
    return SCENE.format(diameter=diameter, streak=STREAK.format(x=streak[0], y=streak[1]), flow=flow.format(**numbers))


@pytest.mark.parametrize("diameter", [1.2, 2.4, 4.4])
def test_fits_by_photutils(program, diameter):
    """Every image is the Gaussian it is said to be, holds the light it is said to hold, and moves as it is said to move."""
    pairs = program.render(scene(diameter=diameter, dx=2.37, dy=-1.4), seed=4)
    (a, left_a), (b, left_b) = (stars(frame, diameter) for frame in pairs.frames(0))
    for left in (left_a, left_b):
        assert np.abs(inside(left)).max() < 1e-6 * ELECTRONS
    partner = np.linalg.norm(a[:, None, :2] + [2.37, -1.4] - b[None, :, :2], axis=2)
    clear = (a[:, 0] > BORDER) & (a[:, 0] < 255 - BORDER) & (a[:, 1] > BORDER) & (a[:, 1] < 191 - BORDER)
    assert np.count_nonzero(clear) > 15
    for k in np.flatnonzero(clear):
        # A fit of three numbers to pixels each good to 1e-6 of the light is good to a few 1e-6; px and shares alike.
        assert partner[k].min() < 1e-5
        assert a[k, 2] == pytest.approx(ELECTRONS, rel=1e-5)


def drawn(places, diameter, streak, shape):
    """The picture by GalSim: a Gaussian, smeared along the streak, integrated over pixels, at each place."""
    image = galsim.ImageD(shape[1], shape[0], init_value=0, xmin=0, ymin=0)
    profile = galsim.Gaussian(sigma=diameter / 4, flux=ELECTRONS, gsparams=EXACT)
    length = np.hypot(*streak)
    if length > 0:
        line = galsim.Box(length, 1e-4, gsparams=EXACT).rotate(np.arctan2(streak[1], streak[0]) * galsim.radians)
        profile = galsim.Convolve(profile, line, gsparams=EXACT)
    for x, y in places:
        stamp = galsim.ImageD(64, 64, xmin=round(x) - 31, ymin=round(y) - 31)
        profile.drawImage(stamp, center=galsim.PositionD(x, y), scale=1.0, method="auto")
        both = stamp.bounds & image.bounds
        image[both] += stamp[both]
    return image.array


@pytest.mark.parametrize("diameter, streak", [(2.4, (0, 0)), (1.6, (0.7, 0)), (2.4, (0, -3)), (2.4, (2.1, 1.3)), (2.0, (-6, 8))])
def test_drawn_by_galsim(program, diameter, streak):
    """A streak is the mean of the moving image over the pulse. The same seed puts the particles at the same places without one,
    where photutils finds them. (In the pairs of this seed no two images are so close that it takes them for one.)"""
    still = program.render(scene(diameter=diameter, dx=2.37, dy=-1.4), seed=4, out="still").frames(0)
    moving = program.render(scene(diameter=diameter, streak=streak, dx=2.37, dy=-1.4), seed=4, out="moving").frames(0)
    for frame, smeared in zip(still, moving):
        places, left = stars(frame, diameter)
        assert np.abs(inside(left)).max() < 1e-6 * ELECTRONS
        expected = drawn(places[:, :2], diameter, streak, frame.shape)
        assert np.abs(inside(smeared - expected)).max() < 1e-6 * ELECTRONS


def test_pathlines_by_scipy(program):
    """Particles in a vortex go from their place in frame A to their place in frame B as scipy's integrator takes them, and the
    truth is the same motion half forward and half back. The vortex as a velocity field: Lamb-Oseen, u = V (r_p/r) (1 - exp(-a
    r^2/r_p^2))/(1 - exp(-a)) with the largest speed V at r_p, which makes e^a = 1 + 2 a (published: Lamb, Hydrodynamics, 334a);
    positive turns x into y."""
    size, peak, core, drift = np.array([256, 192]), 6.0, 30.0, np.array([1.3, -0.6])
    a = brentq(lambda a: np.exp(a) - 1 - 2 * a, 0.5, 3)

    def velocity(time, place):
        x, y = place.reshape(2, -1) - (((size - 1) / 2) + drift * time)[:, None]
        square = x * x + y * y
        turn = peak * core / square * np.expm1(-a * square / core**2) / np.expm1(-a)
        return np.concatenate([drift[0] - turn * y, drift[1] + turn * x])

    def path(places, start, end):
        way = solve_ivp(velocity, (start, end), places.T.ravel(), rtol=1e-10, atol=1e-10)
        return way.y[:, -1].reshape(2, -1).T

    flow = f'kind = "lamb-oseen"\npeak_displacement = "{peak} px"\ncore_radius = "{core} px"\ncarried_by = ["{drift[0]} px", "{drift[1]} px"]'
    pairs = program.render(scene(flow=flow), seed=4)
    frame_a, frame_b = (stars(frame, 2.4)[0][:, :2] for frame in pairs.frames(0))
    clear = np.all((frame_a > 15) & (frame_a < size - 16), axis=1)
    distance = np.linalg.norm(path(frame_a[clear], -0.5, 0.5)[:, None] - frame_b, axis=2).min(axis=1)
    assert len(distance) > 15
    # As good as the places of the fits, above.
    assert distance.max() < 2e-5

    y, x = np.mgrid[5:192:20, 5:256:20]
    middle = np.column_stack([x.ravel(), y.ravel()]).astype(float)
    expected = path(middle, 0, 0.5) - path(middle, 0, -0.5)
    # scipy's integration is good to 1e-8 px, and the truth must be exact.
    assert np.abs(pairs.truth(0)[:, y.ravel(), x.ravel()].T - expected).max() < 1e-7
