"""A rough lens profile from one edge that is straight in fact.

A straight edge at distance d from the middle of the picture, of half length l, is bent by a sagitta of
k1 d l^2 (lengths in focal lengths; the plumb-line idea: D. C. Brown, "Close-range camera calibration",
1971, from memory). Only k1 / f^2 acts on points of the picture, so the focal length need not be known.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from scipy.optimize import least_squares

from corrosion.errors import LensError
from corrosion.lens import undistort, with_parameters
from corrosion.model import LensProfile
from corrosion.quantity import FloatArray

STRAIGHT_PX = 1.0
LEAST_POINTS = 5
_LEAST_LENGTH = 0.4
_LEAST_DISTANCE = 0.1
# Where the distortion's centre may lie off the middle of the picture, in picture widths (rule of ours).
_U_CENTRE = 0.02


def straighten(
    edge_px: FloatArray,
    size: tuple[int, int],
    *,
    name: str,
    sigma_px: float = 0.3,
    device: str = "",
) -> LensProfile:
    """Find k1 from points clicked along one edge that is straight in fact.

    Parameters
    ----------
    edge_px : ndarray of shape (n, 2)
        At least 5 points along the edge, in order.
    size : (width, height)
    name, device : str
        Of the profile.
    sigma_px : float
        Standard uncertainty of a clicked coordinate.

    Returns
    -------
    LensProfile
        Its focal length is not known. Where the edge bends less than 1 px, k1 is 0 and its uncertainty
        is that of a rectangular distribution up to the k1 that 1 px of sagitta would mean; an area at r
        focal lengths from the middle is then uncertain by 4 |k1| r^2 / sqrt 3.

    Raises
    ------
    LensError
        If the edge is too short, passes through the middle (where distortion does not bend it), or does
        not become straight for any k1.
    """
    edge = np.asarray(edge_px, dtype=np.float64).reshape(-1, 2)
    place = f"lens profile {name}"
    blank = _blank(size, name, device)
    half, away = _check_edge(edge, size, place)
    focal = blank.matrix[0]
    if abs(_sagitta(edge)) < STRAIGHT_PX:
        k1, u_k1 = 0.0, STRAIGHT_PX * focal**2 / (away * half**2) / math.sqrt(3.0)
    else:
        k1, u_k1 = _fitted(edge, blank, sigma_px, place)
    u_centre = _U_CENTRE * size[0]
    variances = np.array([0.0, 0.0, u_centre**2, u_centre**2, u_k1**2, 0.0, 0.0, 0.0])
    values = np.array([*blank.matrix, k1, 0.0, 0.0, 0.0])
    return with_parameters(blank, values).model_copy(update={"covariance": np.diag(variances).tolist()})


def _blank(size: tuple[int, int], lens_id: str, device: str) -> LensProfile:
    focal = float(max(size))
    return LensProfile(
        id=lens_id,
        device=device,
        size=size,
        matrix=(focal, focal, (size[0] - 1) / 2.0, (size[1] - 1) / 2.0),
        distortion=[0.0, 0.0, 0.0, 0.0],
        focal_known=False,
        note="k1 from one straight edge",
    )


def _check_edge(edge: FloatArray, size: tuple[int, int], place: str) -> tuple[float, float]:
    """Half length of the edge and its distance from the middle, px."""
    middle = (np.array(size) - 1.0) / 2.0
    # A click may miss the picture, but not by a picture.
    if np.abs(edge - middle).max(initial=0.0) > 1.5 * max(size):
        raise LensError(
            f"points of the edge lie outside the picture of {size[0]} x {size[1]} px.",
            place=place,
            remedy="Click them in the picture, in its own pixels.",
        )
    chord = shapely.LineString(edge[[0, -1]]) if len(edge) >= LEAST_POINTS else None
    length = 0.0 if chord is None else float(chord.length)
    if length < _LEAST_LENGTH * max(size):
        raise LensError(
            f"{len(edge)} points over {length:.0f} px of edge do not show how the lens bends.",
            place=place,
            remedy=f"Click {LEAST_POINTS} points or more along {_LEAST_LENGTH:.0%} of the picture.",
        )
    along = (edge[-1] - edge[0]) / length
    reach = middle - edge[0]
    away = float(abs(along[0] * reach[1] - along[1] * reach[0]))
    if away < _LEAST_DISTANCE * max(size):
        raise LensError(
            f"the edge passes {away:.0f} px from the middle of the picture, where no lens bends lines.",
            place=place,
            remedy="Use an edge nearer the border of the picture.",
        )
    return length / 2.0, away


def _across(points: FloatArray) -> FloatArray:
    """Distances of points (n, 2) from their own best line, signed, px."""
    centred = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(centred)
    away: FloatArray = centred @ axes[1]
    return away


def _sagitta(edge: FloatArray) -> float:
    """Height of the bow: of the parabola fitted across the edge, over its length."""
    chord = edge[-1] - edge[0]
    along = (edge - edge[0]) @ chord / (chord @ chord)
    curvature = np.polyfit(along, _across(edge), 2)[0]
    return float(curvature / 4.0)


def _fitted(edge: FloatArray, blank: LensProfile, sigma_px: float, place: str) -> tuple[float, float]:
    """k1 that makes the edge straight, and its standard uncertainty."""

    def bent(x: FloatArray) -> FloatArray:
        lens = with_parameters(blank, np.array([*blank.matrix, x[0], 0.0, 0.0, 0.0]))
        return _across(undistort(edge, lens)[0])

    try:
        found = least_squares(bent, [0.0], x_scale=0.05)
    except LensError as error:
        raise error.at(place) from error
    scatter = math.sqrt(2.0 * found.cost / max(1, len(edge) - 3))
    noise = max(sigma_px, scatter)
    if scatter > 5.0 * sigma_px:
        raise LensError(
            f"the points miss a straight line by {scatter:.1f} px, however the lens bends.",
            place=place,
            remedy="Click the edge again; take one that is straight in fact.",
        )
    return float(found.x[0]), noise / float(np.linalg.norm(found.jac))
