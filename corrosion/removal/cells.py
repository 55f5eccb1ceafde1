"""Where to look: the cells and points at which removals are summed.

Cells cover the marked area only, so the cost follows what was removed, not the size of the member.
Entries whose footprints meet form a cluster with one lattice of square cells. Where a footprint reaches,
cells are a fraction of its width at most, so a member may hold a pinhead blend on a metre-wide one.

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
from shapely.geometry import Polygon

from corrosion.quantity import FloatArray
from corrosion.removal.chains import Cover, IntArray
from corrosion.removal.entries import Entry
from corrosion.removal.profiles import FlatProfile

CELLS_ACROSS = 20
"""Cells across each footprint, or more where a smaller one lies on it."""

_PLAIN_CELLS = 4_096
"""Cells of a footprint's box up to which looking at each of them is cheapest."""

MOST_CELLS = 1_200_000
"""Rows of all cells of a member together; beyond, cells grow and the stated error with them."""

_AT_ONCE = 100_000
"""Cells looked up at once: each costs memory only while it is a point."""

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
        place, entry = self.tree.query(shapely.box(x - radius, y - radius, x + radius, y + radius))
        return _cover(self.entries, points_mm, radius, place, entry)


def _cover(
    entries: list[Entry], points_mm: FloatArray, radius: FloatArray, place: IntArray, entry: IntArray
) -> Cover:
    """Cover of points by the entries that may reach them: pairs of place and entry, in any order."""
    order = np.argsort(entry, kind="stable")
    place, entry = place[order], entry[order]
    bounds = np.searchsorted(entry, np.arange(len(entries) + 1))
    parts = []
    for index in np.flatnonzero(np.diff(bounds)):
        of = place[bounds[index] : bounds[index + 1]]
        profile = entries[index].profile
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
    wanted = _cell_sides(entries)
    order = np.argsort(labels, kind="stable")
    each = np.split(order, np.flatnonzero(np.diff(labels[order])) + 1)
    laid = [_leaves([entries[i].footprint for i in mine], wanted[mine]) for mine in each]
    centres = np.concatenate([points for points, _ in laid])
    side = np.concatenate([sides for _, sides in laid])
    cluster = np.repeat([labels[mine[0]] for mine in each], [len(sides) for _, sides in laid])
    cover = _cells_cover(entries, labels, wanted, Cells(centres, side, cluster, _join([])))
    reached = np.zeros(len(centres), dtype=bool)
    reached[cover.place] = True
    kept = Cover((np.cumsum(reached) - 1)[cover.place], cover.entry, cover.weight, cover.upper)
    return Cells(centres[reached], side[reached], cluster[reached], kept)


def _cells_cover(entries: list[Entry], labels: IntArray, wanted: FloatArray, cells: Cells) -> Cover:
    """Cover of each cell by the entries of its own cluster: next to another's, it counts for its own."""
    # The largest cell that an entry reaches is at most the root of two larger than it asked for.
    near = wanted * 2.0
    x0, y0, x1, y1 = shapely.bounds([entry.footprint for entry in entries]).T
    tree = STRtree(shapely.box(x0 - near, y0 - near, x1 + near, y1 + near))
    pairs = []
    for start in range(0, len(cells.centres), _AT_ONCE):
        place, entry = tree.query(shapely.points(cells.centres[start : start + _AT_ONCE]))
        own = labels[entry] == cells.cluster[start + place]
        pairs.append((start + place[own], entry[own]))
    place, entry = (np.concatenate(column) for column in zip(*pairs, strict=True))
    return _cover(entries, cells.centres, cells.side * np.sqrt(2.0), place, entry)


def _cell_sides(entries: list[Entry]) -> FloatArray:
    """Cell side that each entry asks for, mm; grown together where that would make too many cells."""
    outlines = [entry.footprint for entry in entries]
    boxes = shapely.bounds(outlines)
    area = shapely.area(outlines)
    # Of a strip that lies askew the box says nothing; area to perimeter gives twice its width.
    across = np.minimum((boxes[:, 2:] - boxes[:, :2]).min(axis=1), 4.0 * area / shapely.length(outlines))
    sides = across / CELLS_ACROSS
    # Grow only the cells of entries that use more than their share.
    if float(np.sum(area / sides**2)) > MOST_CELLS:
        sides = np.maximum(sides, np.sqrt(area * len(area) / MOST_CELLS))
        sides = np.minimum(sides, across / 4.0)
    return np.asarray(sides)


def _leaves(outlines: list[Polygon], wanted: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Square cells over overlapping outlines: centres (n, 2) and sides (n,) in mm.

    The cells are the leaves of quadtrees on one lattice. Each is about as large as the finest outline that
    reaches it asks for, so a small blend-out on a large one is resolved without cutting all of the large
    one as finely.
    """
    finest = float(wanted.min())
    levels = np.round(np.log2(wanted / finest)).astype(np.int64)
    top = int(levels.max())
    needed: list[IntArray] = []
    split = [np.zeros(0, dtype=np.int64)]
    for level in range(top + 1):
        own = [
            _lattice(outline, finest * 2.0**level)
            for outline, its in zip(outlines, levels, strict=True)
            if its == level
        ]
        needed.append(_distinct(np.concatenate([split[level], *own])))
        split.append(_parents(needed[level]))
    centres, sides = [], []
    for level in range(top + 1):
        cells = needed[level] if level == top else _children(split[level + 1])
        leaves = cells[~np.isin(cells, split[level], assume_unique=True, kind="sort")]
        centres.append((_decoded(leaves) + 0.5) * finest * 2.0**level)
        sides.append(np.full(len(leaves), finest * 2.0**level))
    return np.concatenate(centres), np.concatenate(sides)


def _lattice(outline: Polygon, side: float) -> IntArray:
    """Codes of the lattice cells that an outline reaches, or at least comes next to."""
    x0, y0, x1, y1 = outline.bounds
    ix = np.arange(int(np.floor(x0 / side)) - 1, int(np.floor(x1 / side)) + 2)
    iy = np.arange(int(np.floor(y0 / side)) - 1, int(np.floor(y1 / side)) + 2)
    if len(ix) * len(iy) <= _PLAIN_CELLS:
        return _coded(np.stack(np.meshgrid(ix, iy, indexing="ij"), axis=-1).reshape(-1, 2))
    # The box of a long scratch is mostly empty: come down from larger cells.
    cells = _children(_lattice(outline, 2.0 * side))
    places = shapely.points((_decoded(cells) + 0.5) * side)
    shapely.prepare(outline)
    return np.asarray(cells[shapely.dwithin(outline, places, side * np.sqrt(2.0))])


def _coded(lattice: IntArray) -> IntArray:
    """Put two lattice indices into one integer: 2^31 cells each way is beyond any member."""
    return np.asarray((lattice[:, 0] << 32) + (lattice[:, 1] + 2**31))


def _decoded(codes: IntArray) -> IntArray:
    return np.column_stack([codes >> 32, (codes & (2**32 - 1)) - 2**31])


def _distinct(codes: IntArray) -> IntArray:
    """Sort codes and drop repeats; `np.unique` hashes integers, which is slower for so many."""
    ordered = np.sort(codes)
    return np.asarray(ordered[np.concatenate([[True], ordered[1:] != ordered[:-1]])[: len(ordered)]])


def _parents(codes: IntArray) -> IntArray:
    return _distinct(_coded(_decoded(codes) >> 1))


def _children(codes: IntArray) -> IntArray:
    quarters = np.array([[0, 0], [0, 1], [1, 0], [1, 1]])
    return _coded((2 * _decoded(codes)[:, None, :] + quarters).reshape(-1, 2))


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
