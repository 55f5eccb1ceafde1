"""Two other opinions on where the edge is: half-way in contrast, and a watershed."""

from __future__ import annotations

import math

import numpy as np
import shapely
from skimage.segmentation import watershed

from corrosion.opencv import cv2
from corrosion.suggest._features import ROUGH, FloatArray, PlaneArray, UInt8Array, lab
from corrosion.suggest._polar import RAYS, STEP, Bands

HALF_LEVEL = np.arange(-11, 12)
REACH = 5
"""Samples (a fifth of the radius) within which the half-way point is looked for."""
MOST_SIDE_PX = 500
"""Longest side of the piece given to the watershed; larger ones are reduced first."""
CORE, SURROUND = 0.55, 1.4
"""Markers: the outline shrunk and grown by these factors is taken as surely in and surely out."""


def half_level_area(bands: Bands) -> float:
    """Area inside the line half-way between the mean of the inside and of the outside, px2.

    Along each ray of the first outline, read at `HALF_LEVEL`, the crossing nearest the rim counts; where
    there is none the rim itself does.
    """
    offsets = bands.offsets
    colour = bands.planes[:, 0, :, :ROUGH].astype(np.float64)
    inside, outside = (colour[:, side].mean(axis=(0, 1)) for side in (offsets <= -3, offsets >= 3))
    level = (colour - (inside + outside) / 2) @ (inside - outside)
    near = np.abs(offsets) <= REACH
    place = np.zeros(RAYS)
    for ray, piece in enumerate(level[:, near]):
        down = np.flatnonzero((piece[:-1] > 0) & (piece[1:] <= 0))
        if down.size:
            at = down + piece[down] / (piece[down] - piece[down + 1]) - REACH
            place[ray] = float(at[np.abs(at).argmin()])
    radius = bands.radii[0] * np.exp(STEP * place)
    return 0.5 * math.sin(2 * math.pi / RAYS) * float(radius @ np.roll(radius, 1))


def watershed_outline(pixels: UInt8Array, outline: FloatArray) -> FloatArray | None:
    """Outline by marker watershed on the colour gradient, from markers set by `outline`.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
    outline : ndarray of shape (n, 2), px

    Returns
    -------
    ndarray of shape (m, 2), px, or None
        None where the piece of picture is too small.
    """
    polygon = shapely.make_valid(shapely.Polygon(outline))
    centre = np.array(polygon.centroid.coords[0])
    span = SURROUND * 1.1 * np.abs(outline - centre).max(axis=0) + 4
    low = np.maximum(np.floor(centre - span), 0).astype(int)
    high = np.minimum(np.ceil(centre + span) + 1, [pixels.shape[1], pixels.shape[0]]).astype(int)
    piece = pixels[low[1] : high[1], low[0] : high[0]]
    step = max(1, math.ceil(max(piece.shape[:2]) / MOST_SIDE_PX))
    piece = np.asarray(
        cv2.resize(piece, (piece.shape[1] // step, piece.shape[0] // step), interpolation=cv2.INTER_AREA),
        np.uint8,
    )
    if min(piece.shape[:2]) < 8:
        return None

    def drawn(factor: float) -> UInt8Array:
        corners = ((centre + factor * (outline - centre) - low) - (step - 1) / 2) / step
        mask = np.zeros(piece.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.rint(corners).astype(np.int32)], 1)
        return mask

    markers = drawn(CORE).astype(np.int32)
    markers[drawn(SURROUND) == 0] = 2
    basin = watershed(_gradient(lab(piece)), markers) == 1  # type: ignore[no-untyped-call]
    rings, _ = cv2.findContours(basin.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not rings:
        return None
    longest = max(rings, key=cv2.contourArea).reshape(-1, 2).astype(np.float64)
    if len(longest) < 4:
        return None
    # A contour runs through the middles of the border pixels; the basin ends half a pixel further out.
    grown = shapely.Polygon(longest).buffer(0.5)
    corners = np.asarray(grown.exterior.coords, dtype=np.float64)[:-1]
    return np.asarray(corners * step + (step - 1) / 2 + low)


def _gradient(plane: PlaneArray) -> PlaneArray:
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.0, borderType=cv2.BORDER_REFLECT)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    return np.asarray(np.sqrt((gx * gx + gy * gy).sum(axis=2)), np.float32)
