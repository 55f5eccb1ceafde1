"""Nested outlines round a point, and the fine setting of the one that is chosen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from corrosion.suggest._evidence import edges_of, evidence
from corrosion.suggest._features import ROUGH, Features, FloatArray
from corrosion.suggest._polar import RAYS, STEP, IntArray, Ring, band_means, best_closed_paths, ring_around

SEARCH_HALF = 11
"""Half the width of a search band: radii from 0.64 to 1.55 of its middle, an oval of 2 : 1 with dents."""
SEARCH_STEP = 3
SEARCH_BEND = 0.06
SET_HALF = 5
"""The fine setting may move the rim by a fifth of the radius either way."""
SET_BEND = 0.15
SET_BAND = 2
SET_FINER = 2.0
"""The fine setting reads one level finer than the search."""
SET_ROUGH, SET_CLASS = 0.5, 0.4
"""Weight of roughness and of inside-outside likelihood against edge contrast, when setting the rim."""


@dataclass(frozen=True)
class Candidate:
    """A closed outline round a centre with its evidence."""

    outline: FloatArray
    evidence: FloatArray


def nested_outlines(
    features: Features, centre: tuple[float, float], least_radius: float, largest_radius: float
) -> list[Candidate]:
    """Find the locally best closed outlines round `centre`, from small to large."""
    ring = ring_around(features, centre, max(1.5, least_radius * 0.5), largest_radius * 1.55)
    edges = edges_of(ring)
    count = len(ring.radii)
    bases = np.arange(6, max(7, count - 4), SEARCH_STEP)
    paths = best_closed_paths(edges.gain, bases, SEARCH_HALF, SEARCH_BEND)
    paths = np.unique(paths, axis=0)
    paths = paths[(paths.min(axis=1) >= 0) & (paths.max(axis=1) < count)]
    if not len(paths):
        return []
    seen = evidence(ring, edges, paths)
    return [
        Candidate(ring.outline(path), row)
        for path, row in zip(paths, seen, strict=True)
        if not np.isnan(row).any()
    ]


def measure_again(features: Features, outline: FloatArray) -> FloatArray:
    """Evidence of an outline seen from its own centroid; NaN where too little is in the picture."""
    ring, path = on_ring(features, outline, finer=1.0)
    row: FloatArray = evidence(ring, edges_of(ring), path[None])[0]
    return row


def set_rim(features: Features, outline: FloatArray) -> FloatArray:
    """Move an outline to where contrast, roughness and likelihood agree best, near by.

    Seen twice, each time from its new centroid: a click is seldom in the middle.
    """
    for _ in range(2):
        ring, path = on_ring(features, outline, finer=SET_FINER)
        planes = np.dstack([ring.planes, likelihood(ring, path)])
        inner, outer = band_means(planes, SET_BAND)
        step = inner - outer
        near = path[:, None] + np.arange(-SET_HALF, SET_HALF + 1)
        near = np.clip(near, 0, len(ring.radii) - 1)
        rays = np.arange(RAYS)[:, None]
        edge = np.linalg.norm(step[:, :, :ROUGH], axis=2)[rays, near]
        usual = max(float(np.median(edge.max(axis=1))), 0.5)
        gain = (
            np.minimum(edge / usual, 1.5)
            + SET_ROUGH * np.clip(step[:, :, ROUGH], -0.7, 0.7)[rays, near]
            + SET_CLASS * step[:, :, ROUGH + 1][rays, near]
        )
        moved = best_closed_paths(gain, np.array([SET_HALF]), SET_HALF, SET_BEND)[0] - SET_HALF
        outline = ring.outline(np.clip(path + moved, 0, len(ring.radii) - 1))
    return outline


def likelihood(ring: Ring, path: IntArray) -> FloatArray:
    """Log-likelihood of inside over outside per sample, clipped and scaled to [-1, 1].

    Both sides are normal distributions over L*, a*, b* and roughness: a pit's is wide (shadow, product),
    the metal's round it narrow, so what is unlike the metal counts as pit whichever way it differs.
    """
    offset = np.arange(len(ring.radii))[None, :] - path[:, None]
    known = ring.known
    weight = np.broadcast_to(ring.radii**2, known.shape)
    score = np.zeros(known.shape)
    for sign, side in ((1.0, offset <= -2), (-1.0, (offset >= 3) & (offset <= 11))):
        where = side & known
        if where.sum() < RAYS:
            return np.zeros(known.shape)
        w = weight[where] / weight[where].sum()
        middle = (ring.planes[where] * w[:, None]).sum(axis=0)
        apart = ring.planes[where] - middle
        spread = (apart * w[:, None]).T @ apart + np.diag([1.0, 0.5, 0.5, 0.01])
        apart = ring.planes - middle
        distance = np.einsum("abi,ij,abj->ab", apart, np.linalg.inv(spread), apart)
        score -= sign * 0.5 * (distance + np.linalg.slogdet(spread)[1])
    return np.clip(score, -3.0, 3.0) / 3.0


def on_ring(features: Features, outline: FloatArray, *, finer: float) -> tuple[Ring, IntArray]:
    """Lay a ring round the outline's centroid, and the outline on it as a path."""
    polygon = shapely.Polygon(outline)
    centre = (float(polygon.centroid.x), float(polygon.centroid.y))
    size = math.sqrt(polygon.area / math.pi)
    ring = ring_around(features, centre, max(0.8, size * 0.2), size * 3.0, finer=finer)
    dx, dy = outline[:, 0] - centre[0], outline[:, 1] - centre[1]
    turn = np.arctan2(dy, dx) % (2 * math.pi)
    order = np.argsort(turn)
    rays = np.arange(RAYS) * 2 * math.pi / RAYS
    log_radius = np.interp(rays, turn[order], np.log(np.hypot(dx, dy))[order], period=2 * math.pi)
    path = np.rint((log_radius - math.log(ring.radii[0])) / STEP).astype(np.intp)
    return ring, np.clip(path, 0, len(ring.radii) - 1)


def agreement(first: FloatArray, second: FloatArray) -> float:
    """Intersection over union of two outlines."""
    a, b = (shapely.make_valid(shapely.Polygon(o)) for o in (first, second))
    union = float(a.union(b).area)
    return float(a.intersection(b).area) / union if union else 0.0
