"""The ticks of a rule as a pencil of lines: equally spaced parallel lines, seen in perspective.

Line k of equally spaced parallels is seen as m1 - k m2 (three-vectors): the limit of large k is the line
at infinity of the rule's plane, so m2 is its horizon. A rule's ticks therefore tell the tilt of the
surface, along the rule by their drawing together and across it by the pitch at their two ends, which a
line of two points cannot. With u along the rule and v across it, tick k lies at

    u = (k (h v + p) - a v - b) / (1 - k g)

with pitch p, perspective g along and h across the rule, slant a and start b. A constant pitch is
g = h = 0; the one-dimensional projective form (a k + b) / (c k + 1) is a single v.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import fdtri

from corrosion.quantity import FloatArray

# Sampling leaves some error that no scatter shows (metrology tables of the project).
FLOOR_PX = 0.05
# A line fit from few ticks under-covers at 2 u without this.
COVER = 1.25
_SIGNIFICANT = 0.05


@dataclass(frozen=True, eq=False)
class Pencil:
    """Fitted ticks.

    Attributes
    ----------
    frame : ndarray of shape (3, 3)
        Picture (px, homogeneous) to (u, v): turned so that u runs along the rule, moved and scaled.
    parameters : ndarray of shape (5,)
        a, b, g, h, p.
    factor : ndarray of shape (5, 5)
        Movements of the parameters per standardised error.
    residuals_px : ndarray of shape (n,)
        Along the rule.
    sigma_px : float
        Scatter of one tick.
    perspective : bool
        Whether a constant pitch fits significantly worse (F-test at 5 %).
    """

    frame: FloatArray
    parameters: FloatArray
    factor: FloatArray
    residuals_px: FloatArray
    sigma_px: float
    perspective: bool

    def lines(self, parameters: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
        """Return m1 and m2 in the picture, px."""
        a, b, g, h, p = self.parameters if parameters is None else parameters
        m1 = self.frame.T @ np.array([1.0, a, b])
        m2 = self.frame.T @ np.array([g, h, p])
        return m1, m2


def _along(parameters: FloatArray, k: FloatArray, v: FloatArray) -> FloatArray:
    a, b, g, h, p = parameters
    along: FloatArray = (k * (h * v + p) - a * v - b) / (1.0 - k * g)
    return along


def frame_of(points: FloatArray, direction: FloatArray) -> FloatArray:
    """Similarity that moves the points' middle to 0, `direction` to +u, and their half-length to 1."""
    unit = direction / np.linalg.norm(direction)
    turn = np.array([[unit[0], unit[1]], [-unit[1], unit[0]]])
    middle = points.mean(axis=0)
    scale = 1.0 / float(np.abs((points - middle) @ turn[0]).max())
    frame = np.eye(3)
    frame[:2, :2] = scale * turn
    frame[:2, 2] = -scale * turn @ middle
    return frame


def fit_pencil(
    numbers: FloatArray, points: FloatArray, direction: FloatArray, horizon: FloatArray, sigma_px: float
) -> Pencil:
    """Fit the pencil to points on ticks.

    Parameters
    ----------
    numbers : ndarray of shape (n,)
        Running number of each point's tick.
    points : ndarray of shape (n, 2)
        Ideal pixels; several per tick, along it.
    direction : ndarray of shape (2,)
        Along the rule.
    horizon : ndarray of shape (2, 3)
        Two rows r with r . m2 / m2[2] standardised: what is expected of the horizon (tilt 0), m2 being
        scaled at the middle of the points.
    sigma_px : float
        Least standard uncertainty of one tick, for the weight of the expectation.
    """
    frame = frame_of(points, direction)
    scale = float(np.linalg.norm(frame[0, :2]))
    u, v = (points @ frame[:2, :2].T + frame[:2, 2]).T
    start = _start(numbers, u, v)
    sigma = scale * max(sigma_px, FLOOR_PX)

    def tilt(x: FloatArray) -> FloatArray:
        row: FloatArray = horizon @ (frame.T @ x[2:]) / x[4]
        return row

    def misfit(x: FloatArray) -> FloatArray:
        return np.concatenate([(_along(x, numbers, v) - u) / sigma, tilt(x)])

    found = least_squares(misfit, start, x_scale="jac", method="lm")
    residuals = (u - _along(found.x, numbers, v)) / scale
    sigma_found = float(np.sqrt((residuals**2).sum() / max(1, len(u) - 5)))
    factor = COVER * _factor(found.jac, residuals * scale / sigma, numbers, sigma_found * scale / sigma)
    perspective = _perspective(numbers, u, v, residuals * scale)
    return Pencil(frame, found.x, factor, residuals, sigma_found, perspective)


def _start(k: FloatArray, u: FloatArray, v: FloatArray) -> FloatArray:
    design = np.column_stack([k, -v, -np.ones_like(k)])
    p, a, b = np.linalg.lstsq(design, u, rcond=None)[0]
    return np.array([a, b, 0.0, 0.0, p])


def _factor(jacobian: FloatArray, residuals: FloatArray, numbers: FloatArray, spread: float) -> FloatArray:
    """Movements of the parameters, with the errors of one tick taken as one.

    Points on one tick share its error of graduation and its stains, so their gradients are summed per
    tick before they are squared (a sandwich covariance); never less than independent errors give.
    """
    bread = np.linalg.inv(jacobian.T @ jacobian)
    data = jacobian[: len(residuals)]
    ticks = np.unique(numbers)
    member = (numbers[:, None] == ticks).astype(np.float64)
    scores = member.T @ (data * residuals[:, None])
    few = len(ticks) / max(1.0, len(ticks) - 5.0)
    prior = jacobian[len(residuals) :]
    meat = few * scores.T @ scores + prior.T @ prior
    plain = max(1.0, spread**2) * data.T @ data + prior.T @ prior
    covariance = _larger(bread @ meat @ bread, bread @ plain @ bread)
    values, vectors = np.linalg.eigh(covariance)
    factor: FloatArray = vectors * np.sqrt(np.maximum(values, 0.0))
    return factor


def _larger(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return a covariance at least as large as each of two in every direction of `other`."""
    lower = np.linalg.cholesky(other)
    inverse = np.linalg.inv(lower)
    values, vectors = np.linalg.eigh(inverse @ one @ inverse.T)
    widened = (vectors * np.maximum(values, 1.0)) @ vectors.T
    return np.asarray(lower @ widened @ lower.T)


def _perspective(k: FloatArray, u: FloatArray, v: FloatArray, residuals: FloatArray) -> bool:
    """F-test of the two perspective terms against a constant pitch."""
    design = np.column_stack([k, v, np.ones_like(k)])
    plain = u - design @ np.linalg.lstsq(design, u, rcond=None)[0]
    dof = len(u) - 5
    rest = float((residuals**2).sum())
    if dof < 1 or rest == 0:
        return bool(dof >= 1 and float((plain**2).sum()) > 0)
    ratio = (float((plain**2).sum()) - rest) / 2.0 / (rest / dof)
    return ratio > float(fdtri(2, dof, 1.0 - _SIGNIFICANT))


def pitch_px(pencil: Pencil) -> float:
    """Pitch at the middle of the ticks, px."""
    return float(abs(pencil.parameters[4]) / np.hypot(*pencil.frame[0, :2]))
