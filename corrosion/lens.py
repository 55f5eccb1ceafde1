"""Lens profiles: from pixels in the picture to pixels of an ideal pinhole with the same matrix.

Points are undistorted, never pictures: resampling a picture moves edges and adds nothing.
"""

from __future__ import annotations

from typing import cast

import numpy as np
import shapely

from corrosion.errors import LensError
from corrosion.model import LensProfile, Photo
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray
from corrosion.terms import Flag

LEAST_VIEWS = 8
MOST_RMS_PX = 1.0
LEAST_COVERED = 0.6
LENS_STEP = 0.1
"""Share of a standard uncertainty that derivatives by the profile are taken over."""

_STEP_PX = 0.05
_NEWTON_STEPS = 8
_SETTLED_PX = 1e-10
_FARTHEST_PX = 1e6
_ROUND_TRIP_PX = 1e-3
# Area in the picture over ideal area: below this the lens model crushes the border to nothing.
_LEAST_SHRINK = 0.01
# Parts of the correlation matrix below this are rounding.
_LEAST_VARIANCE = 1e-12


def check_lens(lens: LensProfile, size: tuple[int, int] | None, *, place: str = "") -> None:
    """Refuse a profile that was made for another picture size.

    A calibration holds for one picture size: a crop moves the principal point and a resize changes the
    focal length, and neither can be told from the numbers of a single size.

    Parameters
    ----------
    lens : LensProfile
    size : (width, height) or None
        Upright picture size, px; None where it is not known, and then nothing can be checked.
    place : str
        Named in the error.

    Raises
    ------
    LensError
        If the sizes differ.
    """
    if size is None or tuple(size) == tuple(lens.size):
        return
    raise LensError(
        f"the picture is {size[0]} x {size[1]} px, but lens profile {lens.id!r} was made for "
        f"{lens.size[0]} x {lens.size[1]} px.",
        place=place,
        remedy="Use the uncropped picture at the calibrated size and orientation, or calibrate this size.",
    )


def check_profile(lens: LensProfile, photo: Photo, *, place: str = "") -> frozenset[Flag]:
    """Refuse a profile that is not good enough, or was made with something else than the photo.

    The limits (8 views, 1 px RMS) are rules of ours. What only one of the two states
    cannot be compared, and is flagged.

    Returns
    -------
    frozenset of Flag
        `Flag.LENS_NOT_CONFIRMED`, `Flag.LENS_FROM_EDGE`.

    Raises
    ------
    LensError
    """
    _check_quality(lens, place)
    open_ends = [_differs(lens, photo, name, place) for name in ("device", "adapter", "focus")]
    flags = {Flag.LENS_NOT_CONFIRMED} if any([*open_ends, _out_of_range(lens, photo, place)]) else set()
    return frozenset(flags if lens.focal_known else flags | {Flag.LENS_FROM_EDGE})


def check_field(lens: LensProfile | None, points_px: FloatArray, *, place: str = "") -> frozenset[Flag]:
    """Flag points of a mark (n, 2) beyond the field in which the calibration saw its board.

    Raises
    ------
    LensError
        If the board covered less than 60 % of the frame: such a profile serves within its field only.
    """
    if lens is None or not lens.field:
        return frozenset()
    field = shapely.convex_hull(shapely.multipoints(np.array(lens.field)))
    outside = ~shapely.covers(field, shapely.points(points_px))
    if not outside.any():
        return frozenset()
    if lens.covered is not None and lens.covered < LEAST_COVERED:
        x, y = points_px[int(np.argmax(outside))]
        raise LensError(
            f"the point ({x:.0f}, {y:.0f}) px lies where lens profile {lens.id!r} was not calibrated; its "
            f"board covered {lens.covered:.0%} of the frame.",
            place=place,
            remedy="Mark where the board was, or calibrate with the board out to the edges.",
        )
    return frozenset({Flag.LENS_BEYOND_FIELD})


def moved_profiles(lens: LensProfile) -> list[LensProfile]:
    """Profiles with each independent part of the covariance `LENS_STEP` of its standard uncertainty off.

    Returns
    -------
    list of LensProfile
        Empty where the profile states no covariance.
    """
    if lens.covariance is None:
        return []
    covariance = np.array(lens.covariance)
    u = np.sqrt(np.diag(covariance).clip(min=0.0))
    # Focal lengths and coefficients differ by powers of ten; correlations do not.
    scaled = covariance / np.outer(np.where(u > 0, u, 1.0), np.where(u > 0, u, 1.0))
    variances, directions = np.linalg.eigh((scaled + scaled.T) / 2.0)
    parts = [
        u * d * np.sqrt(v) for v, d in zip(variances, directions.T, strict=True) if v > _LEAST_VARIANCE
    ]
    values = np.array([*lens.matrix, *lens.distortion])
    return [with_parameters(lens, values + LENS_STEP * part) for part in parts]


def with_parameters(lens: LensProfile, values: FloatArray) -> LensProfile:
    """Give a profile other (fx, fy, cx, cy, distortion...), shape (4 + d,)."""
    fx, fy, cx, cy, *distortion = (float(v) for v in values)
    return lens.model_copy(update={"matrix": (fx, fy, cx, cy), "distortion": distortion})


def camera_matrix(lens: LensProfile) -> FloatArray:
    """Camera matrix K of a profile, shape (3, 3), px."""
    fx, fy, cx, cy = lens.matrix
    return np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])


def undistort(points_px: FloatArray, lens: LensProfile) -> tuple[FloatArray, FloatArray]:
    """Move points to where an ideal pinhole with the same camera matrix would have seen them.

    Parameters
    ----------
    points_px : ndarray of shape (n, 2)
        Points in the picture, px, pixel-centre convention.
    lens : LensProfile
        `pinhole` is OpenCV's polynomial model, `fisheye` its equidistant one.

    Returns
    -------
    points : ndarray of shape (n, 2)
        Ideal pixels (P = K).
    jacobian : ndarray of shape (n, 2, 2)
        d ideal / d picture, from central differences over 0.1 px.

    Raises
    ------
    LensError
        If a point lies where the profile folds over: outside the field it was calibrated for.
    """
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    if not len(points):
        return points, np.empty((0, 2, 2))
    ideal = _first_guess(points, lens)
    # OpenCV's own iteration stops early in some releases; Newton steps end at the model's exact inverse.
    for _ in range(_NEWTON_STEPS):
        missed = points - distort(ideal, lens)
        if float(np.abs(missed).max()) < _SETTLED_PX:
            break
        ideal = ideal + (_inverse(_distortion_jacobian(ideal, lens)) @ missed[..., None])[..., 0]
    forward = _distortion_jacobian(ideal, lens)
    _check_reach(points, ideal, forward, lens)
    return ideal, _inverse(forward)


def distort(points: FloatArray, lens: LensProfile) -> FloatArray:
    """Move ideal pinhole pixels to where the lens puts them: the inverse of `undistort`.

    Parameters
    ----------
    points : ndarray of shape (n, 2)
        Ideal pixels (P = K).

    Returns
    -------
    ndarray of shape (n, 2)
        Pixels in the picture.
    """
    k = camera_matrix(lens)
    rays = (np.asarray(points, dtype=np.float64).reshape(-1, 2) - k[:2, 2]) / k[[0, 1], [0, 1]]
    if lens.model == "fisheye":
        seen = cv2.fisheye.distortPoints(rays[:, None], k, np.array(lens.distortion[:4]))
    else:
        solid = np.column_stack([rays, np.ones(len(rays))])
        seen, _ = cv2.projectPoints(solid, np.zeros(3), np.zeros(3), k, _coefficients(lens))
    return cast("FloatArray", np.asarray(seen, dtype=np.float64).reshape(-1, 2))


def _check_quality(lens: LensProfile, place: str) -> None:
    poor = [
        (
            lens.views is not None and lens.views < LEAST_VIEWS,
            f"{lens.views} views; {LEAST_VIEWS} are needed",
        ),
        (
            lens.rms_px is not None and lens.rms_px > MOST_RMS_PX,
            f"a misfit of {lens.rms_px} px RMS; {MOST_RMS_PX:g} px is the most",
        ),
    ]
    for bad, what in poor:
        if bad:
            raise LensError(
                f"lens profile {lens.id!r} rests on {what}.",
                place=place,
                remedy="Calibrate again with more sharp views, the board out to the edges of the picture.",
            )


def _differs(lens: LensProfile, photo: Photo, name: str, place: str) -> bool:
    """Refuse two statements that differ; True where only one is made."""
    ours, theirs = getattr(photo, name), getattr(lens, name)
    if ours.strip() and theirs.strip() and ours.split() != theirs.split():
        raise LensError(
            f"the photo's {name} is {ours!r}, but lens profile {lens.id!r} was made with {theirs!r}.",
            place=place,
            remedy=f"Use the profile of that {name}, or correct the photo's {name!r}.",
        )
    return bool(ours.strip()) != bool(theirs.strip())


def _out_of_range(lens: LensProfile, photo: Photo, place: str) -> bool:
    """Refuse a distance certainly outside the profile's range; True where it cannot be told."""
    if lens.distance_range is None:
        return False
    if photo.distance is None:
        return True
    nearest, furthest = lens.distance_range
    away, doubt = photo.distance.value, 2.0 * photo.distance.u
    if nearest - doubt <= away <= furthest + doubt:
        return False
    raise LensError(
        f"the photo was taken from {away:.4g} mm, but lens profile {lens.id!r} was made between "
        f"{nearest:.4g} and {furthest:.4g} mm; a close-range lens bends differently there.",
        place=place,
        remedy="Calibrate at the working distance, or correct the photo's 'distance'.",
    )


def _first_guess(points: FloatArray, lens: LensProfile) -> FloatArray:
    k = camera_matrix(lens)
    if lens.model == "fisheye":
        ideal = cv2.fisheye.undistortPoints(points[:, None], k, np.array(lens.distortion[:4]), P=k)
    else:
        ideal = cv2.undistortPoints(points[:, None], k, _coefficients(lens), P=k)
    found = np.asarray(ideal, dtype=np.float64).reshape(-1, 2)
    usable = np.isfinite(found).all(axis=1, keepdims=True) & (np.abs(found) < _FARTHEST_PX)
    return np.where(usable, found, points)


def _distortion_jacobian(ideal: FloatArray, lens: LensProfile) -> FloatArray:
    """Differentiate: d picture / d ideal, shape (n, 2, 2), by central differences."""
    steps = _STEP_PX * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]], dtype=np.float64)
    moved = distort((ideal[None] + steps[:, None]).reshape(-1, 2), lens).reshape(4, -1, 2)
    jacobian: FloatArray = np.stack([moved[0] - moved[1], moved[2] - moved[3]], axis=-1) / (2 * _STEP_PX)
    return jacobian


def _inverse(jacobian: FloatArray) -> FloatArray:
    """Invert a stack of 2 x 2 matrices; a singular one gives NaN, which the caller refuses."""
    (a, b), (c, d) = np.moveaxis(jacobian, 0, -1)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        inverse: FloatArray = np.array([[d, -b], [-c, a]]) / (a * d - b * c)
    return np.moveaxis(inverse, -1, 0)


def _coefficients(lens: LensProfile) -> FloatArray:
    """Pad to a length OpenCV accepts: 4, 5 or 8."""
    given = list(lens.distortion)
    wanted = next(n for n in (4, 5, 8) if n >= len(given))
    return np.array(given + [0.0] * (wanted - len(given)))


def _check_reach(points: FloatArray, ideal: FloatArray, forward: FloatArray, lens: LensProfile) -> None:
    """Refuse points the polynomial cannot carry: it folds over outside the calibrated field."""
    (a, b), (c, d) = np.moveaxis(forward, 0, -1)
    missed = np.linalg.norm(distort(ideal, lens) - points, axis=1)
    with np.errstate(invalid="ignore"):
        good = (a * d - b * c > _LEAST_SHRINK) & (missed < _ROUND_TRIP_PX)
    if not good.all():
        x, y = points[int(np.argmin(good))]
        raise LensError(
            f"lens profile {lens.id!r} does not reach the point ({x:.1f}, {y:.1f}) px.",
            remedy="Mark nearer the middle of the picture, or calibrate with the board out to the corners.",
        )
