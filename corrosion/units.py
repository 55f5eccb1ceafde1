"""Units at the edge, millimetres inside; stations with plug suffixes.

The international inch is exactly 25.4 mm (NIST SP 811, 2008, Appendix B.8); a mil is 0.001 in.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from corrosion.errors import UnitsError

LengthUnit = Literal["mm", "in"]

MM_PER_INCH = 25.4
MM_PER_MIL = MM_PER_INCH / 1000.0

# The trade reads thickness to a tenth of a mil; design.md section 2.
DECIMALS: dict[LengthUnit, int] = {"mm": 3, "in": 4}

_STATION = re.compile(
    r"^\s*(?P<base>[+-]?\d+(?:\.\d+)?)(?P<plug>[A-Z]{0,2})(?:\s*(?P<offset>[+-]\s*\d+(?:\.\d+)?))?\s*$"
)


def mm_per(unit: LengthUnit) -> float:
    """Millimetres in one `unit`.

    Raises
    ------
    UnitsError
        If `unit` is neither ``mm`` nor ``in``.
    """
    if unit == "mm":
        return 1.0
    if unit == "in":
        return MM_PER_INCH
    raise UnitsError(f"unit {unit!r} is not known.", remedy="Use 'mm' or 'in'.")


def show_length(value_mm: float, unit: LengthUnit, *, decimals: int | None = None) -> str:
    """Write a length for a reader: ``0.0031 in`` or ``0.079 mm``."""
    places = DECIMALS[unit] if decimals is None else decimals
    return f"{value_mm / mm_per(unit):.{places}f} {unit}"


def show_area(value_mm2: float, unit: LengthUnit) -> str:
    """Write an area for a reader: three significant digits in the display unit."""
    return f"{value_mm2 / mm_per(unit) ** 2:.3g} {unit}2"


@dataclass(frozen=True)
class Station:
    """A station as written and as a number.

    Attributes
    ----------
    text : str
        What the drawing or the user wrote, kept for ever.
    number : float
        Base plus offset, in the unit of the text. ``340B+10.25`` gives 350.25: within a plug two
        stations may share a number, so the text (or `plug`) tells them apart.
    plug : str
        Plug suffix, ``""`` if none.
    """

    text: str
    number: float
    plug: str = ""


def parse_station(value: float | str) -> Station:
    """Read a station: a number, or text such as ``-12.5`` or ``340B+10.25``.

    Raises
    ------
    UnitsError
        If the text is not a station or the number is not finite.
    """
    if isinstance(value, (int, float)):
        if not math.isfinite(value):
            raise UnitsError(f"station {value!r} is not a finite number.")
        return Station(text=f"{value:g}", number=float(value))
    match = _STATION.match(value)
    if match is None:
        raise UnitsError(
            f"station {value!r} cannot be read.",
            remedy="Write a number, or number, plug letter and offset such as '340B+10.25'.",
        )
    offset = float(match["offset"].replace(" ", "")) if match["offset"] else 0.0
    return Station(text=value.strip(), number=float(match["base"]) + offset, plug=match["plug"])
