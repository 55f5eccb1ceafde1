"""Fits of block maxima: bounds, part blocks, refusals, and what simulated samples say of the intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from corrosion.errors import MetrologyError
from corrosion.extremes import (
    AT_LEAST,
    AT_MOST,
    EXACT,
    LEAST_GEV,
    LEAST_GUMBEL,
    Law,
    Sample,
    fit_gev,
    fit_gumbel,
    goodness_of,
    log_likelihood,
    return_period,
)

SEED = 20310417


def gumbel(n: int, seed: int = SEED, location: float = 0.3, scale: float = 0.05) -> np.ndarray:
    return np.random.default_rng(seed).gumbel(location, scale, n)


@pytest.mark.parametrize("shape", [-0.2, 0.0, 0.25])
def test_log_likelihood_of_bounds(shape: float) -> None:
    """A bound counts with its probability: ln F below it, ln (1 - F) above it, as SciPy has F."""
    law = stats.genextreme(-shape, 0.3, 0.05)
    x = np.array([0.28, 0.31, 0.40])
    for status, of in ((AT_MOST, law.logcdf), (EXACT, law.logpdf), (AT_LEAST, law.logsf)):
        found = log_likelihood(Sample.of(x, [status] * 3), 0.3, 0.05, shape)
        assert found == pytest.approx(of(x).sum(), rel=1e-9)


def test_a_part_block_is_a_power_of_the_law() -> None:
    """The maximum of r blocks has distribution F^r, whose density is r F^(r-1) f (closed form)."""
    law, r, x = stats.gumbel_r(0.3, 0.05), 0.4, 0.33
    expected = math.log(r) + (r - 1) * law.logcdf(x) + law.logpdf(x)
    assert log_likelihood(Sample.of([x], [EXACT], [r]), 0.3, 0.05, 0.0) == pytest.approx(expected)


def test_the_largest_of_many_blocks_is_the_power_of_one() -> None:
    """Probability and quantile of the largest of 50 blocks invert each other and follow F^50."""
    fit = fit_gumbel(gumbel(30))
    law = stats.gumbel_r(fit.location, fit.scale)
    depth = fit.largest(0.9, 50)
    assert law.cdf(depth) ** 50 == pytest.approx(0.9)
    assert fit.probability_over(depth, 50) == pytest.approx(0.1)
    gev = fit_gev(gumbel(40))
    assert gev.probability_over(gev.largest(0.9, 50), 50) == pytest.approx(0.1)


def test_too_few_blocks_are_refused_with_the_number_needed() -> None:
    """Nine blocks are refused, and the error says how many are needed and how many are missing."""
    with pytest.raises(MetrologyError, match=rf"is 9; a Gumbel fit needs {LEAST_GUMBEL}.*in 1 more"):
        fit_gumbel(gumbel(9))
    with pytest.raises(MetrologyError, match=f"is 29; a GEV fit needs {LEAST_GEV}"):
        fit_gev(gumbel(29))
    assert fit_gumbel(gumbel(LEAST_GUMBEL)).law is Law.GUMBEL


def test_bounds_do_not_count_as_blocks() -> None:
    """Twenty empty blocks carry no fit: what counts is how many maxima are known."""
    sample = Sample.of([*gumbel(9), *[0.2] * 20], [EXACT] * 9 + [AT_MOST] * 20)
    with pytest.raises(MetrologyError, match="is 9;"):
        fit_gumbel(sample)


def test_equal_maxima_are_refused() -> None:
    """Depths that are all the same have no spread: they were filled in, not read."""
    with pytest.raises(MetrologyError, match="no spread"):
        fit_gumbel([0.3] * 12)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_numbers_that_are_none_are_refused(bad: float) -> None:
    """A maximum that is not a finite number is refused before it spoils the fit."""
    with pytest.raises(MetrologyError, match="finite"):
        fit_gumbel([*gumbel(12), bad])


def test_states_and_areas_go_with_the_maxima() -> None:
    """One state and one area for every block, and no block without an area."""
    with pytest.raises(MetrologyError, match="2 block maxima come with 1"):
        Sample.of([0.1, 0.2], [EXACT])
    with pytest.raises(MetrologyError, match="no area"):
        Sample.of([0.1], [EXACT], [0.0])


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    n=st.integers(LEAST_GUMBEL, 60),
    factor=st.floats(0.01, 100),
    shift=st.floats(-10, 10),
)
def test_units_do_not_matter(seed: int, n: int, factor: float, shift: float) -> None:
    """Millimetres or mils, any zero: location and scale go with the data, to the simplex's tolerance."""
    x = gumbel(n, seed)
    one, other = fit_gumbel(x), fit_gumbel(factor * x + shift)
    assert other.location == pytest.approx(
        factor * one.location + shift, abs=1e-5 * factor * one.scale + 1e-9
    )
    assert other.scale == pytest.approx(factor * one.scale, rel=1e-5)


def test_dropping_shallow_blocks_misleads_and_bounding_them_does_not() -> None:
    """Of 4,000 maxima a third lie below a threshold: as bounds they leave the scale right within 3 u."""
    x = gumbel(4000)
    cut = float(np.quantile(x, 1 / 3))
    status = [AT_MOST if v < cut else EXACT for v in x]
    fit = fit_gumbel(Sample.of(np.maximum(x, cut), status))
    u = math.sqrt(fit.covariance[1, 1])
    assert abs(fit.scale - 0.05) < 3 * u
    assert abs(fit.location - 0.3) < 3 * math.sqrt(fit.covariance[0, 0])
    dropped = fit_gumbel(x[x >= cut])
    assert abs(dropped.location - 0.3) > 10 * math.sqrt(fit.covariance[0, 0])


def test_profile_interval_covers() -> None:
    """Over 200 samples of 25 maxima, the 95 % interval of the largest of 20 blocks covers it as stated.

    The interval is asymptotic: for 25 maxima 93 to 95 % is expected. 200 trials have a standard error of
    1.7 %; three of them below 93 % and above 95 % are allowed.
    """
    t = 1.0 / 20.0
    truth = 0.3 + 0.05 * math.log(20)
    hits = []
    for seed in range(200):
        low, high = fit_gumbel(gumbel(25, seed)).interval(t)
        hits.append(low <= truth <= high)
    assert 0.879 < np.mean(hits) < 0.999


def test_interval_leans_upwards_and_narrows() -> None:
    """The interval is longer upwards than downwards, and four times the blocks halve it roughly."""
    few, many = fit_gumbel(gumbel(25)), fit_gumbel(gumbel(400))
    t = return_period(100)
    (low, high), (low_many, high_many) = few.interval(t), many.interval(t)
    assert high - few.at(t) > few.at(t) - low
    assert 2.5 < (high - low) / (high_many - low_many) < 6.5
    assert few.interval(t, 0.5)[1] < high


def test_anderson_darling() -> None:
    """A2 is SciPy's, and a sample from a square distribution is rejected."""
    x = gumbel(50)
    fit = fit_gumbel(x)
    law = stats.gumbel_r(fit.location, fit.scale)
    s = np.sort(x)
    i = np.arange(1, 51)
    a2 = -50 - np.mean((2 * i - 1) * (law.logcdf(s) + law.logsf(s[::-1])))
    found = goodness_of(fit)
    assert found.anderson_darling == pytest.approx(a2 * (1 + 0.2 / math.sqrt(50)))
    assert found.doubtful is False
    assert goodness_of(fit_gumbel(np.linspace(0, 1, 100) ** 0.3)).doubtful is True


def test_goodness_is_not_claimed_where_it_has_no_test() -> None:
    """Few maxima with bounds among them: no statistic has a table, and the answer is None, not good."""
    sample = Sample.of([*gumbel(12), 0.2], [EXACT] * 12 + [AT_MOST])
    found = goodness_of(fit_gumbel(sample))
    assert found.anderson_darling is None
    assert found.gev_better is None
    assert found.doubtful is None
    assert 0.8 < found.straightness <= 1.0
    with pytest.raises(MetrologyError, match="Gumbel"):
        goodness_of(fit_gev(gumbel(40)))


def test_a_return_period_of_one_block_is_refused() -> None:
    """Every block exceeds the level of a return period of one: it is nowhere."""
    with pytest.raises(MetrologyError, match="not above 1"):
        return_period(1.0)
