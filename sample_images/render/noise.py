"""Noise that belongs to the metal: the same place gives the same value in every picture."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]


def _lattice(columns: NDArray[np.int64], rows: NDArray[np.int64], seed: int) -> Image:
    """Random values in [-1, 1] on integer lattice points, by an integer hash."""
    with np.errstate(over="ignore"):
        h = columns.astype(np.uint64)[None, :] * np.uint64(0x9E3779B97F4A7C15)
        h = h ^ (rows.astype(np.uint64)[:, None] * np.uint64(0xC2B2AE3D27D4EB4F))
        h = h ^ np.uint64(seed * 0x165667B1 + 0x27D4EB2F)
        for shift, factor in ((33, 0xFF51AFD7ED558CCD), (29, 0xC4CEB9FE1A85EC53)):
            h = (h ^ (h >> np.uint64(shift))) * np.uint64(factor)
        h = h ^ (h >> np.uint64(32))
    return ((h & np.uint64(0xFFFFFF)).astype(np.float64) / 0x7FFFFF - 1.0).astype(np.float32)


def noise(s: Image, o: Image, scale: tuple[float, float], seed: int, angle_deg: float = 0.0) -> Image:
    """Smooth noise in about [-1, 1] with the given grain length (mm) along and across `angle_deg`."""
    c, w = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    u = (c * s + w * o) / scale[0]
    v = (-w * s + c * o) / scale[1]
    u0, v0 = math.floor(u.min()) - 2, math.floor(v.min()) - 2
    columns = np.arange(u0, math.ceil(u.max()) + 3)
    rows = np.arange(v0, math.ceil(v.max()) + 3)
    values = _lattice(columns, rows, seed)
    return cv2.remap(values, (u - u0).astype(np.float32), (v - v0).astype(np.float32), cv2.INTER_CUBIC)


def clouds(s: Image, o: Image, scale: float, seed: int, octaves: int = 4) -> Image:
    """Fractal noise in about [-1, 1], largest grain `scale` mm."""
    total, weight, norm = np.zeros_like(s), 1.0, 0.0
    for k in range(octaves):
        step = scale / 2.1**k
        total += weight * noise(s, o, (step, step), seed + 31 * k, 23.0 * k)
        norm += weight
        weight *= 0.55
    return total / norm


def step(value: Image, low: float, high: float) -> Image:
    """Smooth step from 0 at `low` to 1 at `high`."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return (t * t * (3.0 - 2.0 * t)).astype(np.float32)
