"""Closed star-convex paths on log-polar resamples, by dynamic programming, many at a time.

A ring of equal steps in angle and in log-radius: one step outwards is the same share of the radius
everywhere, so the smoothness penalty and every window mean the same for a small pit and a large one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corrosion.suggest._features import Features, FloatArray, PlaneArray

IntArray = NDArray[np.intp]

RAYS = 72
"""Directions; divisible by 4, so a quarter turn of the picture turns the outline."""
STEP = 0.04
"""Log-radius per sample: 4 %, under half a pixel on a pit of 20 px across."""
MOST_JUMP = 2
"""Samples the path may move from ray to ray: 8 % of the radius per 5 degrees, a slope of 42 degrees."""

TURN = np.arange(RAYS) * 2 * math.pi / RAYS
UNIT = np.column_stack([np.cos(TURN), np.sin(TURN)])


@dataclass(frozen=True)
class Rings:
    """Features around n points.

    Attributes
    ----------
    centres : ndarray of shape (n, 2)
        px.
    inner : ndarray of shape (n,)
        Radius of the first sample, px; each next one is larger by the factor exp(STEP).
    planes : ndarray of shape (RAYS, n, m, c), float32
        See `Features.at`.
    known : ndarray of shape (RAYS, n, m), bool
        Samples inside the picture.
    """

    centres: FloatArray
    inner: FloatArray
    planes: PlaneArray
    known: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """Samples on a ray."""
        return int(self.planes.shape[2])

    def radii(self, paths: IntArray) -> FloatArray:
        """Radii, px, of paths of shape (n, ...) given as sample numbers."""
        inner = self.inner.reshape(-1, *[1] * (paths.ndim - 1))
        return np.asarray(inner * np.exp(STEP * paths))

    def outlines(self, paths: IntArray) -> FloatArray:
        """Corners, px, (n, RAYS, 2), of one path of shape (RAYS,) for each ring."""
        return np.asarray(self.centres[:, None] + self.radii(paths)[:, :, None] * UNIT)


@dataclass(frozen=True)
class Bands:
    """Features along n outlines: each ray read at shares of the outline's own radius.

    Attributes
    ----------
    centres : ndarray of shape (n, 2)
        Centroids of the outlines, px.
    radii : ndarray of shape (n, RAYS)
        Of the outlines, px.
    offsets : ndarray of shape (m,), int
        Sample k lies at the outline's radius times exp(STEP * offsets[k]).
    planes : ndarray of shape (RAYS, n, m, c), float32
    known : ndarray of shape (RAYS, n, m), bool
        Samples inside the picture.
    """

    centres: FloatArray
    radii: FloatArray
    offsets: IntArray
    planes: PlaneArray
    known: NDArray[np.bool_]

    def moved(self, by: IntArray) -> FloatArray:
        """Outlines, px, (n, RAYS, 2), with each corner moved outwards by so many samples."""
        return np.asarray(self.centres[:, None] + (self.radii * np.exp(STEP * by))[..., None] * UNIT)


def bands_along(features: Features, outlines: FloatArray, offsets: IntArray, *, finer: float) -> Bands:
    """Resample along outlines of shape (n, corners, 2), each seen from its centroid."""
    area, centres = _areas(outlines)
    radii = np.array([radii_from(c, o) for c, o in zip(centres, outlines, strict=True)]).reshape(-1, RAYS)
    reach = np.exp(STEP * offsets)
    far = radii.T[:, :, None] * reach
    x, y = (
        (centres[:, i, None] + UNIT[:, i, None, None] * far).astype(np.float32).reshape(RAYS, -1)
        for i in (0, 1)
    )
    size = (np.sqrt(np.maximum(area, 1.0) / math.pi)[:, None] * reach).astype(np.float32).ravel()
    planes, known = features.at(x, y, size, finer=finer)
    shape = (RAYS, len(outlines), len(offsets))
    return Bands(centres, radii, offsets, planes.reshape(*shape, -1), known.reshape(shape))


def radii_from(centre: FloatArray, outline: FloatArray) -> FloatArray:
    """Radii, px, of an outline of shape (corners, 2) along the rays from a centre; half a pixel or more."""
    apart = outline - centre
    turn = np.arctan2(apart[:, 1], apart[:, 0]) % (2 * math.pi)
    log_radius = np.log(np.maximum(np.hypot(apart[:, 0], apart[:, 1]), 0.5))
    return np.exp(np.interp(TURN, turn, log_radius, period=2 * math.pi))


def _areas(outlines: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Area and centroid of each outline, by the shoelace sum about its mean corner."""
    middle = outlines.mean(axis=1)
    a = outlines - middle[:, None]
    b = np.roll(a, -1, axis=1)
    cross = a[..., 0] * b[..., 1] - b[..., 0] * a[..., 1]
    area = cross.sum(axis=1) / 2
    size = np.where(np.abs(area) < 1e-6, 1e-6, area)
    return np.abs(area), np.asarray(middle + ((a + b) * cross[..., None]).sum(axis=1) / (6 * size)[:, None])


def samples_between(least: float, largest: float) -> int:
    """Count the samples from one radius to the other, both included."""
    return max(2, math.ceil(math.log(largest / least) / STEP) + 1)


def rings_around(
    features: Features, centres: FloatArray, inner: FloatArray, count: int, *, finer: float = 1.0
) -> Rings:
    """Resample `count` samples outwards from the radius `inner` round each centre."""
    radii = inner[:, None] * np.exp(STEP * np.arange(count))
    x, y = (
        (centres[:, i, None] + UNIT[:, i, None, None] * radii).astype(np.float32).reshape(RAYS, -1)
        for i in (0, 1)
    )
    planes, known = features.at(x, y, radii.astype(np.float32).ravel(), finer=finer)
    shape = (RAYS, len(centres), count)
    return Rings(centres, inner, planes.reshape(*shape, -1), known.reshape(shape))


def band_means(planes: PlaneArray, width: int) -> tuple[PlaneArray, PlaneArray]:
    """Average `width` samples inside and outside of each sample.

    Parameters
    ----------
    planes : ndarray of shape (..., m, c)

    Returns
    -------
    inner, outer : ndarray of shape (..., m, c)
        At sample k: mean over [k - width, k) and over (k, k + width]; the sample's own value where a
        band is empty, at either end.
    """
    m = planes.shape[-2]
    padded = np.zeros((*planes.shape[:-2], m + 2 * width + 1, planes.shape[-1]), planes.dtype)
    total = padded[..., width + 1 : width + 1 + m, :]
    np.cumsum(planes, axis=-2, out=total)
    padded[..., width + 1 + m :, :] = total[..., -1:, :]
    k = np.arange(m)
    below, above = (np.clip(c, 1, width).astype(planes.dtype)[:, None] for c in (k, m - 1 - k))
    inner = (padded[..., width : width + m, :] - padded[..., :m, :]) / below
    outer = (padded[..., 2 * width + 1 :, :] - total) / above
    inner[..., 0, :], outer[..., -1, :] = planes[..., 0, :], planes[..., -1, :]
    return np.asarray(inner), np.asarray(outer)


def best_closed_paths(gain: PlaneArray, bases: IntArray, half: int, bend: float) -> IntArray:
    """For each ring and base find the closed path of greatest gain within `half` samples of the base.

    The start is taken from the best open path of two rounds, half-way; the path from there back to it
    is exact. Trying every start would cost twenty times as much and hardly ever find another.

    Parameters
    ----------
    gain : ndarray of shape (RAYS, n, m)
    bases : ndarray of shape (b,), int
        Middle sample of each band; at least one sample of each lies in the ring.
    bend : float
        Taken from the gain for each sample of jump, squared.

    Returns
    -------
    ndarray of shape (n, b, RAYS), int
    """
    rays, n, m = gain.shape
    index = bases[:, None] + np.arange(-half, half + 1)
    inside = (index >= 0) & (index < m)
    band = np.where(inside, gain[:, :, np.clip(index, 0, m - 1)], np.float32(-np.inf))
    band = band.astype(np.float32).reshape(rays, n * len(bases), -1)
    twice = _best_path(np.concatenate([band, band]), bend, None)
    closed = _best_path(band, bend, twice[:, rays]).reshape(n, len(bases), rays)
    return np.asarray(closed + bases[:, None] - half)


def _best_path(band: PlaneArray, bend: float, start: IntArray | None) -> IntArray:
    """Best path through (rays, b, width) gains; from `start` and back to it where that is given."""
    rays, b, width = band.shape
    score = band[0].copy()
    if start is not None:
        score[np.arange(width) != start[:, None]] = -np.inf
    steps = np.zeros((rays, b, width), np.int8)
    padded = np.full((b, width + 2 * MOST_JUMP), -np.inf, np.float32)
    jumps = [j for j in range(-MOST_JUMP, MOST_JUMP + 1) if j]
    for ray in range(1, rays):
        padded[:, MOST_JUMP : MOST_JUMP + width] = score
        for jump in jumps:
            low = MOST_JUMP - jump  # sample k is reached from sample k - jump
            arriving = padded[:, low : low + width] - np.float32(bend * jump**2)
            better = arriving > score
            np.copyto(score, arriving, where=better)
            np.copyto(steps[ray], np.int8(jump), where=better)
        score += band[ray]
    if start is not None:
        away = np.arange(width) - start[:, None]
        score = np.where(np.abs(away) <= MOST_JUMP, score - np.float32(bend) * away**2, -np.inf)
    rows = np.arange(b)
    path = np.zeros((b, rays), dtype=np.intp)
    path[:, -1] = score.argmax(axis=1)
    for ray in range(rays - 1, 0, -1):
        path[:, ray - 1] = path[:, ray] - steps[ray, rows, path[:, ray]]
    return path
