"""The figures of a planned blend as the bench reads them."""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.blend import PlannedBlend
from corrosion.report.bench_numbers import at_least_text, target_and_stop
from corrosion.terms import MeasuredFrom
from corrosion.units import LengthUnit


@dataclass(frozen=True)
class Figures:
    """Texts in the display unit.

    Attributes
    ----------
    target : str
        Planned depth.
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
    """Round a blend's figures; see `corrosion.report.bench_numbers`."""
    target, stop = target_and_stop(blend.depth, blend.stop_depth, unit)
    left, low, right, high = blend.footprint.bounds
    coarse = 2 if unit == "in" else 1
    along, across = (at_least_text(extent, unit, coarse) for extent in (right - left, high - low))
    original = blend.removal.measured_from is MeasuredFrom.ORIGINAL
    return Figures(
        target=f"{target} {unit}",
        stop=f"{stop} {unit}" if stop else "",
        run_out=f"{at_least_text(blend.run_out.side * blend.depth, unit, coarse)} {unit}",
        footprint=f"{along} {unit} along station by {across} {unit} along offset",
        measured="below the original surface" if original else "below the surface as it is now",
    )
