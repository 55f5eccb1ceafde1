"""Sums over the marks of one photo, keeping what their errors share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from corrosion.measure._mapped import MappedMark, alternative_areas
from corrosion.measure._spacing import plane_geometry
from corrosion.quantity import FloatArray, Measured, exact, ratio, total
from corrosion.results import MarkMeasures
from corrosion.scale.plane import TILT
from corrosion.terms import MarkKind

_TOTAL_OF = {
    MarkKind.PIT: "pit_area",
    MarkKind.BLEND_OUT: "blend_out_area",
    MarkKind.AFFECTED: "affected_area",
}


@dataclass(frozen=True, eq=False)
class _Region:
    """What one mark adds to the union of its kind: `share` of the mark itself."""

    mark: MappedMark
    area: Measured
    shape: shapely.Geometry
    share: float = 1.0

    def within(self, ground: shapely.Geometry) -> _Region:
        """Keep the part on `ground`; its area keeps the whole mark's relative uncertainty."""
        part = shapely.intersection(self.shape, ground)
        share = part.area / self.shape.area if self.shape.area > 0 else 0.0
        return _Region(self.mark, self.area.scaled(share), part, self.share * share)


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
        region = _Region(mapped[m.mark.id], m.quantities["area"], shape)
        if shapely.intersects(shape, covered):
            region = region.within(shapely.difference(shape, covered))
        regions.append(region)
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
        inside = [r.within(ground) for r in regions[MarkKind.PIT]]
        totals["affected_share"] = _share(inside, regions[MarkKind.AFFECTED])
    return totals


def _share(part: Sequence[_Region], whole: Sequence[_Region]) -> Measured:
    """Area of `part` over area of `whole`; what a tilt does to each need not cancel, so it is redone."""
    share = ratio(total([r.area for r in part], "mm2"), total([r.area for r in whole], "mm2"))
    part_supposed, whole_supposed = _supposed(part), _supposed(whole)
    if part_supposed is None or whole_supposed is None:
        return share
    departure = float(np.abs(part_supposed / whole_supposed - share.value).max())
    tilt = whole[0].mark.scale.source(TILT)
    return replace(share, shared={**share.shared, tilt: np.array([departure / math.sqrt(3.0)])})


def _supposed(regions: Sequence[_Region]) -> FloatArray | None:
    areas = [(r.share, alternative_areas(r.mark)) for r in regions]
    supposed = [share * area for share, area in areas if area is not None]
    return np.asarray(np.sum(supposed, axis=0), dtype=np.float64) if supposed else None


def _representative(mark: MappedMark) -> shapely.Geometry:
    return shapely.point_on_surface(plane_geometry(mark))
