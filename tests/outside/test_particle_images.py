"""Particle images against photutils and GalSim, which draw and fit stars.

The program's own promise: no pixel is off by more than 1e-6 of a particle's light. Images are
32-bit floats, which adds 6e-8.
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

# A top-hat sheet lights every particle alike; no camera, so the pictures are expected
# photo-electrons.
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
    """x, y and flux of the particle images, by photutils' pixel-integrated Gaussian of known width,
    neighbours together; and what the fit leaves of the picture."""
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
    """Every image is the Gaussian it is said to be, holds the light it is said to hold, stands
    where the list says and moves as it is said to move. (In the pairs of this seed no two images
    are so close that photutils takes them for one.)"""
    pairs = program.render(scene(diameter=diameter, dx=2.37, dy=-1.4), 1, 4, "pairs", "--particles")
    (a, left_a), (b, left_b) = (stars(frame, diameter) for frame in pairs.frames(0))
    for left in (left_a, left_b):
        assert np.abs(inside(left)).max() < 1e-6 * ELECTRONS
    listed = np.column_stack([pairs.particles(0)[0][name] for name in ("x_px", "y_px")])
    partner = np.linalg.norm(a[:, None, :2] + [2.37, -1.4] - b[None, :, :2], axis=2)
    clear = (a[:, 0] > BORDER) & (a[:, 0] < 255 - BORDER) & (a[:, 1] > BORDER) & (a[:, 1] < 191 - BORDER)
    assert np.count_nonzero(clear) > 15
    for k in np.flatnonzero(clear):
        # A fit of three numbers to pixels each good to 1e-6 of the light is good to a few 1e-6; px
        # and shares alike.
        assert partner[k].min() < 1e-5
        assert np.linalg.norm(listed - a[k, :2], axis=1).min() < 1e-5
        assert a[k, 2] == pytest.approx(ELECTRONS, rel=1e-5)


def drawn(particles, profile, shape, streak=(0, 0)):
    """The picture by GalSim: for each particle of the list the profile of its diameter, smeared
    along the streak and integrated over the pixels."""
    image = galsim.ImageD(shape[1], shape[0], init_value=0, xmin=0, ymin=0)
    length = np.hypot(*streak)
    line = galsim.Box(max(length, 1e-9), 1e-4, gsparams=EXACT).rotate(np.arctan2(streak[1], streak[0]) * galsim.radians)
    for particle in particles:
        x, y = particle["x_px"], particle["y_px"]
        picture = profile(particle["diameter_px"]) * particle["electrons_e"]
        if length > 0:
            picture = galsim.Convolve(picture, line, gsparams=EXACT)
        stamp = galsim.ImageD(64, 64, xmin=round(x) - 31, ymin=round(y) - 31)
        picture.drawImage(stamp, center=galsim.PositionD(x, y), scale=1.0)
        both = stamp.bounds & image.bounds
        image[both] += stamp[both]
    return image.array


def gaussian(diameter):
    return galsim.Gaussian(sigma=diameter / 4, gsparams=EXACT)


# Particles of many sizes, defocused across a Gaussian sheet: every image has a width and a light of
# its own.
CROWD = """
[image]
size = [160, 120]
particle_diameter = "{diameter} px"
seeding_density = "0.006 ppp"
electrons = "10000 e"
streak = ["{x} px", "{y} px"]
[sheet]
thickness = "20 px"
[tracer]
distribution = "log-normal"
diameter_sd = 0.3
[flow]
kind = "uniform"
displacement = ["2.37 px", "-1.4 px"]
[camera]
ideal = true
"""


@pytest.mark.parametrize("diameter, streak", [(2.4, (0, 0)), (1.6, (0.7, 0)), (2.4, (0, -3)), (2.4, (2.1, 1.3)), (2.0, (-6, 8))])
def test_drawn_by_galsim(program, diameter, streak):
    """A streak is the mean of the moving image over the pulse."""
    pairs = program.render(CROWD.format(diameter=diameter, x=streak[0], y=streak[1]), 1, 4, "pairs", "--particles")
    for frame, particles in zip(pairs.frames(0), pairs.particles(0)):
        assert len(particles) > 100
        difference = inside(frame - drawn(particles, gaussian, frame.shape, streak))
        # 1e-6 of the light of one particle, the brightest of which carry about three times 10,000
        # e.
        assert np.abs(difference).max() < 1e-6 * particles["electrons_e"].max()


def test_airy_by_galsim(program):
    """The diffraction pattern with the Gaussian's peak and light, (2 J1(v)/v)^2 with v = sqrt(2)
    r/sigma: GalSim's Airy of lambda/D = pi sigma/sqrt(2), whose values are summed over the pixels
    by Gauss and Legendre's rule (8 x 8 points: 1e-12). Within 9 px, since the program draws it to
    16 sigma = 12 px from the middle."""
    diameter = 3.0
    text = scene(diameter=diameter, dx=2.37, dy=-1.4).replace("0.0005", "0.00004").replace("[256, 192]", "[800, 600]")
    pairs = program.render(text + '[lens]\npattern = "airy"\n', 1, 4, "pairs", "--particles")
    frame, particles = pairs.frames(0)[0], pairs.particles(0)[0]
    pattern = galsim.Airy(lam_over_diam=np.pi * diameter / 4 / np.sqrt(2), flux=ELECTRONS, gsparams=EXACT)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    compared = 0
    places = np.column_stack([particles["x_px"], particles["y_px"]])
    for x, y in places:
        # Clear of other particles, whether shown or beyond the border.
        others = np.sort(np.abs(places - [x, y]).max(axis=1))
        if others[1] < 25 or not (25 < x < 775 and 25 < y < 575):
            continue
        stamp = galsim.ImageD(19, 19, xmin=round(x) - 9, ymin=round(y) - 9)
        expected = np.zeros((19, 19))
        for dx, wx in zip(nodes / 2, weights / 2):
            for dy, wy in zip(nodes / 2, weights / 2):
                pattern.drawImage(stamp, center=galsim.PositionD(x - dx, y - dy), scale=1.0, method="no_pixel")
                expected += wx * wy * stamp.array
        found = frame[round(y) - 9 : round(y) + 10, round(x) - 9 : round(x) + 10]
        assert np.abs(found - expected).max() < 1e-6 * ELECTRONS
        compared += 1
    assert compared > 3


def test_pathlines_by_scipy(program):
    """Particles in a vortex go from their place in frame A to their place in frame B as scipy's
    integrator takes them, and the truth is the same motion half forward and half back. The vortex
    as a velocity field: Lamb-Oseen, u = V (r_p/r) (1 - exp(-a r^2/r_p^2))/(1 - exp(-a)) with the
    largest speed V at r_p, which makes e^a = 1 + 2 a (published: Lamb, Hydrodynamics, 334a);
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
