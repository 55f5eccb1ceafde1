"""The shape of a planned blend: floor, run-out, footprint, and which pits share one.

The *floor* is where the full depth is taken: a pit's outline, or, where pits share a blend, their outlines
with the metal between those that meet (AC 43.13-1B, para 6-115c and Fig 6-16). The *footprint* is the
floor grown by the run-out. A straight run-out from the footprint's edge then reaches full depth no later
than at the floor's edge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from shapely import STRtree, affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.quantity import FloatArray
from corrosion.removal.chains import IntArray

_CORNERS_PER_QUARTER = 24

REACH_SLACK = 1.0 / math.cos(1.5 * math.pi / (4 * _CORNERS_PER_QUARTER)) - 1.0 + 1e-3
"""Share of the run-out by which a footprint reaches further than it must.

The chords of a grown outline run inside its arcs; without the slack the run-out would begin inside the
pit. GEOS rounds the number of chords of an arc, so that one chord can span 1.5 times the angle asked for.
The last part covers the tolerance with which `corrosion.removal` finds the room in a footprint.
"""

_FITS = 1.0 + 5e-4
"""Share of the run-out that an elongated floor keeps from the outline: the tolerance named above."""

_MOST_PAIRS = 2_000
"""Meeting pairs in one blend beyond which the hull of all its pits stands for the metal between them."""

Geometries = NDArray[Any]


@dataclass(frozen=True)
class DishRule:
    """How dishes are shaped.

    Attributes
    ----------
    side : float
        Run-out of one side divided by depth.
    gap_mm : float
        Footprints nearer than this merge; 0: those that meet.
    elongation : float
        Least length along `along` over width across it; 1 or less: as the pit is.
    along : {"station", "offset"}
        The member's main direction.
    merge : bool
        Whether footprints that meet share a blend.
    """

    side: float
    gap_mm: float = 0.0
    elongation: float = 1.0
    along: Literal["station", "offset"] = "station"
    merge: bool = True

    def footprint(self, floor: BaseGeometry, depth_mm: float) -> Polygon:
        """Outline of the blend that takes `depth_mm` over all of `floor`.

        An elongated blend is the footprint of the floor's hull, stretched along the main direction about
        the hull's centroid; a round pit's becomes an ellipse. Stretching a skew outline can bring its
        floor too near to the edge: that one is drawn out along the main direction instead.
        """
        reach = self.side * depth_mm
        if self.elongation <= 1.0:
            return _grown(floor, reach)
        hull = shapely.convex_hull(floor)
        grown = _grown(hull, reach)
        x0, y0, x1, y1 = grown.bounds
        size = np.array([x1 - x0, y1 - y0] if self.along == "station" else [y1 - y0, x1 - x0])
        length = max(float(size[0]), self.elongation * float(size[1]))
        stretch = self._along(length / size[0], 1.0)
        stretched = affinity.scale(grown, *stretch, origin=shapely.centroid(hull))
        # Inside a convex outline the distance to it is least at a corner of the hull. A long skew floor can
        # even stick out of it.
        corners = shapely.points(shapely.get_coordinates(hull))
        room = shapely.distance(stretched.boundary, corners).min()
        if shapely.covers(stretched, corners).all() and room >= reach * _FITS:
            return stretched
        shift = self._along((length - float(size[0])) / 2.0, 0.0)
        ends = [affinity.translate(grown, sign * shift[0], sign * shift[1]) for sign in (-1.0, 1.0)]
        return shapely.convex_hull(shapely.geometrycollections(ends))

    def _along(self, main: float, across: float) -> tuple[float, float]:
        """Put a value along the main direction and one across it into (station, offset)."""
        return (main, across) if self.along == "station" else (across, main)


def _grown(floor: BaseGeometry, reach_mm: float) -> Polygon:
    return shapely.buffer(floor, reach_mm * (1.0 + REACH_SLACK), quad_segs=_CORNERS_PER_QUARTER)


@dataclass(frozen=True)
class Dish:
    """One blend: the pits it takes (indices), its floor and footprint on the layout, its depth in mm."""

    pits: tuple[int, ...]
    floor: BaseGeometry
    footprint: Polygon
    depth: float


def make_dishes(outlines: Sequence[BaseGeometry], depths: FloatArray, rule: DishRule) -> list[Dish]:
    """Plan the blends of the pits on one face.

    Pits whose footprints meet share a blend as deep as the deepest of them needs. As that may widen the
    shallower ones' footprints, merging goes on until no two footprints meet.

    Parameters
    ----------
    outlines : sequence of BaseGeometry
        Pit outlines on the layout, mm; points and lines are allowed.
    depths : ndarray of shape (n,)
        Planned depth of each, mm.
    rule : DishRule

    Returns
    -------
    list of Dish
        In the order of their first pits.
    """
    floors: Geometries = np.array([_filled(outline) for outline in outlines], dtype=object)
    if not len(floors):
        return []
    if not rule.merge:
        return [
            _dish((i,), floors, float(d), np.zeros((0, 2), np.int64), rule) for i, d in enumerate(depths)
        ]
    forced = np.zeros((0, 2), dtype=np.int64)
    while True:
        pairs, labels, deepest = _settle(floors, depths, forced, rule)
        dishes = _dishes(floors, deepest, pairs, labels, rule)
        more = _bridges(dishes, floors, rule)
        if not len(more):
            return dishes
        forced = np.concatenate([forced, more])


def _filled(outline: BaseGeometry) -> BaseGeometry:
    """Fill the holes of a pit's outline: an island in a pit does not stay."""
    return Polygon(outline.exterior) if isinstance(outline, Polygon) else outline


def _settle(
    floors: Geometries, depths: FloatArray, forced: IntArray, rule: DishRule
) -> tuple[IntArray, IntArray, FloatArray]:
    """Join pits whose footprints meet until the depth of no group changes."""
    deepest = np.asarray(depths, dtype=np.float64)
    while True:
        footprints: Geometries = shapely.buffer(
            floors, rule.side * deepest * (1.0 + REACH_SLACK), quad_segs=_CORNERS_PER_QUARTER
        )
        pairs = np.concatenate([meeting(footprints, rule.gap_mm), forced])
        labels = _components(len(floors), pairs)
        of_label = np.zeros(labels.max() + 1)
        np.maximum.at(of_label, labels, deepest)
        if np.array_equal(of_label[labels], deepest):
            return pairs, labels, deepest
        deepest = of_label[labels]


def meeting(shapes: Geometries, gap_mm: float) -> IntArray:
    """Pairs (m, 2) of shapes that meet or are nearer than `gap_mm`, each once."""
    tree = STRtree(shapes)
    a, b = tree.query(shapes, predicate="dwithin", distance=gap_mm)
    pairs: IntArray = np.column_stack([a, b])[a < b].astype(np.int64)
    return pairs


def _components(count: int, pairs: IntArray) -> IntArray:
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    labels: IntArray = connected_components(links, directed=False)[1].astype(np.int64)
    return labels


def _dishes(
    floors: Geometries, deepest: FloatArray, pairs: IntArray, labels: IntArray, rule: DishRule
) -> list[Dish]:
    found = []
    pair_label = labels[pairs[:, 0]]
    for label in range(int(labels.max()) + 1):
        pits = tuple(int(i) for i in np.flatnonzero(labels == label))
        found.append(_dish(pits, floors, float(deepest[pits[0]]), pairs[pair_label == label], rule))
    return sorted(found, key=lambda dish: dish.pits[0])


def _dish(pits: tuple[int, ...], floors: Geometries, depth: float, pairs: IntArray, rule: DishRule) -> Dish:
    floor = floors[pits[0]] if len(pits) == 1 else _with_metal_between(floors, pits, pairs)
    return Dish(pits, floor, rule.footprint(floor, depth), depth)


def _with_metal_between(floors: Geometries, pits: tuple[int, ...], pairs: IntArray) -> BaseGeometry:
    """Join the outlines of pits with the hull of every pair that meets."""
    own = floors[list(pits)]
    if len(pairs) > _MOST_PAIRS:
        return shapely.convex_hull(shapely.geometrycollections(own))
    hulls = shapely.convex_hull(shapely.geometrycollections(floors[pairs]))
    return shapely.union_all(np.concatenate([own, hulls]))


def _bridges(dishes: list[Dish], floors: Geometries, rule: DishRule) -> IntArray:
    """Give the nearest two pits of every two blends that meet although their pits' footprints do not."""
    pairs = meeting(np.array([dish.footprint for dish in dishes], dtype=object), rule.gap_mm)
    links = []
    for a, b in pairs:
        one, other = (np.array(dishes[i].pits) for i in (a, b))
        nearest, distance = STRtree(floors[other]).query_nearest(
            floors[one], all_matches=False, return_distance=True
        )
        closest = int(np.argmin(distance))
        links.append((one[nearest[0, closest]], other[nearest[1, closest]]))
    return np.array(links, dtype=np.int64).reshape(-1, 2)
