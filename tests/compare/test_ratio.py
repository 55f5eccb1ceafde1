"""Fieller's theorem, against closed forms, a root finder and random draws that share no code with it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from corrosion.compare.ratio import SetKind, critical, fieller

Z = 1.959963984540054
"""Two-sided 5 % point of the normal distribution (standard tables)."""


def test_critical_value_is_the_tables() -> None:
    """5 % two-sided is 1.960, 1 % is 2.576 (standard normal tables)."""
    assert critical(0.05) == pytest.approx(1.960, abs=5e-4)
    assert critical(0.01) == pytest.approx(2.576, abs=5e-4)
    with pytest.raises(ValueError, match="not between"):
        critical(1.0)


def test_a_known_denominator_gives_the_plain_interval() -> None:
    """With an exact denominator b the set is (a +- z u_a) / b: closed form."""
    found = fieller(6.0, 3.0, (0.25, 0.0), 0.0)
    assert found.kind is SetKind.BETWEEN
    assert found.low == pytest.approx((6.0 - Z * 0.5) / 3.0)
    assert found.high == pytest.approx((6.0 + Z * 0.5) / 3.0)


def test_a_known_numerator_inverts_the_denominator() -> None:
    """With an exact numerator a the set is a / (b +- z u_b), unequal on both sides: closed form."""
    found = fieller(2.0, 5.0, (0.0, 1.0), 0.0)
    assert (found.low, found.high) == pytest.approx((2.0 / (5.0 + Z), 2.0 / (5.0 - Z)))


def test_a_denominator_that_may_be_zero_leaves_the_set_open() -> None:
    """2 +- 1.96 x 1.5 spans zero: the set of 10 / b is all but an interval, by the same closed form."""
    found = fieller(10.0, 2.0, (0.0, 2.25), 0.0)
    assert found.kind is SetKind.OUTSIDE
    assert found.high == pytest.approx(10.0 / (2.0 + Z * 1.5))
    assert found.low == pytest.approx(10.0 / (2.0 - Z * 1.5))
    assert fieller(0.0, 0.0, (1.0, 1.0), 0.0).kind is SetKind.EVERYTHING


sizes = st.floats(0.05, 2.0)


@given(a=st.floats(-5, 5), b=st.floats(-5, 5), u_a=sizes, u_b=sizes, r=st.floats(-0.9, 0.9))
def test_every_end_is_where_the_test_just_accepts(
    a: float, b: float, u_a: float, u_b: float, r: float
) -> None:
    """At each end |a - r b| is exactly z standard deviations: the definition, found by a root finder."""
    c = r * u_a * u_b
    found = fieller(a, b, (u_a**2, u_b**2), c)

    def excess(x: float) -> float:
        return (a - x * b) ** 2 - Z**2 * (u_a**2 - 2.0 * x * c + x**2 * u_b**2)

    if found.kind is SetKind.EVERYTHING:
        assert max(excess(x) for x in np.linspace(-50, 50, 201)) <= 1e-9
        return
    assume(found.high - found.low > 1e-3)
    assume(max(abs(found.low), abs(found.high)) < 1e4)
    for end in (found.low, found.high):
        step = 1e-4 * (1.0 + abs(end))
        assume(excess(end - step) * excess(end + step) < 0.0)
        assert brentq(excess, end - step, end + step) == pytest.approx(end, rel=1e-6, abs=1e-6)
    middle = 0.5 * (found.low + found.high)
    assert (excess(middle) < 0.0) == (found.kind is SetKind.BETWEEN)


def test_it_covers_the_true_ratio_as_often_as_it_says() -> None:
    """Of 20 000 correlated draws round 0.3 / 0.1, 95 % of the sets hold 3; 0.6 % is four of the count's u.

    u = sqrt(0.95 x 0.05 / 20 000) = 0.15 % (binomial distribution).
    """
    rng = np.random.default_rng(5)
    cov = np.array([[0.02**2, -0.5 * 0.02 * 0.03], [-0.5 * 0.02 * 0.03, 0.03**2]])
    draws = rng.multivariate_normal([0.3, 0.1], cov, size=20_000)
    holds = 0
    for a, b in draws:
        found = fieller(float(a), float(b), (cov[0, 0], cov[1, 1]), cov[0, 1])
        inside = found.low <= 3.0 <= found.high
        holds += {SetKind.BETWEEN: inside, SetKind.OUTSIDE: not found.low < 3.0 < found.high}.get(
            found.kind, True
        )
    assert holds / len(draws) == pytest.approx(0.95, abs=0.006)
    assert math.isclose(cov[0, 1], -0.0003)
