"""Ellipses through points: direct fit, geometric refinement, covariance.

An ellipse is a centre c and a symmetric matrix S: its points are c + S (cos t, sin t), its semi-axes the
eigenvalues of S. Unlike two axes and an angle, these five numbers stay well defined for a circle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from corrosion.quantity import FloatArray

_LEAST_POINTS = 6


@dataclass(frozen=True, eq=False)
class Ellipse:
    """A fitted ellipse.

    Attributes
    ----------
    parameters : ndarray of shape (5,)
        cx, cy, Sxx, Sxy, Syy, px.
    covariance : ndarray of shape (5, 5)
        For independent points of the fit's own scatter.
    residuals : ndarray of shape (n,)
        Distances of the points outwards from the ellipse, px, to first order.
    """

    parameters: FloatArray
    covariance: FloatArray
    residuals: FloatArray

    @property
    def centre(self) -> FloatArray:
        """Centre, px, shape (2,)."""
        return self.parameters[:2]

    @property
    def shape(self) -> FloatArray:
        """S, shape (2, 2)."""
        return shape_of(self.parameters)

    @property
    def semi_axes(self) -> tuple[float, float]:
        """Longer and shorter semi-axis, px."""
        small, large = np.linalg.eigvalsh(self.shape)
        return float(large), float(small)

    @property
    def rms(self) -> float:
        """Scatter of the points about the ellipse, px, over the degrees of freedom."""
        dof = max(1, len(self.residuals) - 5)
        return float(np.sqrt((self.residuals**2).sum() / dof))


def shape_of(parameters: FloatArray) -> FloatArray:
    """S of five parameters."""
    _, _, xx, xy, yy = parameters
    return np.array([[xx, xy], [xy, yy]])


def points_of(parameters: FloatArray, count: int) -> FloatArray:
    """Points of an ellipse at equal steps of its parameter, (count, 2)."""
    t = np.arange(count) * (2.0 * math.pi / count)
    points: FloatArray = parameters[:2] + np.column_stack([np.cos(t), np.sin(t)]) @ shape_of(parameters)
    return points


def directions(parameters: FloatArray, points: FloatArray) -> FloatArray:
    """Parameter t of points, as on the circle the ellipse came from, rad, (n,)."""
    x, y = np.linalg.solve(shape_of(parameters), (points - parameters[:2]).T)
    return np.asarray(np.arctan2(y, x), dtype=np.float64)


def distances(parameters: FloatArray, points: FloatArray) -> FloatArray:
    """First-order signed distances of points (n, 2) outwards from an ellipse, px, (n,)."""
    inverse = np.linalg.inv(shape_of(parameters))
    q = (points - parameters[:2]) @ inverse
    size = np.linalg.norm(q, axis=1)
    slope = np.linalg.norm(q @ inverse, axis=1) / np.maximum(size, 1e-12)
    away: FloatArray = (size - 1.0) / slope
    return away


def direct_fit(points: FloatArray) -> FloatArray | None:
    """Fit an ellipse directly: five parameters, or None where the points lie on no ellipse.

    R. Halir and J. Flusser, "Numerically stable direct least squares fitting of ellipses", WSCG 1998
    (from memory).
    """
    middle = points.mean(axis=0)
    size = float(np.abs(points - middle).max())
    if size == 0 or not math.isfinite(size):
        return None
    x, y = ((points - middle) / size).T
    quadratic = np.column_stack([x * x, x * y, y * y])
    linear = np.column_stack([x, y, np.ones_like(x)])
    try:
        t = -np.linalg.solve(linear.T @ linear, linear.T @ quadratic)
        reduced = quadratic.T @ quadratic + quadratic.T @ linear @ t
        reduced = np.array([reduced[2] / 2, -reduced[1], reduced[0] / 2])
        _, vectors = np.linalg.eig(reduced)
    except np.linalg.LinAlgError:
        return None
    vectors = np.real(vectors)
    good = 4 * vectors[0] * vectors[2] - vectors[1] ** 2 > 0
    if not good.any():
        return None
    a, b, c = vectors[:, int(np.argmax(good))]
    d, e, f = t @ np.array([a, b, c])
    return _parameters(np.array([[a, b / 2], [b / 2, c]]), np.array([d, e]) / 2, f, middle, size)


def _parameters(
    conic: FloatArray, linear: FloatArray, constant: float, middle: FloatArray, size: float
) -> FloatArray | None:
    """Turn x^T C x + 2 l^T x + f = 0 into centre and S, undoing the normalisation."""
    centre = -np.linalg.solve(conic, linear)
    level = float(linear @ centre + constant)
    if level == 0:
        return None
    values, axes = np.linalg.eigh(-conic / level)
    if values.min() <= 0:
        return None
    shape = size * (axes / np.sqrt(values)) @ axes.T
    return np.array([*(middle + size * centre), shape[0, 0], shape[0, 1], shape[1, 1]])


def fit_ellipse(points: FloatArray, *, robust: bool = False) -> Ellipse | None:
    """Fit an ellipse by its points' distances.

    Parameters
    ----------
    points : ndarray of shape (n, 2)
        At least six.
    robust : bool
        Weigh down points far off; for edges found in pictures.

    Returns
    -------
    Ellipse or None
        None where there is no ellipse.
    """
    start = direct_fit(points) if len(points) >= _LEAST_POINTS else None
    if start is None:
        return None
    loss, scale = ("soft_l1", 0.5) if robust else ("linear", 1.0)
    found = least_squares(lambda p: distances(p, points), start, loss=loss, f_scale=scale, x_scale="jac")
    if not found.success or np.linalg.eigvalsh(shape_of(found.x)).min() <= 0:
        return None
    residuals = distances(found.x, points)
    unit = Ellipse(found.x, np.linalg.pinv(found.jac.T @ found.jac), residuals)
    return replace(unit, covariance=unit.rms**2 * unit.covariance)


def correlation_length(ellipse: Ellipse, points: FloatArray) -> float:
    """How many neighbouring rim points share one error, at least 1.

    Points found every degree lie on the same grain and shadow. The sum of the autocorrelation of the
    residuals up to its first zero gives the number of points worth one independent point.
    """
    order = np.argsort(directions(ellipse.parameters, points))
    r = ellipse.residuals[order]
    r = r - r.mean()
    power = float((r**2).sum())
    if power == 0 or len(r) < 2 * _LEAST_POINTS:
        return 1.0
    spectrum = np.abs(np.fft.rfft(r)) ** 2
    correlation = np.fft.irfft(spectrum, len(r)) / power
    half = correlation[1 : len(r) // 2]
    negative = np.flatnonzero(half <= 0)
    until = int(negative[0]) if len(negative) else len(half)
    return 1.0 + 2.0 * float(half[:until].sum())


def widest_gap_rad(ellipse: Ellipse, points: FloatArray) -> float:
    """Widest gap between neighbouring rim points as seen from the centre, rad."""
    t = np.sort(directions(ellipse.parameters, points))
    gaps = np.diff(np.concatenate([t, [t[0] + 2.0 * math.pi]]))
    return float(gaps.max())
