"""`motefield plan` on the pixels, in the windows and in time, against independent computations
(numpy, scipy).

The light budget down to the photo-electrons is in test_light.py; here it goes on to grey levels,
noise and saturation."""

import numpy as np
import pytest
from scipy import integrate, special, stats

from test_light import FLUME, si

# The rig with a plain flow, so that every figure has a closed form or an integral of its own.
UNIFORM = """[flow]
kind = "uniform"
velocity = ["0.2 m/s", "0.05 m/s", "0.06 m/s"]
"""


def rig(**changes):
    text = FLUME.read_text()
    head, tail = text[: text.index("[flow]")], text[text.index("[timing]") :]
    text = (head + UNIFORM + tail).replace("out_of_plane = 0.05", "out_of_plane = 0")
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    return text


def share_of_middle_pixel(diameter, streak):
    """A Gaussian of standard deviation d/4 spread along x, over the pixel on which its middle
    stands, by scipy's adaptive quadrature.
    """
    sigma = diameter / 4
    line = lambda at: stats.norm.cdf(at + 0.5, scale=sigma) - stats.norm.cdf(at - 0.5, scale=sigma)
    along = integrate.quad(lambda t: line(t * streak), -0.5, 0.5)[0]
    return line(0.0) * along


# The rig's particles are spread evenly over their mean diameter +- 20 %: of a cube of the diameter
# the mean is 1 + 0.2^2 times that of the mean diameter, and 95 % of them are dimmer than one of 1 +
# 0.9 x 0.2 times it, whose light goes with the square (derived).
SPREAD = 0.2
BRIGHTEST = (1 + 0.9 * SPREAD) ** 2


def test_grey_level_noise_and_saturation(program):
    """From the photo-electrons to the peak's grey level, signal-to-noise ratio (EMVA 1288) and
    share of the full well: 1 %, the requirement of the light budget."""
    plan = program.json("plan", program.setup(rig()))
    px = 5.5e-6 / 0.1
    diameter = np.sqrt((4 * np.sqrt(2) / np.pi * 4 * 1.1 * 450e-9) ** 2 + (0.1 * 12e-6) ** 2 + (11e-6) ** 2) / 5.5e-6
    displacement = np.hypot(0.2, 0.05) * 2.4e-3 / px
    streak = displacement * 200e-6 / 2.4e-3
    peak = plan["electrons_e"] * share_of_middle_pixel(diameter, streak)
    gain = 4095 / (10000 + 5 * 4)
    black = np.ceil(5 * gain * 4)
    noise = np.sqrt(peak + 12 + 4**2 + 1 / 12 / gain**2)
    expected = {
        "particle_image_diameter_px": diameter,
        "recorded_diameter_px": np.sqrt(diameter**2 + 16 / 12),
        "fastest_displacement_px": displacement,
        "longest_streak_px": streak,
        "peak_electrons_e": peak,
        "peak_grey_dn": black + gain * (peak + 12),
        "brightest_grey_dn": black + gain * (BRIGHTEST * peak + 12),
        "peak_snr": peak / noise,
        "peak_share_of_full_well": (peak + 12) / 10000,
        "absolute_threshold_e": np.sqrt(16 + 1 / 12 / gain**2) + 0.5,
    }
    assert {name: plan[name] for name in expected} == pytest.approx(expected, rel=0.01, abs=0)


def test_polarised_light(program):
    """The two polarisations have unpolarised light as their mean (exact), and differ at right
    angles.
    """
    section = {}
    for name in ["unpolarised", "perpendicular", "parallel"]:
        text = rig(light=('hazard_class = "4"', f'hazard_class = "4"\npolarisation = "{name}"'))
        section[name] = program.json("plan", program.setup(text))["cross_section_m2_sr"]
    assert section["unpolarised"] == pytest.approx((section["perpendicular"] + section["parallel"]) / 2, rel=1e-9, abs=0)
    assert abs(section["perpendicular"] / section["parallel"] - 1) > 0.1


@pytest.mark.parametrize("profile", ["gaussian", "top-hat", "super-gaussian"])
def test_losses_in_a_window(program, profile):
    """N_I, F_I, F_O and their product for a uniform displacement, by the sheet's own overlap
    integral: 1e-3, a step of the program's rule.
    """
    text = rig(sheet=('profile = "gaussian"', f'profile = "{profile}"'))
    plan = program.json("plan", program.setup(text))
    px, separation = 5.5e-6 / 0.1, 2.4e-3
    dx, dy = 0.2 * separation / px, 0.05 * separation / px
    depth = 0.06 * separation / 1.5e-3
    shape = {
        "gaussian": lambda u: np.exp(-8 * u**2),
        "top-hat": lambda u: float(abs(u) <= 0.5),
        "super-gaussian": lambda u: np.exp(-2 * (2 * abs(u)) ** 4),
    }[profile]
    both = lambda shift: integrate.quad(lambda u: shape(u) * shape(u + shift), -2, 2, points=[-0.5, 0.5, -0.5 - shift, 0.5 - shift], limit=200)[0]
    kept = both(depth) / both(0.0)
    in_plane = (1 - dx / 64) * (1 - dy / 64)
    number = 6e9 * 1.5e-3 * (64 * px) ** 2
    expected = {
        "particles_first_window": number,
        "in_plane_factor": in_plane,
        "out_of_plane_factor": kept,
        "pairs_first_window": number * in_plane * kept,
        "pairs_final_window": number / 4 * kept,
        "tracer_kg_m3": 6e9 * 1030 * np.pi / 6 * 12e-6**3 * (1 + SPREAD**2),
    }
    assert {name: plan[name] for name in expected} == pytest.approx(expected, rel=1.5e-3, abs=0)


def test_gradient_of_a_shear(program):
    """A shear of 0.04 px per px over 64 px: the mean of the correlation of two Gaussian images over
    the displacements in the window (numerically, by sampling), and the Stokes number of its
    time."""
    text = rig(flow=(UNIFORM, '[flow]\nkind = "linear-shear"\nshear = 0.04\ndisplacement = ["2 px", "0 px"]\n'))
    plan = program.json("plan", program.setup(text))
    d, a = plan["particle_image_diameter_px"], 0.04 * 64
    s = np.linspace(-a / 2, a / 2, 20001)
    factor = np.exp(-4 * s**2 / d**2).mean()
    assert plan["gradient_factor"] == pytest.approx(factor, rel=1e-3)
    assert plan["gradient_factor"] == pytest.approx(np.sqrt(np.pi) * d / 2 / a * special.erf(a / d), rel=1e-6)
    assert plan["stokes_number"] == pytest.approx(plan["response_time_s"] * 0.04 / 2.4e-3, rel=1e-9)


def test_pulses_in_their_exposures(program):
    """The margin is the best that any place of the dead time gives, by scipy's linear programming:
    maximise m subject to every edge of a pulse lying at least m inside its exposure."""
    from scipy.optimize import linprog

    for exposure, exposure_b in [(5e-3, 5e-3), (1e-3, 20e-3), (3e-3, 1.3e-3), (1.2e-3, 1.5e-3)]:
        camera = ('exposure = "5 ms"', f'exposure = "{exposure} s"\nexposure_b = "{exposure_b} s"')
        plan = program.json("plan", program.setup(rig(camera=camera)))
        pulse, separation, dead = 200e-6, 2.4e-3, 0.2e-3
        # Unknowns: end of exposure A, g, and m. Rows: pulse A before g, exposure A's start before
        # pulse A, and the same for B.
        rows = [[-1, 1], [1, 1], [1, 1], [-1, 1]]
        limits = [-pulse, exposure, separation - dead, dead + exposure_b - separation - pulse]
        best = linprog([0, -1], A_ub=np.array(rows), b_ub=np.array(limits) * 1e3, bounds=[(None, None)] * 2)
        assert plan["straddling_margin_s"] == pytest.approx(best.x[1] * 1e-3, rel=1e-6)
        edges = [edge["time_s"] for edge in plan["timing_diagram"]["edges"]]
        for time in [0, pulse, separation, separation + pulse]:
            assert min(abs(np.array(edges) - time)) < 1e-12


def test_measured_brightness_fixes_the_light(program):
    """900 grey levels of 4095 at 200 us: photo-electrons from the grey level, back through camera
    and pixel, in numpy: 1 %.
    """
    anchor = ('hazard_class = "4"', 'hazard_class = "4"\nmeasured_grey = "900 DN"\nmeasured_at = "200 us"')
    plain = program.json("plan", program.setup(rig()))
    plan = program.json("plan", program.setup(rig(light=anchor)))
    gain = 4095 / 10020
    pixel = (900 - np.ceil(20 * gain)) / gain - 12
    electrons = pixel / BRIGHTEST / share_of_middle_pixel(plan["particle_image_diameter_px"], plan["longest_streak_px"])
    assert plan["electrons_e"] == pytest.approx(electrons, rel=0.01)
    assert plan["measured_factor"] == pytest.approx(electrons / plain["electrons_e"], rel=0.01)
    doubled = program.json("plan", program.setup(rig(light=anchor)), "--set", "light.pulse_length=400 us")
    assert doubled["electrons_e"] == pytest.approx(2 * plan["electrons_e"], rel=1e-9)
