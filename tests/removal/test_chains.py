"""The removal algebra: order, faces, original and current, and how sure a sum is."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from corrosion.removal.chains import Cover, EntryTable, chain_masks, exceedance, sum_removals

OUTER, INNER = False, True


def table(
    depths: list[float],
    *,
    inner: list[bool] | None = None,
    original: list[bool] | None = None,
    u: list[float] | None = None,
    systematic: list[float] | None = None,
    gauge: list[int] | None = None,
) -> EntryTable:
    n = len(depths)
    return EntryTable(
        depth=np.array(depths, dtype=float),
        u=np.array(u or [0.0] * n),
        u_systematic=np.array(systematic or [0.0] * n),
        instrument=np.array(gauge or [-1] * n),
        inner=np.array(inner or [False] * n),
        from_original=np.array(original or [False] * n),
    )


def everywhere(n: int, weights: list[float] | None = None) -> Cover:
    w = np.array(weights or [1.0] * n)
    return Cover(np.zeros(n, dtype=np.int64), np.arange(n), w, w)


def one(
    entries: EntryTable, limit: float = math.nan, cover: Cover | None = None
) -> tuple[float, float, float]:
    n = len(entries.depth)
    sums = sum_removals(entries, cover or everywhere(n), 1, np.array([limit]), np.zeros(1))
    return float(sums.total[0]), float(sums.u[0]), float(sums.probability[0])


@pytest.mark.parametrize(
    ("inner", "original", "expected"),
    [
        ([OUTER, OUTER], [True, True], 0.08),
        ([OUTER, OUTER], [True, False], 0.13),
        ([OUTER, INNER], [True, True], 0.13),
        ([OUTER, INNER], [False, True], 0.13),
    ],
)
def test_earlier_rework_and_new_dish(inner: list[bool], original: list[bool], expected: float) -> None:
    """Rework of 0.05 and a dish of 0.08: replaced, added or summed over faces as it was measured."""
    total, _, _ = one(table([0.05, 0.08], inner=inner, original=original))
    assert total == pytest.approx(expected, abs=1e-15)


def test_order_matters_for_original_after_current() -> None:
    """A depth from the original contour read after an added one already holds it."""
    current_then_original = table([0.05, 0.08], original=[False, True])
    original_then_current = table([0.08, 0.05], original=[True, False])
    assert one(current_then_original)[0] == pytest.approx(0.08)
    assert one(original_then_current)[0] == pytest.approx(0.13)


entry = st.tuples(
    st.floats(0.0, 1.0), st.booleans(), st.booleans(), st.floats(0.0, 0.1), st.floats(0.0, 1.0)
)


def by_hand(entries: list[tuple[float, bool, bool, float, float]]) -> float:
    face = {OUTER: 0.0, INNER: 0.0}
    for depth, inner, original, _, weight in entries:
        here = depth * weight
        face[inner] = max(face[inner], here) if original else face[inner] + here
    return face[OUTER] + face[INNER]


def as_table(entries: list[tuple[float, bool, bool, float, float]]) -> tuple[EntryTable, Cover]:
    d, inner, original, u, w = (list(column) for column in zip(*entries, strict=True))
    return table(d, inner=inner, original=original, u=u), everywhere(len(d), w)


@given(st.lists(entry, min_size=1, max_size=8))
def test_chains_equal_the_plain_rule(entries: list[tuple[float, bool, bool, float, float]]) -> None:
    """The largest chain is what applying the entries one by one gives."""
    entries_table, cover = as_table(entries)
    total, _, _ = one(entries_table, cover=cover)
    assert total == pytest.approx(by_hand(entries), abs=1e-12)


@given(st.lists(entry, min_size=1, max_size=6), entry)
def test_more_removal_never_less_gone(
    entries: list[tuple[float, bool, bool, float, float]],
    extra: tuple[float, bool, bool, float, float],
) -> None:
    """Adding an entry anywhere in time never lowers the sum (metal does not grow back)."""
    before = one(as_table(entries)[0], cover=as_table(entries)[1])[0]
    for at in range(len(entries) + 1):
        longer = [*entries[:at], extra, *entries[at:]]
        assert one(as_table(longer)[0], cover=as_table(longer)[1])[0] >= before - 1e-12


@given(st.lists(entry, min_size=1, max_size=6))
def test_repeating_an_original_changes_nothing(
    entries: list[tuple[float, bool, bool, float, float]],
) -> None:
    """An `original` reading entered twice in a row counts once, in value and in probability."""
    depth, inner, _, u, weight = entries[-1]
    last = (depth, inner, True, u, weight)
    once, twice = [*entries[:-1], last], [*entries[:-1], last, last]
    first = one(as_table(once)[0], 0.5, as_table(once)[1])
    second = one(as_table(twice)[0], 0.5, as_table(twice)[1])
    assert first[0] == pytest.approx(second[0], abs=1e-12)
    assert first[2] == pytest.approx(second[2], abs=1e-12)


def test_independent_parts_add_in_quadrature() -> None:
    """Two readings that share nothing: u = sqrt(3^2 + 4^2)."""
    _, u, _ = one(table([0.1, 0.1], u=[0.003, 0.004]))
    assert u == pytest.approx(0.005, rel=1e-12)


def test_one_gauge_adds_linearly() -> None:
    """The part common to one gauge's readings adds up: 3 + 4 = 7 (JCGM 100:2008, 5.2.2, r = 1)."""
    _, u, _ = one(table([0.1, 0.1], systematic=[0.003, 0.004], gauge=[0, 0]))
    assert u == pytest.approx(0.007, rel=1e-12)


def test_two_gauges_add_in_quadrature() -> None:
    """Systematic parts of different gauges, or of none that is named, share nothing."""
    for gauge in ([0, 1], [-1, -1]):
        _, u, _ = one(table([0.1, 0.1], systematic=[0.003, 0.004], gauge=gauge))
        assert u == pytest.approx(0.005, rel=1e-12)


def test_doubtful_shallower_reading_is_not_hidden() -> None:
    """The probability of being over is the largest over the chains, not the governing one's."""
    entries = table([0.080, 0.079], original=[True, True], u=[0.001, 0.020])
    total, u, probability = one(entries, 0.1)
    assert (total, u) == (pytest.approx(0.080), pytest.approx(0.001))
    assert probability == pytest.approx(norm.sf((0.1 - 0.079) / 0.020), rel=1e-12)


@pytest.mark.parametrize(("value", "expected"), [(0.1, 0.0), (0.1 + 1e-12, 1.0), (0.09, 0.0)])
def test_sure_value_at_its_limit(value: float, expected: float) -> None:
    """Without doubt, a removal equal to the limit is within it: the limit is the most allowed."""
    got = exceedance(np.array([value]), np.zeros(1), np.array([0.1]))
    assert got[0] == expected


def test_chains_of_a_plain_case() -> None:
    """Original, current, original, current gives the two chains a person would write down."""
    masks = chain_masks(np.array([True, False, True, False]))
    assert {tuple(m) for m in masks.tolist()} == {
        (True, True, False, True),
        (False, False, True, True),
    }
