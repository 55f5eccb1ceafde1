"""Where to look: the cells and points at which removals are summed.

Cells cover the marked area only, so the cost follows what was removed, not the size of the member.
Entries whose footprints meet form a cluster; each cluster has square cells of its own size, a fraction
of its smallest footprint, so a member may hold a pinhead blend and a metre-wide one.

Three kinds of places together bound the deepest sum:

* cell centres, each with an upper bound over its cell and the cells next to it;
* the deepest point of every entry;
* for flat removals, whose outlines are jumps that no cell resolves, the corners of their overlaps,
  approached from every side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from shapely import STRtree

from corrosion.quantity import FloatArray
from corrosion.removal.chains import Cover, IntArray
from corrosion.removal.entries import Entry
from corrosion.removal.profiles import FlatProfile

CELLS_ACROSS = 20
"""Cells across the smallest footprint of a cluster."""

MOST_CELLS = 1_200_000
"""Rows of all cells of a member together; beyond, cells grow and the stated error with them."""

_NUDGE_MM = 1e-3
_SIDES = 16


_Rows = tuple[IntArray, IntArray, FloatArray, FloatArray]
"""Rows of a cover before they are sorted: place, entry, weight, upper."""


@dataclass(frozen=True)
class Cells:
    """Square cells: centres (n, 2) and sides (n,) in mm, the cluster of each, and what covers them."""

    centres: FloatArray
    side: FloatArray
    cluster: IntArray
    cover: Cover


class EntryIndex:
    """Finds which entries reach a point."""

    def __init__(self, entries: list[Entry]) -> None:
        self.entries = entries
        self.tree = STRtree([entry.footprint for entry in entries])

    def cover(self, points_mm: FloatArray, radius_mm: float | FloatArray = 0.0) -> Cover:
        """Cover of (n, 2) points, each with bounds within `radius_mm` round it."""
        radius = np.broadcast_to(np.asarray(radius_mm, dtype=np.float64), (len(points_mm),))
        x, y = points_mm[:, 0], points_mm[:, 1]
        boxes = shapely.box(x - radius, y - radius, x + radius, y + radius)
        place, entry = self.tree.query(boxes)
        parts = []
        for index in np.unique(entry):
            of = place[entry == index]
            profile = self.entries[index].profile
            # One radius per call: points of one call come from cells of few sizes.
            for size in np.unique(radius[of]):
                near = of[radius[of] == size]
                weight, upper = profile.bounded(points_mm[near], float(size))
                parts.append((near, np.full(len(near), index), weight, upper))
        return _join(parts)


def _join(parts: list[_Rows]) -> Cover:
    """Stack rows, drop those that reach nothing, and sort by place, then time."""
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return Cover(none, none, np.zeros(0), np.zeros(0))
    place, entry, weight, upper = (np.concatenate(column) for column in zip(*parts, strict=True))
    reached = upper > 0.0
    order = np.lexsort((entry[reached], place[reached]))
    return Cover(
        place[reached][order], entry[reached][order], weight[reached][order], upper[reached][order]
    )


def clusters(entries: list[Entry]) -> IntArray:
    """Label entries so that those whose footprints meet, directly or through others, share a label."""
    index = EntryIndex(entries)
    shapes = np.array([entry.footprint for entry in entries])
    a, b = index.tree.query(shapes, predicate="intersects")
    links = coo_matrix((np.ones(len(a)), (a, b)), shape=(len(entries), len(entries)))
    labels: IntArray = connected_components(links, directed=False)[1].astype(np.int64)
    return labels


def make_cells(entries: list[Entry], labels: IntArray) -> Cells:
    """Lay cells over the clusters `labels` of `entries`."""
    sides = _cell_sides(entries, labels)
    centres, side, cluster = [], [], []
    parts: list[_Rows] = []
    placed = 0
    for label in np.unique(labels):
        members = np.flatnonzero(labels == label)
        points, rows = _cluster_cells(entries, members, float(sides[label]))
        parts.extend((place + placed, entry, weight, upper) for place, entry, weight, upper in rows)
        placed += len(points)
        centres.append(points)
        side.append(np.full(len(points), sides[label]))
        cluster.append(np.full(len(points), label))
    return Cells(np.concatenate(centres), np.concatenate(side), np.concatenate(cluster), _join(parts))


def _cell_sides(entries: list[Entry], labels: IntArray) -> FloatArray:
    """Cell side of each cluster, mm, grown together where the member would need too many cells."""
    boxes = np.array([entry.footprint.bounds for entry in entries])
    extent = boxes[:, 2:] - boxes[:, :2]
    smallest = np.full(labels.max() + 1, np.inf)
    np.minimum.at(smallest, labels, extent.min(axis=1))
    sides = smallest / CELLS_ACROSS
    rows = float(np.sum(extent.prod(axis=1) / sides[labels] ** 2))
    # Grow only the cells of clusters that use more than their share.
    if rows > MOST_CELLS:
        need = np.zeros(len(sides))
        np.add.at(need, labels, extent.prod(axis=1))
        sides = np.maximum(sides, np.sqrt(need * np.count_nonzero(need) / MOST_CELLS))
        sides = np.minimum(sides, smallest / 4.0)
    return np.asarray(sides)


def _cluster_cells(entries: list[Entry], members: IntArray, side: float) -> tuple[FloatArray, list[_Rows]]:
    """Cells of one cluster on one lattice: centres, and the rows of each entry's cover."""
    codes, found = [], []
    for index in members:
        x0, y0, x1, y1 = entries[index].footprint.bounds
        ix = np.arange(int(np.floor(x0 / side)) - 1, int(np.floor(x1 / side)) + 2)
        iy = np.arange(int(np.floor(y0 / side)) - 1, int(np.floor(y1 / side)) + 2)
        grid = np.stack(np.meshgrid(ix, iy, indexing="ij"), axis=-1).reshape(-1, 2)
        centres = (grid + 0.5) * side
        profile = entries[index].profile
        weight, upper = profile.bounded(centres, side * np.sqrt(2.0))
        hit = upper > 0.0
        # Two lattice indices in one integer: 2^31 cells each way is beyond any member.
        codes.append((grid[hit, 0] << 32) + (grid[hit, 1] + 2**31))
        found.append((index, weight[hit], upper[hit]))
    unique, inverse = np.unique(np.concatenate(codes), return_inverse=True)
    lattice = np.column_stack([unique >> 32, (unique & (2**32 - 1)) - 2**31])
    starts = np.cumsum([0] + [len(code) for code in codes])
    rows = [
        (inverse[begin:end], np.full(end - begin, index), weight, upper)
        for (index, weight, upper), begin, end in zip(found, starts[:-1], starts[1:], strict=True)
    ]
    return (lattice + 0.5) * side, rows


def key_points(entries: list[Entry]) -> FloatArray:
    """Points (n, 2) in mm where a sum may be deepest: every entry's deepest, overlaps of flat ones."""
    deepest = [np.array([entry.profile.deepest for entry in entries])]
    shapes = np.array([entry.footprint for entry in entries])
    a, b = STRtree(shapes).query(shapes, predicate="intersects")
    for i, j in zip(a[a < b], b[a < b], strict=True):
        flat = [isinstance(entries[k].profile, FlatProfile) for k in (i, j)]
        if not any(flat):
            continue
        deepest.append(_nudged(_corners(shapes[i], shapes[j])))
        for k, other in ((i, j), (j, i)):
            if isinstance(entries[k].profile, FlatProfile):
                target = shapely.Point(entries[other].profile.deepest)
                nearest = shapely.shortest_line(shapes[k], target)
                deepest.append(_nudged(np.asarray(nearest.coords)[:1]))
    return np.concatenate(deepest)


def _corners(a: shapely.Polygon, b: shapely.Polygon) -> FloatArray:
    crossing = shapely.intersection(a.boundary, b.boundary)
    overlap = shapely.intersection(a, b)
    inside = shapely.point_on_surface(overlap)
    points = shapely.get_coordinates([crossing, inside])
    return np.asarray(points)


def _nudged(points: FloatArray) -> FloatArray:
    """Each point and a ring round it, so that some lie inside whatever meets at the point."""
    around = np.arange(_SIDES) * (2.0 * np.pi / _SIDES)
    ring = _NUDGE_MM * np.column_stack([np.cos(around), np.sin(around)])
    return np.asarray((points[:, None, :] + ring[None, :, :]).reshape(-1, 2))
