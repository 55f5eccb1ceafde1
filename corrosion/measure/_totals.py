"""Sums over the marks of one photo, keeping what their errors share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from corrosion.measure._mapped import MappedMark
from corrosion.measure._spacing import plane_geometry
from corrosion.quantity import Measured, exact, ratio, total
from corrosion.results import MarkMeasures
from corrosion.terms import MarkKind

_TOTAL_OF = {
    MarkKind.PIT: "pit_area",
    MarkKind.BLEND_OUT: "blend_out_area",
    MarkKind.AFFECTED: "affected_area",
}


@dataclass(frozen=True, eq=False)
class _Region:
    area: Measured
    shape: shapely.Geometry


def photo_totals(marks: Sequence[MarkMeasures], mapped: dict[str, MappedMark]) -> dict[str, Measured]:
    """Sum the marks of a photo by kind.

    A sum is left out where a mark of its kind has no area (a point, a line, or a failed mark): a total
    that is silently short is worse than none. Overlapping marks of one kind count where they overlap
    once only.

    Parameters
    ----------
    marks : sequence of MarkMeasures
    mapped : dict of mark id to MappedMark
        Of the marks that could be mapped.

    Returns
    -------
    dict of str to Measured
        ``pit_area``, ``blend_out_area``, ``affected_area`` (mm2), ``pit_count``, ``pit_density``
        (1/mm2), ``affected_share``.
    """
    totals: dict[str, Measured] = {}
    regions: dict[MarkKind, list[_Region]] = {}
    for kind, name in _TOTAL_OF.items():
        of_kind = [m for m in marks if m.mark.kind is kind]
        if of_kind and all("area" in m.quantities for m in of_kind):
            regions[kind] = _disjoint(of_kind, mapped)
            totals[name] = total([r.area for r in regions[kind]], "mm2")
    pits = [m for m in marks if m.mark.kind is MarkKind.PIT]
    if pits:
        totals["pit_count"] = exact(float(len(pits)), "1")
    return totals | _on_affected(totals.get("affected_area"), regions, pits, mapped)


def _disjoint(marks: Sequence[MarkMeasures], mapped: dict[str, MappedMark]) -> list[_Region]:
    """Take from each region what an earlier one of its kind covers already."""
    regions: list[_Region] = []
    covered: shapely.Geometry = shapely.Polygon()
    for m in marks:
        shape = plane_geometry(mapped[m.mark.id])
        area = m.quantities["area"]
        if shapely.intersects(shape, covered):
            left = shapely.difference(shape, covered)
            regions.append(_Region(area.scaled(left.area / shape.area), left))
        else:
            regions.append(_Region(area, shape))
        covered = shapely.union(covered, shape)
    return regions


def _on_affected(
    affected: Measured | None,
    regions: dict[MarkKind, list[_Region]],
    pits: Sequence[MarkMeasures],
    mapped: dict[str, MappedMark],
) -> dict[str, Measured]:
    """Pits per affected area, and the share of it they take; pits outside it do not count."""
    if affected is None or affected.value <= 0 or any(m.mark.id not in mapped for m in pits):
        return {}
    ground = shapely.union_all([r.shape for r in regions[MarkKind.AFFECTED]])
    within = [m for m in pits if shapely.intersects(ground, _representative(mapped[m.mark.id]))]
    totals = {}
    if pits:
        count = len(within)
        density = count / affected.value
        totals["pit_density"] = affected.scaled(-density / affected.value, value=density, unit="1/mm2")
    if MarkKind.PIT in regions:
        inside = [
            r.area.scaled(shapely.intersection(r.shape, ground).area / r.shape.area)
            for r in regions[MarkKind.PIT]
            if r.shape.area > 0
        ]
        totals["affected_share"] = ratio(total(inside, "mm2"), affected)
    return totals


def _representative(mark: MappedMark) -> shapely.Geometry:
    return shapely.point_on_surface(plane_geometry(mark))
