"""Fasteners stand in rows: things of one size, evenly spaced on a straight line. Pits seldom do."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from corrosion.suggest._features import FloatArray

SAME_SIZE = 0.1
"""Most difference of the logarithms of two sizes that are one: a tenth."""
SHARES = (1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4)
"""Of the way from one thing to another, where a third of their row may be: not all of a row are seen."""
OFF = 0.15
"""Most distance from such a place, in sizes."""
APART = 1.5
"""Least distance between neighbours, in sizes."""


def in_rows(middles: FloatArray, sizes: FloatArray) -> NDArray[np.bool_]:
    """Tell which things stand in a row of three or more.

    Parameters
    ----------
    middles : ndarray of shape (n, 2)
    sizes : ndarray of shape (n,)
        Sizes across, of the middles' unit.

    Returns
    -------
    ndarray of shape (n,), bool
    """
    row = np.zeros(len(sizes), dtype=bool)
    if len(sizes) < 3:
        return row
    alike = np.abs(np.log(sizes[:, None] / sizes)) < SAME_SIZE
    one, other = np.nonzero(np.triu(alike, 1))
    tree, way = cKDTree(middles), middles[other] - middles[one]
    for share in SHARES:
        off, third = tree.query(middles[one] + share * way)
        apart = min(share, 1 - share) * np.linalg.norm(way, axis=1) >= APART * sizes[one]
        there = apart & (off < OFF * sizes[one]) & alike[third, one] & alike[third, other]
        for which in (one, other, third):
            row[which[there]] = True
    return row
