"""Where the sum after a planned blend is looked at.

A blend that meets nothing else is as deep as planned all over its floor, so one place tells all. Where it
meets other removals, limit zones or thickness steps, a grid over its footprint, the places where extremes
are likely, and two rounds of refinement round the worst place are looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry.base import BaseGeometry

from corrosion.layout import MemberLayout
from corrosion.quantity import FloatArray
from corrosion.removal import Entry
from corrosion.removal.chains import IntArray

GRID_ACROSS = 24
REFINE_ROUNDS = 2
_REFINE_ACROSS = 9
_ALONG = np.linspace(0.0, 1.0, 9)
_NUDGE = 1e-6

Score = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Places:
    """Points (n, 2) in mm, and which blend each belongs to (n,)."""

    points: FloatArray
    owner: IntArray

    def worst(self, score: FloatArray, count: int) -> IntArray:
        """Index of the point with the largest score of each of `count` blends."""
        order = np.lexsort((-score, self.owner))
        first = np.searchsorted(self.owner[order], np.arange(count))
        return np.asarray(order[first])


@dataclass(frozen=True)
class Extent:
    """One blend as far as places need it."""

    floor: BaseGeometry
    entry: Entry


def choose_places(layout: MemberLayout, blends: list[Extent], others: list[Entry], score: Score) -> Places:
    """Choose the places of all blends.

    Parameters
    ----------
    layout : MemberLayout
    blends : list of Extent
    others : list of Entry
        Everything else that removes metal, earlier entries and the blends themselves.
    score : callable
        Gives how bad each of (n, 2) points is; refinement looks round the worst.
    """
    finder = _Finder(layout, others)
    found, crowded = [], []
    for number, blend in enumerate(blends):
        points = finder.of(blend)
        crowded.append(len(points) > 1)
        found.append((points, np.full(len(points), number, dtype=np.int64)))
    places = Places(*(np.concatenate(parts) for parts in zip(*found, strict=True)))
    return _refined(places, layout, blends, np.array(crowded), score)


class _Finder:
    """Finds what a blend meets, and places worth looking at."""

    def __init__(self, layout: MemberLayout, others: list[Entry]) -> None:
        self.layout = layout
        self.others = others
        self.tree = STRtree([entry.footprint for entry in others])
        zones = [*layout.limit_zones, *layout.thickness_zones]
        self.zones: NDArray[Any] = np.array([zone.outline for zone in zones], dtype=object)

    def of(self, blend: Extent) -> FloatArray:
        """Places of one blend, (n, 2); a single one where it meets nothing."""
        footprint = blend.entry.footprint
        met = [self.others[i] for i in self.tree.query(footprint, predicate="intersects")]
        met = [entry for entry in met if entry.footprint is not footprint]
        zones = [zone for zone in self.zones if zone.intersects(footprint)]
        middle = np.array([_inside(blend.floor.intersection(self.layout.polygon), blend.entry)])
        if not met and not zones:
            return middle
        special = [middle, *self._at_zones(zones, blend), *self._at_entries(met, blend)]
        points = np.concatenate([_grid(footprint), *special])
        held = shapely.intersects_xy(footprint, points[:, 0], points[:, 1]) & self.layout.contains(points)
        return np.asarray(points[held]) if held.any() else middle

    @staticmethod
    def _at_zones(zones: list[BaseGeometry], blend: Extent) -> Iterator[FloatArray]:
        """Where a zone reaches deepest into the blend."""
        for zone in zones:
            part = zone.intersection(blend.entry.footprint)
            if part.area > 0.0:
                yield _nearest(part, blend.floor)

    @staticmethod
    def _at_entries(met: list[Entry], blend: Extent) -> Iterator[FloatArray]:
        """Take the other removal's deepest point, the way there from the floor, and where they overlap."""
        for entry in met:
            peak = shapely.Point(entry.profile.deepest)
            start, stop = np.asarray(shapely.shortest_line(blend.floor, peak).coords)
            yield start + (stop - start) * _ALONG[:, None]
            part = entry.footprint.intersection(blend.entry.footprint)
            if part.area > 0.0:
                yield _nearest(part, blend.floor)
                yield _nearest(part, peak)


def _inside(shape: BaseGeometry, entry: Entry) -> tuple[float, float]:
    """Give the deepest point where it lies on the floor's part on the member, else a point of that part."""
    if shape.is_empty or shape.intersects(shapely.Point(entry.profile.deepest)):
        return entry.profile.deepest
    point = shapely.point_on_surface(shape)
    return float(point.x), float(point.y)


def _nearest(part: BaseGeometry, target: BaseGeometry) -> FloatArray:
    """Point of `part` nearest to `target`, moved a trifle inward, and one well inside; (2, 2)."""
    edge = np.asarray(shapely.shortest_line(part, target).coords)[0]
    middle = np.asarray(shapely.point_on_surface(part).coords)[0]
    return np.array([edge + (middle - edge) * _NUDGE, middle])


def _grid(footprint: BaseGeometry) -> FloatArray:
    x0, y0, x1, y1 = footprint.bounds
    x = np.linspace(x0, x1, GRID_ACROSS + 1)
    y = np.linspace(y0, y1, GRID_ACROSS + 1)
    return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)


def _refined(
    places: Places, layout: MemberLayout, blends: list[Extent], crowded: NDArray[np.bool_], score: Score
) -> Places:
    """Add finer grids round the worst place of every blend that meets something."""
    wanted = np.flatnonzero(crowded)
    if not len(wanted):
        return places
    size = np.array([np.ptp(np.reshape(b.entry.footprint.bounds, (2, 2)), axis=0) for b in blends])
    step = size[wanted] / GRID_ACROSS
    unit = np.linspace(-1.0, 1.0, _REFINE_ACROSS)
    around = np.stack(np.meshgrid(unit, unit, indexing="ij"), axis=-1).reshape(-1, 2)
    for _ in range(REFINE_ROUNDS):
        worst = places.points[places.worst(score(places.points), len(blends))][wanted]
        points = (worst[:, None, :] + around[None] * step[:, None, :]).reshape(-1, 2)
        owner = np.repeat(wanted, len(around))
        held = layout.contains(points) & _in_own(points, owner, blends)
        places = Places(
            np.concatenate([places.points, points[held]]), np.concatenate([places.owner, owner[held]])
        )
        step = step * 2.0 / (_REFINE_ACROSS - 1)
    return places


def _in_own(points: FloatArray, owner: IntArray, blends: list[Extent]) -> NDArray[np.bool_]:
    footprints: NDArray[Any] = np.array([blend.entry.footprint for blend in blends], dtype=object)
    return np.asarray(shapely.intersects(footprints[owner], shapely.points(points)))
