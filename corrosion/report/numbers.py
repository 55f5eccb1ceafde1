"""Rounding for readers: the uncertainty decides how many digits a value shows.

JCGM 100:2008 (GUM) 7.2.6: at most two significant digits of the uncertainty, and the value rounded to
the same place. The uncertainty is rounded up unless what is dropped is less than a tenth of its last
digit, so a shown uncertainty never understates the computed one by more than 1 %.

Thickness is the exception: the trade reads it to fixed places, 0.0001 in or 0.001 mm (design.md 2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from corrosion.quantity import Measured
from corrosion.terms import Flag
from corrosion.units import DECIMALS, LengthUnit, mm_per

SIGNIFICANT_DIGITS = 2
DROPPED_SHARE = Decimal("0.1")
MOST_DECIMALS = 9
DIGITS_WITHOUT_U = 3

_SQUARE_MM_PER_SQUARE_CM = 100.0
_GRAMS_PER_KILOGRAM = 1000.0
_PERCENT = 100.0


@dataclass(frozen=True)
class Shown:
    """A number as a reader sees it.

    Attributes
    ----------
    value : str
        Rounded value, without unit.
    expanded : str
        Rounded expanded uncertainty U (k = 2); ``""`` where the value has none, ``"?"`` where none can
        be given.
    unit : str
        Unit as written, may be empty.
    bound : str
        ``≥`` or ``≤`` where the value is only a bound.
    """

    value: str
    expanded: str
    unit: str
    bound: str = ""

    @property
    def number(self) -> str:
        """Value and uncertainty without the unit: ``0.0124 ± 0.0008``."""
        head = f"{self.bound} {self.value}" if self.bound else self.value
        return f"{head} ± {self.expanded}" if self.expanded else head

    @property
    def text(self) -> str:
        """The whole: ``0.0124 ± 0.0008 in``."""
        return f"{self.number} {self.unit}".rstrip()


def rounded_uncertainty(expanded: float, *, exponent: int | None = None) -> Decimal:
    """Round an uncertainty to two significant digits, or to the decimal place ``10**exponent``.

    Rounded up unless less than a tenth of the last digit is dropped; a positive uncertainty never
    becomes zero.

    Raises
    ------
    ValueError
        If `expanded` is negative or not finite.
    """
    if not (math.isfinite(expanded) and expanded >= 0.0):
        raise ValueError(f"uncertainty {expanded!r} is negative or not finite")
    exact = Decimal(repr(float(expanded)))
    if exact == 0:
        return Decimal(0).scaleb(exponent or 0)
    place = exact.adjusted() - SIGNIFICANT_DIGITS + 1 if exponent is None else exponent
    step = Decimal(1).scaleb(max(place, -MOST_DECIMALS))
    down = exact.quantize(step, rounding=ROUND_FLOOR)
    if down > 0 and exact - down < DROPPED_SHARE * step:
        return down
    up = exact.quantize(step, rounding=ROUND_CEILING)
    # 0.0996 becomes 0.10, not 0.100: the carry brought a third digit.
    carried = exponent is None and up.adjusted() > exact.adjusted() and place > -MOST_DECIMALS
    return up.quantize(step.scaleb(1)) if carried else up


def rounded(value: float, expanded: float) -> tuple[str, str]:
    """Round a value and its uncertainty together (JCGM 100:2008, 7.2.6).

    Returns
    -------
    tuple of str
        Value and uncertainty, to the same decimal place. A NaN uncertainty gives three significant
        digits and ``"?"``; an uncertainty of zero gives the value to three significant digits and
        ``""``.
    """
    if not math.isfinite(value):
        return "not given", ""
    if math.isnan(expanded):
        return significant(value, DIGITS_WITHOUT_U), "?"
    if expanded == 0.0:
        return significant(value, DIGITS_WITHOUT_U), ""
    doubt = rounded_uncertainty(expanded)
    place = max(int(doubt.as_tuple().exponent), -MOST_DECIMALS)
    return _plain(_to_place(value, place)), _plain(doubt)


def fixed(value: float, expanded: float, decimals: int) -> tuple[str, str]:
    """Round a value and its uncertainty to fixed decimals; see `rounded` for the special cases."""
    if not math.isfinite(value):
        return "not given", ""
    shown = _plain(_to_place(value, -decimals))
    if math.isnan(expanded):
        return shown, "?"
    if expanded == 0.0:
        return shown, ""
    return shown, _plain(rounded_uncertainty(expanded, exponent=-decimals))


def significant(value: float, digits: int) -> str:
    """Write a number with at least `digits` significant digits, never in powers of ten.

    Digits before the decimal point are all kept: 12345 stays 12345.
    """
    exact = Decimal(repr(float(value)))
    if exact == 0:
        return "0"
    place = min(exact.adjusted() - digits + 1, 0)
    return _plain(_to_place(value, max(place, -MOST_DECIMALS)))


def _to_place(value: float, exponent: int) -> Decimal:
    step = Decimal(1).scaleb(exponent)
    placed = Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_EVEN)
    return abs(placed) if placed == 0 else placed


def _plain(number: Decimal) -> str:
    return format(number, "f")


def length_text(value_mm: float | None, unit: LengthUnit) -> str:
    """Write a thickness without its uncertainty: four decimals in inches, three in mm; no unit."""
    if value_mm is None or not math.isfinite(value_mm):
        return "-"
    return fixed(value_mm / mm_per(unit), 0.0, DECIMALS[unit])[0]


def place_text(value_mm: float, unit: LengthUnit) -> str:
    """Write a station or offset: two decimals in inches, one in mm, both finer than chalk; no unit."""
    return fixed(value_mm / mm_per(unit), 0.0, 2 if unit == "in" else 1)[0]


def percent_text(share: float | None) -> str:
    """Write a share as a percentage, with one decimal below ten percent."""
    if share is None or not math.isfinite(share):
        return "-"
    percent = _PERCENT * share
    return f"{percent:.1f} %" if abs(percent) < 10.0 else f"{percent:.0f} %"


def chance_text(probability: float | None) -> str:
    """Write a probability; what is not certain never reads as 0 % or 100 %."""
    if probability is None or not math.isfinite(probability):
        return "-"
    if 0.0 < probability < 0.001:
        return "< 0.1 %"
    if 0.999 < probability < 1.0:
        return "> 99.9 %"
    return f"{_PERCENT * probability:.1f} %"


def shown(measured: Measured, unit: LengthUnit, *, thickness: bool = False) -> Shown:
    """Round a measured value for a reader, in the display unit.

    Parameters
    ----------
    measured : Measured
        In ``mm``, ``mm2``, ``mm3``, ``kg``, ``1`` or ``1/mm2``.
    unit : str
        Display unit of lengths; areas and volumes follow.
    thickness : bool
        Show a length to fixed places, as the trade reads depths and thicknesses.

    Returns
    -------
    Shown
    """
    factor, name = _display(measured.unit, unit)
    value, expanded = measured.value * factor, measured.expanded * factor
    if thickness and measured.unit == "mm":
        text, doubt = fixed(value, expanded, DECIMALS[unit])
    else:
        text, doubt = rounded(value, expanded)
    return Shown(text, doubt, name, bound_of(measured.flags))


def bound_of(flags: frozenset[Flag]) -> str:
    """Sign of a value that is only a bound; empty where it is a value, or a mixture of both bounds."""
    lower, upper = Flag.LOWER_BOUND in flags, Flag.UPPER_BOUND in flags
    if lower == upper:
        return ""
    return "≥" if lower else "≤"


def _display(stored: str, unit: LengthUnit) -> tuple[float, str]:
    """Factor from the stored unit to the shown one, and how the shown one is written."""
    per = mm_per(unit)
    known: dict[str, tuple[float, str]] = {
        "mm": (1.0 / per, unit),
        "mm2": (1.0 / per**2, f"{unit}²"),
        "mm3": (1.0 / per**3, f"{unit}³"),
        "kg": (_GRAMS_PER_KILOGRAM, "g"),
        "1": (1.0, ""),
        "1/mm2": (per**2, "/in²") if unit == "in" else (_SQUARE_MM_PER_SQUARE_CM, "/cm²"),
    }
    return known.get(stored, (1.0, stored))
