"""Values of information and drivers against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from corrosion.decision.information import (
    expected_given,
    rank_correlation,
    ranks,
    value_of_knowing,
    value_of_perfect_information,
    variance_share,
)

N = 100_000


def normals(count: int, seed: int = 20310417) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    return [rng.standard_normal(N) for _ in range(count)]


def loss(distance: float, sd: float) -> float:
    """Give the unit normal loss, the expected excess of a normal difference of mean -distance over zero."""
    z = distance / sd
    return float(sd * (stats.norm.pdf(z) - z * stats.norm.sf(z)))


def test_two_point_case() -> None:
    """Repair costs 500 or, with 30 %, 1500; the new part 700: knowing which saves 700 - 560 = 140.

    Without knowing, the part is taken (700 < 800). With it: 0.7 x 500 + 0.3 x 700 = 560.
    """
    happens = np.zeros(N)
    happens[: 3 * N // 10] = 1.0
    costs = np.vstack([500 + 1000 * happens, np.full(N, 700.0)])
    assert value_of_perfect_information(costs) == pytest.approx(140.0)
    assert value_of_knowing(costs, [happens]) == pytest.approx(140.0)


def test_two_normals() -> None:
    """Costs X + Y against 0.2: all is worth the normal loss of sd sqrt(2), X alone that of sd 1."""
    x, y = normals(2)
    costs = np.vstack([x + y, np.full(N, 0.2)])
    # The mean of N losses of sd about 0.6 has an error of 0.002.
    assert value_of_perfect_information(costs) == pytest.approx(loss(0.2, math.sqrt(2)), abs=0.008)
    assert value_of_knowing(costs, [x]) == pytest.approx(loss(0.2, 1.0), abs=0.008)
    assert value_of_knowing(costs, [x, y]) == pytest.approx(value_of_perfect_information(costs), abs=1e-6)


def test_what_does_not_matter_is_worth_nothing() -> None:
    """An unrelated input is worth less than 1 % of everything; one that cannot turn the choice, nothing."""
    x, idle = normals(2)
    costs = np.vstack([x, np.full(N, 0.2)])
    assert value_of_knowing(costs, [idle]) < 0.01 * value_of_perfect_information(costs)
    assert value_of_knowing(np.vstack([x, np.full(N, 50.0)]), [x]) == 0.0
    assert value_of_knowing(costs, [np.full(N, 3.0)]) == 0.0


def test_expectation_given_an_input() -> None:
    """Of X Y + Z^3 with means 0, 2 and 0, the expectation given X is 2 X, given Z it is Z^3."""
    x, y, z = normals(3)
    values = (x * (y + 2) + z**3)[None, :]
    # Coefficients have errors of about 4 / sqrt(N), which the third power of 3 carries into the curve.
    near = np.abs(x) < 3
    assert expected_given(values, [x])[0][near] == pytest.approx(2 * x[near], abs=0.6)
    assert np.abs(expected_given(values, [x])[0] - 2 * x).std() < 0.06
    assert np.abs(expected_given(values, [z])[0] - z**3).std() < 0.06


def test_variance_shares_of_a_sum() -> None:
    """Of 3 X + Y, X has 9 / 10 of the variance and Y 1 / 10; a constant has none of anything."""
    x, y = normals(2)
    total = 3 * x + y
    assert variance_share(total, x) == pytest.approx(0.9, abs=0.01)
    assert variance_share(total, y) == pytest.approx(0.1, abs=0.01)
    assert variance_share(np.zeros(N), x) == 0.0


def test_rank_correlation_is_spearmans() -> None:
    """It equals SciPy's, ties included, and is 1 for any rising function."""
    x, y = (v[:2000] for v in normals(2))
    coarse = np.round(x + y)
    assert rank_correlation(x, ranks(coarse)) == pytest.approx(stats.spearmanr(x, coarse).statistic)
    assert rank_correlation(x, ranks(np.exp(x))) == pytest.approx(1.0)
    assert rank_correlation(np.ones(2000), ranks(x)) == 0.0
