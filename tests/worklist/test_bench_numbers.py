"""No rounding makes anyone grind deeper than was computed."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.report.bench_numbers import at_least_text, target_and_stop

MM_PER_INCH = Decimal("25.4")  # exact by definition: NIST SP 811 (2008), B.6
DEPTHS = st.floats(0.001, 5.0)
UNITS = st.sampled_from(["mm", "in"])
ROUNDED_TO_MM = Decimal("0.0000005")  # the code works on whole nanometres


def in_mm(text: str, unit: str) -> Decimal:
    """Turn what is printed back into mm."""
    return Decimal(text) * (MM_PER_INCH if unit == "in" else 1)


@given(target=DEPTHS, stop=DEPTHS, unit=UNITS)
def test_a_printed_stop_is_never_deeper(target: float, stop: float, unit: Literal["mm", "in"]) -> None:
    """Whatever the figures, the printed stop depth does not exceed the computed one."""
    printed = target_and_stop(target, stop, unit)[1]
    assert in_mm(printed, unit) <= Decimal(stop) + ROUNDED_TO_MM


@given(target=DEPTHS, more=st.floats(0.0, 1.0), unit=UNITS)
def test_an_allowed_target_stays_allowed_in_print(
    target: float, more: float, unit: Literal["mm", "in"]
) -> None:
    """Where the stop depth allows the target, the card never prints a target beyond its stop."""
    shown, stop = target_and_stop(target, target + more, unit)
    assert Decimal(shown) <= Decimal(stop)


@given(length=DEPTHS, unit=UNITS)
def test_a_printed_least_length_is_never_shorter(length: float, unit: Literal["mm", "in"]) -> None:
    """A run-out to keep at least is printed no shorter than computed."""
    assert in_mm(at_least_text(length, unit, 2), unit) >= Decimal(length) - ROUNDED_TO_MM


@pytest.mark.parametrize(
    ("target", "stop", "unit", "printed"),
    [
        (0.05, 0.1, "mm", ("0.050", "0.100")),
        # 0.06297 mm = 0.0024791 in: the nearest would be 0.0025, which is deeper.
        (0.15, 0.06297, "in", ("0.0059", "0.0024")),
        # 0.0032913 in and 0.0032953 in: at four decimals 0.0033 beyond 0.0032, at five they meet.
        (0.0836, 0.0837, "in", ("0.00329", "0.00329")),
        (0.05, None, "mm", ("0.050", "")),
    ],
)
def test_by_hand(
    target: float, stop: float | None, unit: Literal["mm", "in"], printed: tuple[str, str]
) -> None:
    """Figures divided by 25.4 by hand: down for the stop, more decimals where rounding would cross."""
    assert target_and_stop(target, stop, unit) == printed
