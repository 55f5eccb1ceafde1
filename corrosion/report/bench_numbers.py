"""Figures that people grind by: rounded so that no rounding takes off more metal."""

from __future__ import annotations

from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, ROUND_UP, Decimal

from corrosion.units import DECIMALS, LengthUnit, mm_per

_MORE_DECIMALS = 2


def target_and_stop(target_mm: float, stop_mm: float | None, unit: LengthUnit) -> tuple[str, str]:
    """Write a planned depth and the depth at which to stop, without unit.

    The stop depth is rounded down. Where it allows the target but would then read shallower, both get up
    to two more decimals.

    Returns
    -------
    target, stop : str
        `stop` is empty where there is none.
    """
    if stop_mm is None:
        return str(_rounded(target_mm, unit, DECIMALS[unit], ROUND_HALF_EVEN)), ""
    for places in range(DECIMALS[unit], DECIMALS[unit] + _MORE_DECIMALS + 1):
        target = _rounded(target_mm, unit, places, ROUND_HALF_EVEN)
        stop = _rounded(stop_mm, unit, places, ROUND_FLOOR)
        if stop >= target:
            return str(target), str(stop)
    places = DECIMALS[unit] + (_MORE_DECIMALS if stop_mm >= target_mm else 0)
    # Still apart at the last decimal: the shallower of the two is the one to grind to.
    stop = _rounded(stop_mm, unit, places, ROUND_FLOOR)
    target = _rounded(target_mm, unit, places, ROUND_HALF_EVEN)
    return str(min(target, stop) if stop_mm >= target_mm else target), str(stop)


def at_least_text(length_mm: float, unit: LengthUnit, places: int) -> str:
    """Write a length that must be kept at least, rounded up, without unit."""
    return str(_rounded(length_mm, unit, places, ROUND_UP))


def _rounded(value_mm: float, unit: LengthUnit, places: int, how: str) -> Decimal:
    # The nanometre is far below any gauge, and keeps binary fractions from turning 0.1 into 0.0999...
    exact = Decimal(repr(round(value_mm, 6))) / Decimal(repr(mm_per(unit)))
    return exact.quantize(Decimal(1).scaleb(-places), rounding=how)
