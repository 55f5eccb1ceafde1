"""The beta-PERT distribution and the draws, against closed forms.

Mean (a + 4 m + b) / 6 and variance (mean - a) (b - mean) / 7: D. Vose, "Risk Analysis", from memory; both
follow from the beta distribution with the parameters 1 + 4 (m - a) / (b - a) and 1 + 4 (b - m) / (b - a).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from corrosion.decision import pert_mean, pert_quantile, pert_shape, pert_variance
from corrosion.decision.draws import Draws
from corrosion.model.decision import Spread

N = 100_000

spreads = (
    st.tuples(st.floats(0, 1000), st.floats(0.01, 1000), st.floats(0, 1))
    .map(lambda t: Spread(low=t[0], likely=min(t[0] + t[1] * t[2], t[0] + t[1]), high=t[0] + t[1]))
)  # fmt: skip


def beta(spread: Spread) -> stats.rv_continuous:
    a, b = pert_shape(spread)
    return stats.beta(a, b, spread.low, spread.high - spread.low)


@given(spreads)
def test_mean_and_variance_are_those_of_the_beta(spread: Spread) -> None:
    """The short formulas for mean and variance equal those of the beta distribution for any estimate."""
    assert pert_mean(spread) == pytest.approx(beta(spread).mean(), rel=1e-9)
    assert pert_variance(spread) == pytest.approx(beta(spread).var(), rel=1e-9)


def test_a_classic_estimate() -> None:
    """2, 5 and 14 days: mean (2 + 20 + 14) / 6 = 6, variance (6 - 2)(14 - 6) / 7 = 32 / 7."""
    spread = Spread(low=2, likely=5, high=14)
    assert pert_mean(spread) == 6.0
    assert pert_variance(spread) == pytest.approx(32 / 7)
    assert pert_shape(spread) == (2.0, 4.0)


@settings(max_examples=40, deadline=None)
@given(spreads)
def test_quantiles(spread: Spread) -> None:
    """The table's quantiles are SciPy's to 1e-4 of the width for any estimate, from 0.01 to 99.99 %."""
    p = np.array([1e-4, 0.01, 0.05, 0.3, 0.5, 0.77, 0.95, 0.99, 1 - 1e-4])
    width = spread.high - spread.low
    assert pert_quantile(spread, p) == pytest.approx(beta(spread).ppf(p), abs=1e-4 * width)


def test_the_ends_are_the_ends() -> None:
    """Nothing is drawn below the low or above the high estimate; without doubt all draws are the value."""
    spread = Spread(low=2, likely=5, high=14)
    assert pert_quantile(spread, np.array([0.0, 1.0])) == pytest.approx([2, 14])
    assert set(pert_quantile(Spread(low=3, likely=3, high=3), np.linspace(0, 1, 7))) == {3.0}


def test_draws_have_the_mean_and_variance() -> None:
    """100,000 draws have the closed mean and variance within four standard errors."""
    spread = Spread(low=2, likely=5, high=14)
    drawn = Draws(N, 5).spread("x", spread, "g", "r")
    variance = pert_variance(spread)
    assert abs(drawn.mean() - 6.0) < 4 * math.sqrt(variance / N)
    assert abs(drawn.var() / variance - 1.0) < 4 * math.sqrt(2 / N)


@pytest.mark.parametrize("rho", [0.0, 0.6, 0.95])
def test_correlation_widens_sums_as_it_must(rho: float) -> None:
    """Five equal estimates: the sum's variance is 5 v (1 + 4 r), r the correlation of the amounts.

    For the near-symmetric estimate r is within 0.02 of the normal variates' (their ranks agree exactly).
    """
    spread = Spread(low=0, likely=5, high=10)
    draws = Draws(N, 5, rho)
    total = sum(draws.spread(f"x{i}", spread, "g", "r", shared=True) for i in range(5))
    expected = 5 * pert_variance(spread) * (1 + 4 * rho)
    assert np.var(total) / expected == pytest.approx(1.0, abs=0.03)


def test_streams_do_not_depend_on_each_other() -> None:
    """An input drawn alone or after others has the same draws; another name or seed has others."""
    spread = Spread(low=2, likely=5, high=14)
    alone = Draws(1000, 5).spread("x", spread, "g", "r")
    later = Draws(1000, 5)
    other = later.spread("y", spread, "g", "r")
    assert np.array_equal(later.spread("x", spread, "g", "r"), alone)
    assert abs(np.corrcoef(alone, other)[0, 1]) < 0.15
    assert not np.array_equal(Draws(1000, 6).spread("x", spread, "g", "r"), alone)


def test_gamma_draws() -> None:
    """Gamma draws of shape 0.5 and 20.5 have mean and variance equal to the shape, to four errors."""
    for shape in (0.5, 20.5):
        drawn = Draws(N, 5).gamma("rate", shape)
        assert abs(drawn.mean() - shape) < 4 * math.sqrt(shape / N)
        # Kurtosis 3 + 6 / shape of the gamma distribution sets the error of the variance.
        assert abs(drawn.var() / shape - 1.0) < 4 * math.sqrt((2 + 6 / shape) / N) + 1e-3


def test_chances() -> None:
    """A chance of 0 or 1 is no doubtful input; 0.3 happens in 30 % of draws within four errors."""
    draws = Draws(N, 5)
    assert not draws.chance("never", 0.0, "g", "r").any()
    assert draws.chance("always", 1.0, "g", "r").all()
    assert draws.inputs == {}
    assert abs(draws.chance("maybe", 0.3, "g", "r").mean() - 0.3) < 4 * math.sqrt(0.21 / N)
