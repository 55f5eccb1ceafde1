"""The ellipse that most of many points lie on, the others being anything."""

from __future__ import annotations

import numpy as np

from corrosion.quantity import FloatArray
from corrosion.scale.ellipse import direct_fit, distances, shape_of

TRIALS = 2000
LEAST_RADIUS_PX = 8.0
LEAST_AXIS_RATIO = 0.45
_LEAST_POINTS = 12
_BATCH = 250


def agreed_ellipse(
    points: FloatArray, tolerance: float, *, about: FloatArray | None = None
) -> FloatArray | None:
    """Find the ellipse with most points within a tolerance (random samples of five, then refined).

    Parameters
    ----------
    points : ndarray of shape (n, 2)
    tolerance : float
        px.
    about : ndarray of shape (2,), optional
        A point that must lie well inside.

    Returns
    -------
    ndarray of shape (5,) or None
        Parameters as in `corrosion.scale.ellipse`; the same every time.
    """
    if len(points) < _LEAST_POINTS:
        return None
    rng = np.random.default_rng(0)
    best, most = None, _LEAST_POINTS - 1
    for _ in range(TRIALS // _BATCH):
        chosen = rng.integers(0, len(points), (_BATCH, 5))
        candidates = _through_five(points, chosen, about)
        if len(candidates) == 0:
            continue
        near = (_distances(candidates, points) < tolerance).sum(axis=1)
        top = int(np.argmax(near))
        if near[top] > most:
            best, most = candidates[top], int(near[top])
    return None if best is None else _polished(best, points, tolerance, about)


def plausible(parameters: FloatArray, about: FloatArray | None) -> bool:
    """Whether an ellipse is no sliver and holds a point well inside."""
    return bool(_plausible(parameters[None], about)[0])


def _polished(
    best: FloatArray, points: FloatArray, tolerance: float, about: FloatArray | None
) -> FloatArray:
    for _ in range(4):
        near = points[np.abs(distances(best, points)) < tolerance]
        better = direct_fit(near) if len(near) >= _LEAST_POINTS else None
        if better is None or not plausible(better, about):
            break
        best = better
    return best


def _through_five(points: FloatArray, chosen: np.ndarray, about: FloatArray | None) -> FloatArray:
    """Ellipses through five points each, (m, 5); what is no ellipse, or no likely one, is left out."""
    middle = points.mean(axis=0)
    size = float(np.abs(points - middle).max())
    x, y = np.moveaxis((points[chosen] - middle) / size, 2, 0)
    rows = np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=2)
    a, b, c, d, e, f = np.linalg.svd(rows)[2][:, -1].T
    good = 4.0 * a * c - b * b > 1e-9
    a, b, c, d, e, f = (part[good] for part in (a, b, c, d, e, f))
    determinant = 4.0 * a * c - b * b
    cx, cy = (b * e - 2.0 * c * d) / determinant, (b * d - 2.0 * a * e) / determinant
    level = 0.5 * (d * cx + e * cy) + f
    conic = np.stack([a, b / 2, b / 2, c], axis=1).reshape(-1, 2, 2)
    real = np.abs(level) > 1e-12
    values, axes = np.linalg.eigh(-conic[real] / level[real, None, None])
    positive = values[:, 0] > 1e-9
    values, axes = values[positive], axes[positive]
    shape = size * (axes / np.sqrt(values)[:, None, :]) @ np.swapaxes(axes, 1, 2)
    centre = middle + size * np.column_stack([cx, cy])[real][positive]
    found = np.column_stack([centre, shape[:, 0, 0], shape[:, 0, 1], shape[:, 1, 1]])
    return np.asarray(found[_plausible(found, about)])


def _plausible(parameters: FloatArray, about: FloatArray | None) -> np.ndarray:
    shapes = _shapes(parameters)
    small, large = np.linalg.eigvalsh(shapes).T
    good = (small > LEAST_RADIUS_PX) & (small > LEAST_AXIS_RATIO * large)
    if about is not None:
        q = np.einsum("mij,mj->mi", np.linalg.inv(shapes), about - parameters[:, :2])
        good &= (q**2).sum(axis=1) < 0.9**2
    return np.asarray(good)


def _shapes(parameters: FloatArray) -> FloatArray:
    return np.asarray(parameters[:, [2, 3, 3, 4]].reshape(-1, 2, 2))


def _distances(parameters: FloatArray, points: FloatArray) -> FloatArray:
    """Absolute first-order distances of n points from m ellipses, (m, n)."""
    inverse = np.linalg.inv(_shapes(parameters))
    # Written out: m times n products of 2 x 2 matrices go through no fast path of numpy's.
    a, b, c = (inverse[:, i, j, None] for i, j in ((0, 0), (0, 1), (1, 1)))
    x, y = (points[:, i] - parameters[:, i, None] for i in (0, 1))
    x, y = a * x + b * y, b * x + c * y
    size = np.sqrt(x * x + y * y)
    x, y = a * x + b * y, b * x + c * y
    slope = np.sqrt(x * x + y * y) / np.maximum(size, 1e-12)
    return np.asarray(np.abs(size - 1.0) / slope)


def mean_radius(parameters: FloatArray) -> float:
    """Root of the product of the semi-axes, px."""
    return float(np.sqrt(np.linalg.det(shape_of(parameters))))
