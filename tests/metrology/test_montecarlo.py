"""Monte Carlo propagation: intervals, tolerances and the switch from first order."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.montecarlo import (
    Drawn,
    numerical_tolerance,
    propagate,
    shortest_interval,
    symmetric_interval,
)


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [
        (0.35, 1, 0.05),
        (0.35, 2, 0.005),
        (10.1, 2, 0.5),
        (10.1, 3, 0.05),
        (0.0999, 2, 0.005),
        (2.0, 2, 0.05),
    ],
)
def test_numerical_tolerance(u: float, digits: int, tolerance: float) -> None:
    """The tolerance is half a unit of the last digit of u (JCGM 101:2008, 7.9.2, from memory)."""
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance)


def test_no_doubt_has_no_tolerance() -> None:
    """A constant stands still at once; its tolerance is nought."""
    assert numerical_tolerance(0.0) == 0.0


def test_intervals_of_a_skewed_distribution() -> None:
    """Of an exponential, the shortest 95 % is [0, ln 20], the symmetric one [-ln 0.975, -ln 0.025].

    Closed form; bounds 4 standard errors of the quantiles, sqrt(p (1 - p) / M) / f.
    """
    m = 400_000
    found = propagate(lambda x: x, {"x": lambda rng, n: rng.exponential(1.0, n)}, count=m, seed=3)
    wide = 4 * (0.025 * 0.975 / m) ** 0.5 / 0.025
    assert found.symmetric == pytest.approx((-np.log(0.975), -np.log(0.025)), abs=wide)
    assert found.shortest[0] == pytest.approx(0.0, abs=0.01)
    assert found.shortest[1] == pytest.approx(np.log(20.0), abs=0.03)


@given(st.lists(st.floats(-1e6, 1e6), min_size=40, max_size=200))
def test_intervals_hold_the_share_they_say(values: list[float]) -> None:
    """Both intervals hold at least 95 % of the draws, and none is shorter than the shortest."""
    ordered = np.sort(np.array(values))
    short, even = shortest_interval(ordered), symmetric_interval(ordered)
    for low, high in (short, even):
        assert np.mean((ordered >= low) & (ordered <= high)) >= 0.95
    assert short[1] - short[0] <= even[1] - even[0]


def test_a_summary_keeps_seed_and_number() -> None:
    """What a reader needs to repeat a run stands in its result."""
    found = Drawn.of(np.arange(100.0), seed=7)
    assert (found.draws, found.seed, found.coverage, found.settled) == (100, 7, 0.95, True)
