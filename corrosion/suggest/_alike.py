"""Outlines round whatever the net finds alike to a pit, as a start for rims that no point led to."""

from __future__ import annotations

import math

import numpy as np
import shapely
from skimage.measure import find_contours

from corrosion.suggest._features import PIT, Features, FloatArray
from corrosion.suggest._polar import RAYS

LEVELS = (0.35, 0.7)
"""Likeness at the outlines: the lower reaches round all of a pit, the higher parts it from the next."""
READ = (5.0, 45.0)
"""Radii, px of a level, at which an outline is taken from that level; others have the other sizes."""


def alike(features: Features, least_radius: float, largest_radius: float) -> FloatArray:
    """Outline every region of a pit's size that the net finds alike to one.

    Parameters
    ----------
    least_radius, largest_radius : float, px

    Returns
    -------
    ndarray of shape (n, RAYS, 2)
        Corners at even distances, px.
    """
    found = []
    for number, plane in enumerate(features.levels):
        step = 2.0**number
        # A margin of nothing closes the outlines at the border.
        likeness = np.pad(plane[..., PIT], 1)
        for level in LEVELS:
            for line in find_contours(likeness, level):  # type: ignore[no-untyped-call]
                radius = math.sqrt(float(shapely.Polygon(line).area) / math.pi) if len(line) > 8 else 0.0
                if READ[0] <= radius <= READ[1] and least_radius <= radius * step <= largest_radius:
                    found.append(_evenly((line[:, ::-1] - 1.0) * step + (step - 1.0) / 2.0))
    return np.array(found).reshape(-1, RAYS, 2) + features.origin


def _evenly(closed: FloatArray) -> FloatArray:
    """Set `RAYS` corners along a closed line (n, 2) whose last point is its first."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.arange(RAYS) * along[-1] / RAYS
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in (0, 1)])
