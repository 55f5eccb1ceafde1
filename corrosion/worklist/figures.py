"""The figures of a planned blend as the bench reads them: rounded so that no rounding grinds deeper."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, ROUND_UP, Decimal

from corrosion.blend import PlannedBlend
from corrosion.terms import MeasuredFrom
from corrosion.units import DECIMALS, LengthUnit, mm_per

_MORE_DECIMALS = 2


@dataclass(frozen=True)
class Figures:
    """Texts in the display unit.

    Attributes
    ----------
    target : str
        Planned depth, to the nearest.
    stop : str
        Depth at which to stop, rounded down; empty without a limit.
    run_out : str
        Least run-out of each side, rounded up.
    footprint : str
        Extent of the outline, along station by along offset, rounded up.
    measured : str
        What the depth counts from.
    """

    target: str
    stop: str
    run_out: str
    footprint: str
    measured: str


def figures_of(blend: PlannedBlend, unit: LengthUnit) -> Figures:
    """Round a blend's figures.

    The stop depth never reads deeper than it is, and never shallower than a target it allows: where
    rounding would say otherwise both get more decimals.
    """
    places = _places(blend, unit)
    left, low, right, high = blend.footprint.bounds
    coarse = 2 if unit == "in" else 1
    along, across = (_text(v, unit, coarse, ROUND_UP) for v in (right - left, high - low))
    original = blend.removal.measured_from is MeasuredFrom.ORIGINAL
    return Figures(
        target=_text(blend.depth, unit, places, ROUND_HALF_EVEN),
        stop="" if blend.stop_depth is None else _text(blend.stop_depth, unit, places, ROUND_FLOOR),
        run_out=_text(blend.run_out.side * blend.depth, unit, coarse, ROUND_UP),
        footprint=f"{along} along station by {across} along offset",
        measured="below the original surface" if original else "below the surface as it is now",
    )


def _places(blend: PlannedBlend, unit: LengthUnit) -> int:
    first = DECIMALS[unit]
    stop = blend.stop_depth
    if stop is None or stop < blend.depth:
        return first
    for places in range(first, first + _MORE_DECIMALS):
        if _rounded(stop, unit, places, ROUND_FLOOR) >= _rounded(
            blend.depth, unit, places, ROUND_HALF_EVEN
        ):
            return places
    return first + _MORE_DECIMALS


def _rounded(value_mm: float, unit: LengthUnit, places: int, how: str) -> Decimal:
    # The nanometre is far below any gauge, and keeps binary fractions from turning 0.1 into 0.0999...
    exact = Decimal(repr(round(value_mm, 6))) / Decimal(repr(mm_per(unit)))
    return exact.quantize(Decimal(1).scaleb(-places), rounding=how)


def _text(value_mm: float, unit: LengthUnit, places: int, how: str) -> str:
    return f"{_rounded(value_mm, unit, places, how)} {unit}"
