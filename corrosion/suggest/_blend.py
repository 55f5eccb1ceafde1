"""One click outlines a blend-out: not by its colour, by the direction of its sanding marks."""

from __future__ import annotations

import math

import numpy as np
import shapely

from corrosion.errors import MarkError
from corrosion.opencv import cv2
from corrosion.suggest._evidence import LEAST_SEEN
from corrosion.suggest._features import (
    NOISE_FLOOR,
    Features,
    FloatArray,
    PlaneArray,
    UInt8Array,
    checked_picture,
    lab,
)
from corrosion.suggest._polar import (
    RAYS,
    STEP,
    Bands,
    IntArray,
    Rings,
    band_means,
    bands_along,
    best_closed_paths,
    rings_around,
    samples_between,
)
from corrosion.suggest._suggestion import Suggestion, check_click, check_sizes, within_picture
from corrosion.terms import MarkKind

METHOD = "texture-star-1"
DEEPEST, FARTHEST = -20, 11
"""Samples looked at, from the rim: from 0.45 of the radius to 1.55 of it."""
SMALLEST_PX = 40.0
MARK_SIGMA = 0.8
"""Blur before the derivative: sanding marks are one to three px wide where they are seen at all."""
GATHER_SIGMA = 4.0
"""Window over which the direction of marks is gathered; the edge cannot be told better than this."""
BAND = 4
HALF = 11
BEND = 0.1
LEAST_CONTRAST = 0.3
ALIGN, LOG_STRENGTH = 2.0, 1.0
"""Channel scales: a turn of the marks by 45 degrees weighs like a seven-fold change of their strength."""


def outline_blend(
    picture: UInt8Array,
    click_px: tuple[float, float],
    *,
    largest_px: float | None = None,
    smallest_px: float = SMALLEST_PX,
) -> Suggestion:
    """Outline the blend-out that was clicked on, by texture.

    The structure tensor gives the direction and strength of the marks; a closed star-shaped path is found
    where they change most and the inside is sanded one way. A dish blended into metal that was sanded the
    same way all round has no such edge: outline it by hand, which is the normal way for blends.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        Grey or RGB, upright.
    click_px : (float, float)
        x, y in the project's pixel frame, near the middle of the dish.
    largest_px, smallest_px : float
        Sizes across to look for; the largest is four fifths of the shorter side unless given.

    Returns
    -------
    Suggestion
        Kind ``blend-out``; `edge_u_px` at least half the gathering window.

    Raises
    ------
    MarkError
        If the click lies outside the picture, the sizes make no sense, or the marks change nowhere
        round the click.
    """
    pixels = checked_picture(picture)
    check_click(click_px, pixels.shape)
    largest = max(3 * smallest_px, 0.8 * min(pixels.shape[:2])) if largest_px is None else largest_px
    check_sizes(smallest_px, largest)
    features = _texture(pixels, click_px, largest)
    outline, contrast, score = _best(features, click_px, smallest_px / 2, largest / 2)
    if outline is not None:
        middle = shapely.Polygon(outline).centroid
        again = _best(features, (float(middle.x), float(middle.y)), smallest_px / 2, largest / 2)
        if again[0] is not None and again[2] >= score:
            outline, contrast, score = again
    inside = outline is not None and shapely.Polygon(outline).contains(shapely.Point(click_px))
    if outline is None or not inside or contrast < LEAST_CONTRAST:
        raise MarkError(
            f"the marks on the metal change nowhere round ({click_px[0]:.0f}, {click_px[1]:.0f}) px.",
            remedy="Outline the blend-out by hand.",
        )
    bands = bands_along(features, outline[None], np.arange(-11, 12), finer=2.0)
    parameters: dict[str, float | str] = {
        "click_x_px": click_px[0],
        "click_y_px": click_px[1],
        "smallest_px": smallest_px,
        "largest_px": largest,
        "texture_contrast": round(contrast, 3),
    }
    return Suggestion(
        within_picture(outline, pixels.shape),
        MarkKind.BLEND_OUT,
        METHOD,
        parameters,
        float(np.clip(score / 2, 0.0, 1.0)),
        max(GATHER_SIGMA / 2, _edge_difference(bands)),
    )


def _texture(pixels: UInt8Array, at: tuple[float, float], largest: float) -> Features:
    """Direction (doubled angle), coherence and strength of marks, averaged down a pyramid."""
    reach = 1.3 * largest + 24
    x0, y0 = (max(0, math.floor(c - reach)) for c in at)
    window = pixels[y0 : math.ceil(at[1] + reach) + 1, x0 : math.ceil(at[0] + reach) + 1]
    plane = _marks(lab(window)[:, :, 0])
    levels = [plane]
    while min(plane.shape[:2]) >= 32 and 14.0 * 2 ** len(levels) < largest:
        half = (plane.shape[1] // 2, plane.shape[0] // 2)
        plane = np.asarray(cv2.resize(plane, half, interpolation=cv2.INTER_AREA), np.float32)
        levels.append(plane)
    return Features(tuple(levels), (float(x0), float(y0)))


def _marks(lightness: PlaneArray) -> PlaneArray:
    smooth = cv2.GaussianBlur(lightness, (0, 0), MARK_SIGMA, borderType=cv2.BORDER_REFLECT)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    # Every gradient counts at most a few times the usual: one paint edge must not drown the marks.
    size = np.hypot(gx, gy)
    cap = 3.0 * max(float(np.median(size)), NOISE_FLOOR)
    shrink = np.minimum(1.0, cap / np.maximum(size, 1e-6))
    gx, gy = gx * shrink, gy * shrink
    xx, yy, xy = (
        cv2.GaussianBlur(p, (0, 0), GATHER_SIGMA, borderType=cv2.BORDER_REFLECT)
        for p in (gx * gx, gy * gy, gx * gy)
    )
    total = xx + yy + NOISE_FLOOR**2
    strength = LOG_STRENGTH * 0.5 * np.log(total)
    # The fourth plane repeats none of the others: it only keeps the layout of `Features`.
    return np.dstack(
        [ALIGN * (xx - yy) / total, ALIGN * 2 * xy / total, strength, np.zeros_like(strength)]
    ).astype(np.float32)


def _best(
    features: Features, centre: tuple[float, float], least: float, largest: float
) -> tuple[FloatArray | None, float, float]:
    """Outline, its contrast along the rim and its score."""
    inner = max(4.0, least * 0.5)
    count = samples_between(inner, largest * 1.5)
    rings = rings_around(features, np.array([centre]), np.array([inner]), count, finer=2.0)
    inside, outside = band_means(rings.planes, BAND)
    step = np.minimum(np.linalg.norm(inside - outside, axis=3), 1.0) * rings.known
    bases = np.arange(6, max(7, count - 4), 3)
    paths = np.unique(best_closed_paths(step, bases, HALF, BEND)[0], axis=0)
    size = inner * np.exp(STEP * paths.mean(axis=1))
    paths = paths[
        (paths.min(axis=1) >= 0) & (paths.max(axis=1) < count) & (size >= least) & (size <= largest)
    ]
    if not len(paths):
        return None, 0.0, 0.0
    contrast, score = _judge(rings, step[:, 0], paths)
    best = int(score.argmax())
    return rings.outlines(paths[None, best])[0], float(contrast[best]), float(score[best])


def _judge(rings: Rings, step: PlaneArray, paths: IntArray) -> tuple[FloatArray, FloatArray]:
    """Contrast along each path, and that with how much the inside is sanded one way."""
    offsets = np.arange(DEEPEST, FARTHEST + 1)
    at = np.clip(paths[:, :, None] + offsets, 0, rings.count - 1)
    rays = np.arange(RAYS)
    around = rings.planes[:, 0][rays[None, :, None], at]
    contrast = step[rays, paths].mean(axis=1)
    inside, outside = offsets <= -3, offsets >= 3
    aligned = np.linalg.norm(around[:, :, inside, :2].mean(axis=(1, 2)), axis=1) / ALIGN
    apart = np.linalg.norm(
        around[:, :, inside, :3].mean(axis=(1, 2)) - around[:, :, outside, :3].mean(axis=(1, 2)), axis=1
    )
    seen = rings.known[:, 0][rays[None, :, None], at][:, :, outside].mean(axis=(1, 2))
    score = contrast + aligned + 0.5 * np.minimum(apart, 1.0)
    return contrast, np.where(seen < LEAST_SEEN, 0.0, score)


def _edge_difference(bands: Bands) -> float:
    """Half the mean distance, px, between the steepest and the half-way point of the texture step."""
    planes, offsets = bands.planes[:, 0], bands.offsets
    inside, outside = (planes[:, side].mean(axis=(0, 1)) for side in (offsets <= -3, offsets >= 3))
    level = (planes - (inside + outside) / 2) @ (inside - outside)
    # Share of the band that counts as inside: the half-way point when the step is clean.
    moved = ((level[:, np.abs(offsets) <= 6] > 0).sum(axis=1) - 6.5) * STEP
    return float(abs(np.mean(moved * bands.radii[0]))) / 2
