"""Rounding for readers."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.quantity import Measured
from corrosion.report.numbers import (
    bound_of,
    chance_text,
    fixed,
    length_text,
    percent_text,
    place_text,
    rounded,
    rounded_uncertainty,
    shown,
    significant,
)
from corrosion.terms import Flag


@pytest.mark.parametrize(
    ("value", "expanded", "expected"),
    [
        # JCGM 100:2008, 7.2.6; its digits are from memory.
        (10.05762, 0.027, ("10.058", "0.027")),
        # Worked by hand from the rule of 7.2.6.
        (0.31, 0.0204, ("0.310", "0.021")),
        (8.31, 0.4651, ("8.31", "0.47")),
        (1234.0, 560.0, ("1230", "560")),
        (1236.0, 5600.0, ("1200", "5600")),
        (-0.0449, 0.0122, ("-0.045", "0.013")),
        (-0.0001, 0.1, ("0.00", "0.10")),
        (5.0, 0.0996, ("5.00", "0.10")),
    ],
)
def test_gum_pairs(value: float, expanded: float, expected: tuple[str, str]) -> None:
    """A value is rounded to the place of its uncertainty's second significant digit."""
    assert rounded(value, expanded) == expected


@pytest.mark.parametrize(
    ("expanded", "expected"),
    # JCGM 100:2008, 7.2.6: 10.47 may be rounded up to 11, 28.05 should be rounded down to 28 (from memory).
    [(10.47, "11"), (28.05, "28")],
)
def test_gum_uncertainty(expanded: float, expected: str) -> None:
    """An uncertainty is rounded up, except where next to nothing is dropped."""
    assert str(rounded_uncertainty(expanded)) == expected


@given(st.floats(-1e4, 1e4), st.floats(1e-5, 1e4))
def test_rounding_is_honest(value: float, expanded: float) -> None:
    """The shown uncertainty is never more than 1 % too small nor a digit too large; places agree."""
    text, doubt = rounded(value, expanded)
    shown_u = Decimal(doubt)
    assert float(shown_u) >= 0.99 * expanded
    assert float(shown_u) <= 1.1 * expanded
    assert text.partition(".")[2].__len__() == doubt.partition(".")[2].__len__()
    step = 10.0 ** (Decimal(repr(expanded)).adjusted() - 1)
    assert abs(float(text) - value) <= 5.0001 * step, "a carry may cost one more digit, never two"
    assert "E" not in text + doubt


@given(st.floats(0.0, 10.0), st.floats(0.0, 1.0, exclude_min=True))
def test_fixed_never_hides_doubt(value: float, expanded: float) -> None:
    """At fixed places an uncertainty above nothing never shows as zero, nor more than a step too large."""
    text, doubt = fixed(value, expanded, 4)
    assert 0.0 < float(doubt) <= expanded + 1.0001e-4
    assert float(doubt) >= expanded - 1.0001e-5
    assert abs(float(text) - value) <= 0.50001e-4


def test_missing_uncertainty_is_said() -> None:
    """A value without an honest uncertainty shows a question mark, an exact one shows none."""
    assert rounded(400.123, math.nan) == ("400", "?")
    assert rounded(7.0, 0.0) == ("7.00", "")
    assert fixed(0.31, math.nan, 3) == ("0.310", "?")
    assert rounded(math.nan, 0.1)[0] == "not given"


@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_impossible_uncertainty(bad: float) -> None:
    """An uncertainty that cannot be is refused, not rounded."""
    with pytest.raises(ValueError, match="uncertainty"):
        rounded_uncertainty(bad)


def test_depth_in_inches() -> None:
    """Thickness shows four decimals in inches and three in millimetres (common practice, no source)."""
    depth = Measured(0.31, "mm", {"gauge": np.array([0.003])}, {"reading": 0.004})
    assert shown(depth, "mm", thickness=True).text == "0.310 ± 0.010 mm"
    assert shown(depth, "in", thickness=True).text == "0.0122 ± 0.0004 in"


@pytest.mark.parametrize(
    ("unit", "stored", "value", "expected"),
    [
        # The inch is 25.4 mm exactly (NIST SP 811, 2008, B.8): 645.16 mm2, 16387.064 mm3.
        ("in", "mm2", 645.16, "1.00 in²"),
        ("in", "mm3", 16387.064, "1.00 in³"),
        ("mm", "mm2", 645.16, "645 mm²"),
        ("in", "1/mm2", 0.01, "6.45 /in²"),
        ("mm", "1/mm2", 0.01, "1.00 /cm²"),
        ("mm", "kg", 0.00042, "0.420 g"),
        ("mm", "1", 0.25, "0.250"),
    ],
)
def test_display_units(unit: str, stored: str, value: float, expected: str) -> None:
    """Areas, volumes, densities and masses follow the display unit."""
    assert shown(Measured(value, stored), "in" if unit == "in" else "mm").text == expected


def test_bounds_are_bounds() -> None:
    """A lower bound reads as one; opposite bounds in one sum are neither."""
    assert shown(Measured(0.3, "mm", flags=frozenset({Flag.LOWER_BOUND})), "mm").text == "≥ 0.300 mm"
    assert bound_of(frozenset({Flag.UPPER_BOUND})) == "≤"
    assert bound_of(frozenset({Flag.UPPER_BOUND, Flag.LOWER_BOUND})) == ""


def test_plain_numbers() -> None:
    """Plain lengths, places, shares and probabilities show sensible digits, and a dash where missing."""
    assert length_text(25.4, "in") == "1.0000"
    assert length_text(None, "mm") == length_text(math.nan, "mm") == percent_text(None) == "-"
    assert place_text(412.04, "mm") == "412.0"
    assert percent_text(0.018) == "1.8 %"
    assert percent_text(0.67) == "67 %"
    assert significant(12345.6, 3) == "12346"


def test_near_certainty_is_not_certainty() -> None:
    """A probability that is not 0 or 1 never reads as 0 % or 100 %."""
    assert chance_text(0.99999) == "> 99.9 %"
    assert chance_text(0.00001) == "< 0.1 %"
    assert chance_text(1.0) == "100.0 %"
    assert chance_text(None) == "-"
