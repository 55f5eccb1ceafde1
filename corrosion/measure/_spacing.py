"""Spacing of marks: edge to edge, to the nearest mark of the same kind."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from corrosion.measure._mapped import MappedMark, measured
from corrosion.measure._shape import IndexArray
from corrosion.quantity import FloatArray, Measured


def plane_geometry(mark: MappedMark) -> shapely.Geometry:
    """Give the mark on the surface plane as a polygon, line or point."""
    if mark.outline.is_area:
        shell, *holes = (mark.plane[ring] for ring in mark.outline.rings)
        return shapely.Polygon(shell, holes)
    return shapely.LineString(mark.plane) if mark.outline.is_line else shapely.Point(mark.plane[0])


def nearest_spacings(marks: Sequence[MappedMark]) -> list[Measured | None]:
    """Spacing of each mark to its nearest neighbour among `marks`, mm.

    Both ends hang on one scale and one edge offset, so one gradient runs over both marks: the scale's
    error does not enter twice, and an edge set too far out shortens the gap from both sides.

    Returns
    -------
    list of Measured or None
        None where there is no neighbour, or the nearest one touches or overlaps.
    """
    shapes = [plane_geometry(mark) for mark in marks]
    if len(shapes) < 2:
        return [None] * len(shapes)
    tree = shapely.STRtree(shapes)
    found: list[Measured | None] = []
    for i, shape in enumerate(shapes):
        others = tree.query_nearest(shape, exclusive=True, all_matches=False)
        j = int(others[0]) if len(others) else i
        found.append(None if j == i else _spacing(marks[i], shape, marks[j], shapes[j]))
    return found


def _spacing(
    a: MappedMark, shape_a: shapely.Geometry, b: MappedMark, shape_b: shapely.Geometry
) -> Measured | None:
    ends = shapely.get_coordinates(shapely.shortest_line(shape_a, shape_b))
    gap = float(np.linalg.norm(ends[1] - ends[0]))
    if gap == 0.0:
        return None
    towards = (ends[1] - ends[0]) / gap
    weight_a, weight_b = _weights(a, ends[0]), _weights(b, ends[1])
    gradients = [(a, -np.outer(weight_a, towards)), (b, np.outer(weight_b, towards))]
    departures = None
    if a.alternatives is not None and b.alternatives is not None:
        moved = np.einsum("n,hni->hi", weight_b, b.alternatives)
        moved = moved - np.einsum("n,hni->hi", weight_a, a.alternatives)
        departures = np.linalg.norm(moved, axis=1) - gap
    return measured(gap, "mm", gradients, departures)


def _weights(mark: MappedMark, point: FloatArray) -> FloatArray:
    """Share of each vertex in a point on the mark's outline: two vertices of one edge, (n,)."""
    starts, stops = _edges(mark)
    if not len(starts):
        return np.ones(1)
    along = mark.plane[stops] - mark.plane[starts]
    reach = point - mark.plane[starts]
    share = np.clip((reach * along).sum(axis=1) / (along**2).sum(axis=1), 0.0, 1.0)
    missed = np.linalg.norm(reach - share[:, None] * along, axis=1)
    edge = int(np.argmin(missed))
    weights = np.zeros(len(mark.plane))
    weights[starts[edge]] += 1.0 - share[edge]
    weights[stops[edge]] += share[edge]
    return weights


def _edges(mark: MappedMark) -> tuple[IndexArray, IndexArray]:
    """Find the indices of the vertices where each edge starts and stops."""
    if not mark.outline.is_area:
        every = np.arange(len(mark.plane))
        return every[:-1], every[1:]
    rings = [np.arange(ring.start, ring.stop) for ring in mark.outline.rings]
    return np.concatenate(rings), np.concatenate([np.roll(ring, -1) for ring in rings])
