"""Closed star-convex paths on a log-polar resample, by dynamic programming.

A ring of equal steps in angle and in log-radius: one step outwards is the same share of the radius
everywhere, so the smoothness penalty and every window mean the same for a small pit and a large one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corrosion.suggest._features import Features, FloatArray

IntArray = NDArray[np.intp]

RAYS = 72
"""Directions; divisible by 4, so a quarter turn of the picture turns the outline."""
STEP = 0.04
"""Log-radius per sample: 4 %, under half a pixel on a pit of 20 px across."""
MOST_JUMP = 2
"""Samples the path may move from ray to ray: 8 % of the radius per 5 degrees, a slope of 42 degrees."""

Cosines = np.cos(np.arange(RAYS) * 2 * math.pi / RAYS)
Sines = np.sin(np.arange(RAYS) * 2 * math.pi / RAYS)


@dataclass(frozen=True)
class Ring:
    """Features around a point.

    Attributes
    ----------
    centre : (float, float)
        px.
    radii : ndarray of shape (m,)
        px, in equal ratios.
    planes : ndarray of shape (RAYS, m, 4)
        See `Features.at`.
    known : ndarray of shape (RAYS, m), bool
        Samples inside the picture.
    """

    centre: tuple[float, float]
    radii: FloatArray
    planes: FloatArray
    known: NDArray[np.bool_]

    def outline(self, path: IntArray | FloatArray) -> FloatArray:
        """Corners in px, (RAYS, 2), of a path given as sample number per ray."""
        radius = self.radii[0] * np.exp(STEP * np.asarray(path, dtype=np.float64))
        return np.column_stack([self.centre[0] + radius * Cosines, self.centre[1] + radius * Sines])


def ring_around(
    features: Features,
    centre: tuple[float, float],
    least_px: float,
    largest_px: float,
    *,
    finer: float = 1.0,
) -> Ring:
    """Resample around `centre` from radius `least_px` to `largest_px`."""
    count = max(2, math.ceil(math.log(largest_px / least_px) / STEP) + 1)
    radii = least_px * np.exp(STEP * np.arange(count))
    x = centre[0] + np.outer(Cosines, radii)
    y = centre[1] + np.outer(Sines, radii)
    planes, known = features.at(x, y, np.broadcast_to(radii, x.shape), finer=finer)
    return Ring(centre, radii, planes, known)


def band_means(planes: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Average `width` samples inside and outside of each sample.

    Returns
    -------
    inner, outer : ndarray of shape (RAYS, m, c)
        At sample k: mean over [k - width, k) and over (k, k + width]; the sample's own value where a
        band is empty, at either end.
    """
    total = np.pad(np.cumsum(planes, axis=1), ((0, 0), (1, 0), (0, 0)))
    m = planes.shape[1]
    k = np.arange(m)
    low, high = np.maximum(k - width, 0), np.minimum(k + 1 + width, m)
    inner = (total[:, k] - total[:, low]) / np.maximum(k - low, 1)[None, :, None]
    outer = (total[:, high] - total[:, k + 1]) / np.maximum(high - k - 1, 1)[None, :, None]
    inner[:, 0], outer[:, -1] = planes[:, 0], planes[:, -1]
    return inner, outer


def best_closed_paths(gain: FloatArray, bases: IntArray, half: int, bend: float) -> IntArray:
    """For each base find the closed path of greatest gain within `half` samples of it.

    The start is taken from the best open path of two rounds, half-way; the path from there back to it
    is exact. Trying every start would cost twenty times as much and hardly ever find another.

    Parameters
    ----------
    gain : ndarray of shape (RAYS, m)
    bases : ndarray of shape (b,), int
        Middle sample of each band; at least one sample of each lies in the ring.
    bend : float
        Taken from the gain for each sample of jump, squared.

    Returns
    -------
    ndarray of shape (b, RAYS), int
    """
    index = bases[:, None] + np.arange(-half, half + 1)
    inside = (index >= 0) & (index < gain.shape[1])
    band = np.where(inside[None], gain[:, np.clip(index, 0, gain.shape[1] - 1)], -np.inf)
    twice = _best_path(np.concatenate([band, band]), bend, None)
    closed: IntArray = _best_path(band, bend, twice[:, len(gain)]) + bases[:, None] - half
    return closed


def _best_path(band: FloatArray, bend: float, start: IntArray | None) -> IntArray:
    """Best path through (rays, b, width) gains; from `start` and back to it where that is given."""
    rays, b, width = band.shape
    score = band[0].copy()
    if start is not None:
        score[np.arange(width) != start[:, None]] = -np.inf
    jumps = np.arange(-MOST_JUMP, MOST_JUMP + 1)
    cost = (bend * jumps**2)[:, None, None]
    came = jumps[:, None] + np.zeros(width, dtype=np.intp)
    source = np.arange(width) - came  # (jumps, width): where each arrival came from
    reach = (source >= 0) & (source < width)
    source = np.clip(source, 0, width - 1)
    steps = np.zeros((rays, b, width), dtype=np.intp)
    for ray in range(1, rays):
        moved = np.where(reach[:, None], score[:, source].transpose(1, 0, 2), -np.inf) - cost
        pick = moved.argmax(axis=0)
        steps[ray] = jumps[pick]
        score = moved.max(axis=0) + band[ray]
    if start is not None:
        away = np.arange(width) - start[:, None]
        score = np.where(np.abs(away) <= MOST_JUMP, score - bend * away**2, -np.inf)
    rows = np.arange(b)
    path = np.zeros((b, rays), dtype=np.intp)
    path[:, -1] = score.argmax(axis=1)
    for ray in range(rays - 1, 0, -1):
        path[:, ray - 1] = path[:, ray] - steps[ray, rows, path[:, ray]]
    return path
