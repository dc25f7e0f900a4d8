"""Bias, local bias, random error, total error and their intervals, recomputed from the files with
numpy and scipy.stats.
"""

import csv

import numpy as np
import pytest
from scipy import stats
from scipy.ndimage import map_coordinates
from scipy.signal import correlate

from conftest import vectors

SCENE = """
[image]
size = [256, 192]
particle_diameter = "2.4 px"
seeding_density = "0.03 ppp"
electrons = "500 e"
background = "20 e"
pulse_fraction = 0.1
[sheet]
out_of_plane = 0.5
[flow]
{flow}
[camera]
bits = 12
dark_noise = "5 e"
[processing]
passes = [{{ window = 32, overlap = 0.5 }}, {{ window = 32, overlap = 0.75 }}]
weighting = "gaussian"
"""
VORTEX = 'kind = "lamb-oseen"\npeak_displacement = "4 px"\ncore_radius = "40 px"'
UNIFORM = 'kind = "uniform"\ndisplacement = ["3.3 px", "-1.2 px"]'
SIDE, COLUMNS, ROWS, SPACING = 32, 29, 21, 8
# Windows share pixels with those up to 3 grid steps away: (32 - 1) // 8.
REACH = 3


def errors(pairs, tables):
    """Errors of all vectors against the truth at their place and against its average over their
    window, with the weights of both frames' tapers together (exp(-t^2) squared); shape pairs x
    component x rows x columns, NaN for outliers (vectors that are not valid, or valid but more than
    1 px off)."""
    centre = np.arange(SIDE) - (SIDE - 1) / 2
    along = np.exp(-2 * (2 * centre / SIDE) ** 2)
    weights = np.outer(along, along) / along.sum() ** 2
    at_point, over_window = [], []
    for k, table in enumerate(tables):
        truth = pairs.truth(k)
        place = np.stack([table["y_px"], table["x_px"]])
        point = np.stack([map_coordinates(component, place, order=3) for component in truth])
        corners = np.round(place - (SIDE - 1) / 2).astype(int)
        window = np.array([(truth[:, y : y + SIDE, x : x + SIDE] * weights).sum(axis=(1, 2)) for y, x in corners.T]).T
        found = np.stack([table["dx_px"], table["dy_px"]])
        lost = (table["status"] != "valid") | (np.hypot(*(found - point)) > 1)
        for true, errors in ((point, at_point), (window, over_window)):
            errors.append(np.where(lost, np.nan, found - true).reshape(2, ROWS, COLUMNS))
    return np.array(at_point), np.array(over_window)


def tapers(lengths):
    """Lags along each side, and the weights of their covariances: 1 up to the reach, then falling
    linearly to 0 one step beyond twice it.
    """
    lags = [np.abs(np.arange(1 - n, n)) for n in lengths]
    return lags, [np.clip(1 - (lag - REACH) / (REACH + 1), 0, 1) for lag in lags]


def residuals(fields, lost, by_chance):
    """What chance adds at each place: deviations from the mean there, allowing for the degrees of
    freedom lost to it; and if losses are chance, what a place moves the mean of all by coming and
    going (the influence of a value on a ratio of sums: Cochran, Sampling Techniques, section 2.11).
    Also how many values tell how they scatter.
    """
    known, pairs = np.isfinite(fields), len(fields)
    seen = known.sum(axis=0)
    tells = known & (seen > lost)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.nanmean(fields, axis=0)
        residual = np.where(tells, (fields - means) * np.sqrt(seen / (seen - lost)), 0)
    if by_chance:
        off = np.where(seen > 0, means - np.nanmean(fields), 0)
        residual = residual + (known - seen / pairs) * off * np.sqrt(pairs / (pairs - 1))
    return residual, tells.sum()


def neighbourhoods(whole):
    """Each residual times the tapered sum of those about it."""
    _, taper = tapers([4 * REACH + 2] * 2)
    window = np.outer(*taper)[2 * REACH + 1 : -2 * REACH - 1, 2 * REACH + 1 : -2 * REACH - 1]
    return whole * np.array([correlate(sheet, window, mode="same", method="direct") for sheet in whole])


def freedom_between_pairs(whole):
    """Degrees of freedom of a sum by its scatter between pairs, over blocks as wide as windows
    reach: twice the squared sum over its variance.
    """
    parts = neighbourhoods(whole)
    side, (pairs, rows, columns) = REACH + 1, whole.shape
    corners = [(y, x) for y in range(0, rows, side) for x in range(0, columns, side)]
    blocks = [parts[:, y : y + side, x : x + side].sum(axis=(1, 2)) for y, x in corners]
    return 2 * parts.sum() ** 2 / (pairs * np.var(blocks, axis=1, ddof=1).sum())


def freedom_of_variance(fields, lost=1, by_chance=True):
    """With how many degrees of freedom the variance of the mean is known: values over the sum of
    squared weights, each with the share of grid places that have a neighbour at that lag
    (Priestley, Spectral Analysis and Time Series, 1981); the mean over the pairs takes one pair's
    worth, or as many as are `lost`. With a scatter v that differs over the places, each squared
    weight counts mean(v v') / mean(v)^2 times, for v' at that lag (Satterthwaite), or just beyond
    the reach along x, or along y, if it is nearer; whichever of both and of an even scatter gives
    the fewest degrees of freedom. To the relative variance of normal values that of the scatter
    between the pairs is added."""
    rows, columns = fields.shape[1:]
    whole, _ = residuals(fields, lost, by_chance)
    v = (whole**2).sum(axis=0)
    v = v / v.mean()

    def product(dy, dx):
        return (v[dy:, dx:] * v[: rows - dy, : columns - dx]).mean()

    sums = np.zeros(3)
    for dy in range(2 * REACH + 1):
        for dx in range(2 * REACH + 1):
            weight = np.prod([np.clip(1 - (lag - REACH) / (REACH + 1), 0, 1) for lag in (dy, dx)])
            sides = (1 + (dy > 0)) * (1 + (dx > 0))
            share = (1 - dy / rows) * (1 - dx / columns)
            beyond = product(dy, max(dx, REACH + 1)), product(max(dy, REACH + 1), dx)
            sums += sides * share * weight**2 * np.array([1, *beyond])
    normal = np.isfinite(fields).sum() * (1 - lost / len(fields)) / sums.max()
    return 1 / (1 / normal + 1 / freedom_between_pairs(whole))


def lessened(number, fields, lost=1, by_chance=True):
    """So many trials or degrees of freedom, lessened so that z / sqrt(n) becomes t / sqrt(n)."""
    freedom = freedom_of_variance(fields, lost, by_chance)
    return number * (stats.norm.ppf(0.975) / stats.t.ppf(0.975, freedom)) ** 2


def variance_of_mean(fields, lost=1, by_chance=True):
    """Variance of the mean of values on grids, one grid per pair: what repeats from pair to pair at
    a grid place is no chance; the covariances at the lags of the grid are summed with weight 1 up
    to the reach, then falling linearly to 0 one step beyond twice the reach (flat-topped window:
    Politis and Romano, J. Time Ser. Anal. 16 (1995) 67); never below independence. Squares of
    deviations from a place's own mean have lost two degrees of freedom there."""
    whole, seen = residuals(fields, lost, by_chance)
    _, taper = tapers(fields.shape[1:])
    covariance = sum(correlate(sheet, sheet, method="direct") for sheet in whole)
    total = max((np.outer(*taper) * covariance).sum(), (whole**2).sum())
    return total / seen / np.isfinite(fields).sum()


def mean(fields):
    """Mean, Student's t interval on the effective number of values (or fewer degrees of freedom),
    and that number.
    """
    n, value, variance = np.isfinite(fields).sum(), np.nanmean(fields), variance_of_mean(fields)
    effective = np.clip(np.nanvar(fields, ddof=1) / variance, 1, n)
    freedom = min(effective - 1, freedom_of_variance(fields))
    return (value, *stats.t.interval(0.95, freedom, value, np.sqrt(variance))), effective


def root_mean_square(squares):
    """Root of the mean, and its chi-squared interval with Satterthwaite's degrees of freedom 2 s^4
    / Var(s^2).
    """
    s2 = np.nanmean(squares)
    freedom = lessened(min(2 * s2**2 / variance_of_mean(squares), np.isfinite(squares).sum()), squares)
    low, high = stats.chi2.ppf([0.975, 0.025], freedom)
    return np.sqrt(s2), np.sqrt(s2 * freedom / low), np.sqrt(s2 * freedom / high)


def chi(square, freedom):
    """Mean square and its chi-squared interval."""
    low, high = stats.chi2.ppf([0.975, 0.025], freedom)
    return np.array([square, square * freedom / low, square * freedom / high])


def local_and_random(fields):
    """What places repeat in every pair and what they do not, both as root mean square: one-way
    analysis of variance with fixed places and unequal numbers (Searle, Casella and McCulloch,
    Variance Components, 1992); the variance of the mean, which is what the mean takes off, is left
    out of the second, so that the squares add up. Intervals: Satterthwaite's for what differs at a
    place, and for the scatter of the places' means, whose variance is that of a non-central
    chi-squared law; MOVER for the difference of both (Zou and Donner, Stat. Med. 27 (2008)
    1693)."""
    seen, number = np.isfinite(fields).sum(axis=0), np.isfinite(fields).sum()
    places, mean, means = (seen > 0).sum(), np.nanmean(fields), np.nanmean(fields, axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        squares = np.where(seen > 1, (fields - means) ** 2 * seen / (seen - 1), np.nan)
        within = np.nanmean(squares)
        variances = np.where(seen > 1, np.nansum(squares, axis=0) / seen, np.where(seen > 0, within, 0))
    of_within = variance_of_mean(squares, lost=2, by_chance=False)
    freedom = lessened(min(2 * within**2 / of_within, number - places), squares, lost=2, by_chance=False)
    at_places = chi(variances.sum() / number, freedom)

    between = np.nansum(seen * (means - mean) ** 2) / number
    products, each = fields * (means - mean), number / places
    of_noise = (each - 1) / each**2 * of_within
    of_between = max(4 * variance_of_mean(products, by_chance=False) - of_noise, of_noise)
    between = chi(between, lessened(min(2 * between**2 / of_between, number), products, by_chance=False))

    value = between[0] - at_places[0]
    low = value - np.hypot(between[0] - between[1], at_places[2] - at_places[0])
    high = value + np.hypot(between[2] - between[0], at_places[0] - at_places[1])
    of_mean = min(variance_of_mean(fields, by_chance=False), within / len(fields))
    local = np.sqrt(np.maximum(np.array([value, low, high]) + of_mean, 0))
    return local, np.sqrt(chi(np.nanvar(fields) - local[0] ** 2, freedom))


def wilson(p, n):
    """Wilson's 95 % interval (J. Am. Stat. Assoc. 22 (1927) 209): the fractions that p is within
    1.96 standard errors of.
    """
    z2 = stats.norm.ppf(0.975) ** 2
    low, high = np.sort(np.roots([1 + z2 / n, -2 * p - z2 / n, p * p]).real)
    return p, low, high


def figures(at_point, over_window):
    """All figures by name as (value, low, high), and the effective number of vectors."""
    all, effective = {}, np.inf
    for prefix, fields in (("", at_point), ("window_", over_window)):
        for axis, component in zip("xy", fields.transpose(1, 0, 2, 3)):
            bias, number = mean(component)
            effective = min(effective, number)
            all[f"{prefix}bias_{axis}_px"] = bias
            all[f"{prefix}local_{axis}_px"], all[f"{prefix}random_{axis}_px"] = local_and_random(component)
            all[f"{prefix}total_{axis}_px"] = root_mean_square(component**2)
    all["total_px"] = root_mean_square((at_point**2).sum(axis=1))
    lost = np.isnan(at_point[:, 0]).astype(float)
    share, trials = mean(lost)
    all["outliers"] = wilson(share[0], lessened(trials, lost) if share[0] > 0 else effective)
    return all, effective


def measured(program, flow, pairs, changes=()):
    """Renders and correlates pairs, and returns them with the tables of their vectors."""
    rendered = program.render(SCENE.format(flow=flow), pairs, 3, "pairs", *changes)
    tables = []
    for k in range(pairs):
        program.run("correlate", *rendered.files(k), "--setup", "pairs.toml", "--out", f"{k}.csv", "--force")
        tables.append(vectors(program.directory / f"{k}.csv"))
    return rendered, tables


@pytest.mark.parametrize("flow", [UNIFORM, VORTEX])
def test_score(program, flow):
    rendered, tables = measured(program, flow, 5)
    files = [f"{k}.csv" for k in range(5)]
    found = program.json("score", *files, "--truth", "pairs", "--setup", "pairs.toml")
    expected, effective = figures(*errors(rendered, tables))
    assert found["effective_vectors"] == pytest.approx(effective, rel=1e-5)
    assert 0 < expected["outliers"][0] < 0.2
    for name, (value, low, high) in expected.items():
        got = [found[name][end] for end in ("value", "lo", "hi")]
        # The displacements in the file are rounded to 1e-7 px, and the truth half-way between two
        # pixels is interpolated. Only a wrong formula differs by more than the 1e-6 px required.
        assert got == pytest.approx([value, low, high], rel=0, abs=1e-6), name


def table(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def test_sweep_table(program):
    """Each row of a sweep tells of the same pairs as `render` and `correlate` give, in six
    digits."""
    program.setup(SCENE.format(flow=UNIFORM), "sweep.toml")
    program.run("sweep", "sweep.toml", "--vary", "image.electrons=400 e,900 e", "--seed", 3, "--most-pairs", 4, "--precision", 0.001, "--out", "sweep")
    rows = table(program.directory / "sweep" / "table.csv")
    assert [float(row["value"]) for row in rows] == [400, 900]
    for row in rows:
        changes = ["--set", f"image.electrons={row['value']} {row['unit']}", "--force"]
        rendered, tables = measured(program, UNIFORM, 4, changes)
        expected, effective = figures(*errors(rendered, tables))
        assert int(row["pairs"]) == 4 and int(row["vectors"]) == np.isfinite(errors(rendered, tables)[0][:, 0]).size
        assert float(row["effective_vectors"]) == pytest.approx(effective, rel=1e-5)
        for name, figure in expected.items():
            got = [float(row[name + end]) for end in ("", "_lo", "_hi")]
            assert got == pytest.approx(figure, rel=1e-5, abs=1e-6), name


def test_coverage(program):
    """Of 100 studies with their own seeds, 95 % must have the long-run value (of all 1,200 pairs)
    inside their 95 % intervals; fewer than chance allows once in a thousand (binomial law) is a
    failure. Windows overlap by 75 %, so intervals that took the vectors for independent would be
    half as wide and fail."""
    scene = SCENE.format(flow=UNIFORM).replace("[256, 192]", "[128, 128]").replace("= 0.5\n", "= 0.1\n")
    program.setup(scene, "sweep.toml")
    rows = []
    for seed in range(100):
        arguments = ["--vary", "image.electrons=3000 e", "--seed", seed, "--most-pairs", 12, "--precision", 0.001]
        program.run("sweep", "sweep.toml", *arguments, "--out", f"{seed}")
        rows += table(program.directory / f"{seed}" / "table.csv")
    assert all(row["pairs"] == "12" for row in rows)

    def column(name):
        return np.array([float(row[name]) for row in rows])

    for axis in "xy":
        bias, local, random = (column(f"{what}_{axis}_px") for what in ("bias", "local", "random"))
        long_run = {"bias": bias.mean(), "random": np.sqrt((random**2).mean() + bias.var())}
        long_run["total"] = np.sqrt((random**2 + local**2 + bias**2).mean())
        for what, value in long_run.items():
            name = f"{what}_{axis}_px"
            inside = np.count_nonzero((column(name + "_lo") <= value) & (value <= column(name + "_hi")))
            assert stats.binomtest(inside, len(rows), 0.95, alternative="less").pvalue > 1e-3, f"{name}: {inside} of {len(rows)}"
