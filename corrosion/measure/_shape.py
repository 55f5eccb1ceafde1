"""Measures of plane figures and their gradients with respect to the vertices.

Values accept leading dimensions, ``(..., n, 2)``, so that one call takes all hypotheses of a fan.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from corrosion.quantity import FloatArray

IndexArray = NDArray[np.integer[Any]]

_MOST_HULL_CORNERS = 48
_CALLIPER_DIRECTIONS = 45


def ring_area(ring: FloatArray) -> FloatArray:
    """Signed area of rings (..., n, 2): positive from x towards y."""
    # Seen from the first vertex, both edges that meet there sweep nothing.
    x, y = np.moveaxis(ring[..., 1:, :] - ring[..., :1, :], -1, 0)
    area: FloatArray = np.sum(x[..., :-1] * y[..., 1:] - x[..., 1:] * y[..., :-1], axis=-1) / 2.0
    return area


def ring_area_gradient(ring: FloatArray) -> FloatArray:
    """Differentiate `ring_area` by the vertices: half of the chord past each, turned outwards."""
    chord = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    return np.column_stack([chord[:, 1], -chord[:, 0]]) / 2.0


def path_length(path: FloatArray) -> FloatArray:
    """Length of open paths (..., n, 2)."""
    length: FloatArray = np.linalg.norm(np.diff(path, axis=-2), axis=-1).sum(axis=-1)
    return length


def path_length_gradient(path: FloatArray) -> FloatArray:
    """Differentiate `path_length` by the vertices."""
    step = np.diff(path, axis=0)
    unit = step / np.linalg.norm(step, axis=1, keepdims=True)
    gradient = np.zeros_like(path)
    gradient[1:] += unit
    gradient[:-1] -= unit
    return gradient


def perimeter(ring: FloatArray) -> FloatArray:
    """Length of closed rings (..., n, 2)."""
    return path_length(np.concatenate([ring, ring[..., :1, :]], axis=-2))


def perimeter_gradient(ring: FloatArray) -> FloatArray:
    """Differentiate `perimeter` by the vertices."""
    gradient = path_length_gradient(np.vstack([ring, ring[:1]]))
    gradient[0] += gradient[-1]
    return gradient[:-1]


def hull_corners(ring: FloatArray) -> IndexArray:
    """Find the indices of the convex hull's corners of a ring (n, 2), in order round it."""
    corners: IndexArray = ConvexHull(ring).vertices
    return corners


def thinned(corners: IndexArray) -> IndexArray:
    """At most 48 of the hull's corners: enough for how callipers *change* under a tilt."""
    chosen: IndexArray = corners[:: -(-len(corners) // _MOST_HULL_CORNERS)]
    return chosen


def longest_calliper(hull: FloatArray) -> FloatArray:
    """Largest distance between two corners of hulls (..., h, 2): the maximum Feret diameter."""
    apart = np.linalg.norm(hull[..., :, None, :] - hull[..., None, :, :], axis=-1)
    longest: FloatArray = apart.max(axis=(-2, -1))
    return longest


def longest_calliper_gradient(hull: FloatArray) -> FloatArray:
    """Differentiate `longest_calliper` by the hull's corners: only the two ends matter."""
    apart = np.linalg.norm(hull[:, None] - hull[None], axis=-1)
    a, b = np.unravel_index(int(np.argmax(apart)), apart.shape)
    gradient = np.zeros_like(hull)
    gradient[a] = (hull[a] - hull[b]) / apart[a, b]
    gradient[b] = -gradient[a]
    return gradient


def shortest_calliper(hull: FloatArray) -> FloatArray:
    """Smallest width of hulls (..., h, 2): one jaw of the calliper lies along an edge."""
    shortest: FloatArray = _widths(hull).max(axis=-1).min(axis=-1)
    return shortest


def shortest_calliper_gradient(hull: FloatArray) -> FloatArray:
    """Differentiate `shortest_calliper`: the edge's two corners and the one opposite matter."""
    widths = _widths(hull)
    edge = int(np.argmin(widths.max(axis=1)))
    opposite = int(np.argmax(widths[edge]))
    following = (edge + 1) % len(hull)
    start, along = hull[edge], hull[following] - hull[edge]
    foot = float((hull[opposite] - start) @ along / (along @ along))
    normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    normal *= np.sign((hull[opposite] - start) @ normal)
    gradient = np.zeros_like(hull)
    gradient[opposite] += normal
    gradient[edge] -= (1.0 - foot) * normal
    gradient[following] -= foot * normal
    return gradient


def longest_shadow(points: FloatArray) -> FloatArray:
    """Largest extent of point sets (..., n, 2) over 45 directions: close to `longest_calliper`, cheap."""
    longest: FloatArray = _shadows(points).max(axis=-1)
    return longest


def shortest_shadow(points: FloatArray) -> FloatArray:
    """Smallest extent of point sets (..., n, 2) over 45 directions."""
    shortest: FloatArray = _shadows(points).min(axis=-1)
    return shortest


def _shadows(points: FloatArray) -> FloatArray:
    angle = np.arange(_CALLIPER_DIRECTIONS) * (np.pi / _CALLIPER_DIRECTIONS)
    shadows: FloatArray = np.ptp(points @ np.array([np.cos(angle), np.sin(angle)]), axis=-2)
    return shadows


def _widths(hull: FloatArray) -> FloatArray:
    """Distance of every corner from every edge's line: (..., edge, corner)."""
    along = np.roll(hull, -1, axis=-2) - hull
    along = along / np.linalg.norm(along, axis=-1, keepdims=True)
    reach = hull[..., None, :, :] - hull[..., :, None, :]
    widths: FloatArray = np.abs(
        along[..., :, None, 0] * reach[..., 1] - along[..., :, None, 1] * reach[..., 0]
    )
    return widths
