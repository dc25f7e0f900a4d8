"""The values that the evaluator's tests hold the normalised median test against: quadrature again,
and a draw by numpy beside it.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from normalised_median import shares

FILE = Path(__file__).parents[2] / "evaluator/tests/suite/reference/normalised_median.json"


def test_reference_values():
    rows = json.loads(FILE.read_text())
    epsilons = [row["epsilon"] for row in rows]
    generator = np.random.default_rng(2005)
    neighbours = generator.standard_normal((2, 400_000, 8))
    vector = generator.standard_normal((2, 400_000))
    m = np.median(neighbours, axis=2)
    r = np.median(np.abs(neighbours - m[..., None]), axis=2)
    for row, (one, two) in zip(rows, shares(epsilons)):
        # Five digits are written.
        assert row["one_component"] == pytest.approx(one, abs=1e-5)
        assert row["two_components"] == pytest.approx(two, abs=1e-5)
        residual = np.abs(vector - m) / (r + row["epsilon"])
        # Four standard errors of a share of 400,000 are at most 0.0032.
        assert np.mean(residual > 2) == pytest.approx(one, abs=0.0032)
        assert np.mean(np.hypot(*residual) > 2) == pytest.approx(two, abs=0.0032)
