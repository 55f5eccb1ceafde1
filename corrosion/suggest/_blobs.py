"""Where to look: spots rougher, brighter, darker or of other colour than what lies round them."""

from __future__ import annotations

import numpy as np
from skimage.feature import peak_local_max

from corrosion.opencv import cv2
from corrosion.suggest._features import PIT, ROUGH, Features, FloatArray, PlaneArray

SIGMAS = (2.5, 3.6, 5.2)
"""px of a level: with halving per level a scale every factor 1.44."""
RADIUS_PER_SIGMA = 1.7
"""A disc answers a difference of Gaussians (s, 1.6 s) most when its radius is about 1.7 s."""
LEAST_ANSWER = (0.8, 0.3, 0.08, 0.04)
"""Least answer in L*, a*b*, log roughness and likeness to a pit: what noise leaves after such a window."""
QUOTA = (12, 12, 20, 40)
"""Most spots per scale by each of them: small specks must not crowd out large pits."""


def spots(features: Features, least_radius: float, largest_radius: float) -> FloatArray:
    """List spots to look at, the strongest of each scale and kind.

    Returns
    -------
    ndarray of shape (n, 3)
        x, y and radius in px; one per place and scale.
    """
    found = []
    for number, plane in enumerate(features.levels):
        step = 2.0**number
        for sigma in SIGMAS:
            radius = RADIUS_PER_SIGMA * sigma * step
            if 0.7 * least_radius <= radius <= 1.4 * largest_radius:
                found.append(_of_one_scale(plane, sigma, radius, step))
    if not found:
        return np.zeros((0, 3))
    rows = np.vstack(found)
    rows = rows[np.lexsort((rows[:, 0], rows[:, 1], -rows[:, 3]))]
    kept = _apart(rows)[:, :3]
    kept[:, :2] += features.origin
    return kept


def _of_one_scale(plane: PlaneArray, sigma: float, radius: float, step: float) -> FloatArray:
    narrow = cv2.GaussianBlur(plane, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    wide = cv2.GaussianBlur(plane, (0, 0), 1.6 * sigma, borderType=cv2.BORDER_REFLECT)
    apart = narrow - wide
    answers = (
        np.abs(apart[:, :, 0]),
        np.hypot(apart[:, :, 1], apart[:, :, 2]),
        apart[:, :, ROUGH],
        apart[:, :, PIT],
    )
    rows = []
    for answer, least, quota in zip(answers, LEAST_ANSWER, QUOTA, strict=True):
        peaks = peak_local_max(  # type: ignore[no-untyped-call]
            answer, min_distance=max(1, int(sigma)), threshold_abs=least, exclude_border=False
        )[:quota]
        if len(peaks):
            strength = answer[peaks[:, 0], peaks[:, 1]] / least
            place = peaks[:, ::-1] * step + (step - 1) / 2
            rows.append(np.column_stack([place, np.full(len(peaks), radius), strength]))
    return np.vstack(rows) if rows else np.zeros((0, 4))


def _apart(rows: FloatArray) -> FloatArray:
    """Keep the strongest of spots that lie in one another and are of one size."""
    kept: list[int] = []
    for number, (x, y, radius, _) in enumerate(rows):
        others = rows[kept]
        near = np.hypot(others[:, 0] - x, others[:, 1] - y) < 0.5 * np.minimum(others[:, 2], radius)
        alike = np.abs(np.log(others[:, 2] / radius)) < 0.6
        if not (near & alike).any():
            kept.append(number)
    return rows[kept].copy()
