"""What a pit is told by: lightness, colour, roughness and a small net's opinion, at every scale.

Roughness is the *smaller* eigenvalue of the structure tensor. Rolled grain, sanding marks, scratches,
and the edge of a rivet change in one direction only, so their smaller eigenvalue stays near zero; the
broken floor of a pit changes in both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corrosion.errors import MarkError
from corrosion.opencv import cv2
from corrosion.suggest._net import pit_likeness

FloatArray = NDArray[np.float64]
PlaneArray = NDArray[np.float32]
UInt8Array = NDArray[np.uint8]

EDGE_SIGMA = 0.8
"""Blur before a derivative, px of a level: below it the sensor's own noise and demosaicing rule."""
GATHER_SIGMA = 2.2
"""Window over which roughness is gathered, px of a level: a few grains, well under a pit's radius."""
RADIUS_AT_LEVEL = 14.0
"""Radius in level px at which that level is read alone; the window is then a sixth of the radius."""
NOISE_FLOOR = 0.35
"""Slope (L* per px) that 8-bit rounding, JPEG and sensor noise make after the blur; adds in quadrature."""
MOST_COLUMNS = 30_000
"""OpenCV's remap takes fewer than 2 ** 15 columns at a time."""
CHANNELS = 5
L, A, B, ROUGH, PIT = range(CHANNELS)


def checked_picture(picture: UInt8Array) -> UInt8Array:
    """Return `picture` as RGB of shape (H, W, 3).

    Raises
    ------
    MarkError
        If it is not an 8-bit grey or RGB picture.
    """
    pixels = np.asarray(picture)
    grey = pixels.ndim == 2
    if pixels.dtype != np.uint8 or pixels.size == 0 or not (grey or pixels.shape[2:] == (3,)):
        raise MarkError(
            f"a picture of shape {pixels.shape} and type {pixels.dtype} cannot be searched.",
            remedy="Give 8-bit grey (H, W) or RGB (H, W, 3) pixels.",
        )
    return np.repeat(pixels[:, :, None], 3, axis=2) if grey else pixels


@dataclass(frozen=True)
class Features:
    """A pyramid of feature planes; level n halves the picture n times.

    Attributes
    ----------
    levels : tuple of ndarray of shape (h, w, 5), float32
        L*, a*, b*, the logarithm of roughness, and the likeness to a pit from 0 to 1.
    origin : (float, float)
        Picture coordinates of the centre of the top-left pixel of level 0.
    """

    levels: tuple[PlaneArray, ...]
    origin: tuple[float, float]

    def at(
        self, x: PlaneArray, y: PlaneArray, radius: PlaneArray, *, finer: float = 1.0
    ) -> tuple[PlaneArray, NDArray[np.bool_]]:
        """Features at picture points, each read at the scale that suits its radius.

        Parameters
        ----------
        x, y : ndarray of shape (n, m), px
        radius : ndarray of shape (m,), px
        finer : float
            Read as if the radius were this many times smaller.

        Returns
        -------
        planes : ndarray of shape (n, m, 5)
            Past the window's border the border's own values go on.
        known : ndarray of shape (n, m), bool
            False past the border.
        """
        top = len(self.levels) - 1
        height, width = self.levels[0].shape[:2]
        px, py = x - np.float32(self.origin[0]), y - np.float32(self.origin[1])
        depth = np.clip(np.log2(radius / (finer * RADIUS_AT_LEVEL)), 0.0, top)
        out = np.zeros((*x.shape, self.levels[0].shape[2]), np.float32)
        for number, plane in enumerate(self.levels):
            weight = np.clip(1.0 - np.abs(depth - number), 0.0, 1.0).astype(np.float32)
            wanted = np.flatnonzero(weight)
            for cut in np.array_split(wanted, math.ceil(wanted.size / MOST_COLUMNS) or 1):
                if cut.size:
                    read = _read(plane, px[:, cut], py[:, cut], 2.0**number)
                    out[:, cut] += weight[cut, None] * read
        known = (px >= -0.5) & (py >= -0.5) & (px <= width - 0.5) & (py <= height - 0.5)
        return out, known


def _read(plane: PlaneArray, x: PlaneArray, y: PlaneArray, step: float) -> PlaneArray:
    # Centre of level pixel i lies at step * i + (step - 1) / 2 of the picture below.
    shift = np.float32((step - 1.0) / 2.0)
    mx, my = (np.ascontiguousarray((c - shift) / np.float32(step)) for c in (x, y))
    return np.asarray(
        cv2.remap(plane, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32
    )


def lab(pixels: UInt8Array) -> PlaneArray:
    """CIE L*a*b* of RGB pixels, (H, W, 3) float32, L* from 0 to 100."""
    return np.asarray(cv2.cvtColor(pixels.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB), np.float32)


def features_of(
    pixels: UInt8Array, largest_radius_px: float, origin: tuple[float, float] = (0.0, 0.0)
) -> Features:
    """Build the pyramid deep enough for features of `largest_radius_px`."""
    count = 1 + max(0, math.ceil(math.log2(max(largest_radius_px, 1.0) / RADIUS_AT_LEVEL)))
    level = lab(pixels)
    planes = []
    for _ in range(count):
        planes.append(_planes(level))
        if min(level.shape[:2]) < 16:
            break
        half = (level.shape[1] // 2, level.shape[0] // 2)
        level = np.asarray(cv2.resize(level, half, interpolation=cv2.INTER_AREA), np.float32)
    return Features(tuple(planes), origin)


def _planes(level: PlaneArray) -> PlaneArray:
    smooth = cv2.GaussianBlur(level, (0, 0), EDGE_SIGMA, borderType=cv2.BORDER_REFLECT)
    rough = np.log(roughness(level[:, :, 0]))
    return np.dstack([smooth, rough, pit_likeness(level)]).astype(np.float32)


def roughness(lightness: PlaneArray) -> PlaneArray:
    """Root of the structure tensor's smaller eigenvalue, L* per px, with the noise floor added."""
    smooth = cv2.GaussianBlur(lightness, (0, 0), EDGE_SIGMA, borderType=cv2.BORDER_REFLECT)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125, borderType=cv2.BORDER_REFLECT)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125, borderType=cv2.BORDER_REFLECT)
    xx, yy, xy = (
        cv2.GaussianBlur(p, (0, 0), GATHER_SIGMA, borderType=cv2.BORDER_REFLECT)
        for p in (gx * gx, gy * gy, gx * gy)
    )
    smaller = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy * xy)
    return np.asarray(np.sqrt(np.clip(smaller, 0, None) + NOISE_FLOOR**2), np.float32)
