"""Scale from a printed target: the tool's own sheet, or plain square markers of known side."""

from __future__ import annotations

import numpy as np

from corrosion.errors import ScaleError
from corrosion.model import Photo, SurveyFile, TargetScale
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.homography import Reference, fit_homography
from corrosion.scale.planar import PlanarScale, PlaneFit, planar_scale
from corrosion.scale.points import click_factor
from corrosion.terms import Flag

CHECK_BAR_MM = 100.0
# Refined checker or marker corner (metrology tables of the project).
FOUND_SIGMA_PX = 0.2
# A steel rule with half-millimetre graduations read at both ends.
USUAL_BAR_U_MM = 0.2
# Paper feed against the other direction, where only one check bar was measured (a rule of ours).
ONE_WAY_U = 0.003
# All four edges of a square marker move together with exposure and threshold, px.
BLOOM_U_PX = 0.15
MOST_BAR_DEPARTURE = 0.15
_POSE_ROUNDS = 4
# Large against any corner error, small enough for the arithmetic.
_FREE_PX = 1e3


def fit_target(scale: TargetScale, photo: Photo, survey: SurveyFile, camera: Camera) -> PlanarScale:
    """Fit a homography to the found points of a printed target.

    Returns
    -------
    PlanarScale
        Flags: `Flag.PRINT_ONE_WAY`, `Flag.TOLERANCE_NOT_STATED` and those of `planar_scale`.

    Raises
    ------
    ScaleError
        Target not found yet; a sheet without its measured check bar; or as `planar_scale`.
    """
    del photo, survey
    if not scale.image:
        raise ScaleError(
            "the target has not been found in the picture yet.",
            place=camera.place,
            remedy="Have it found: on the photo's page, or by 'corrosion find'.",
        )
    points_px = np.array(scale.image, dtype=np.float64)
    ideal, lens = camera.ideal(points_px)
    clicks = click_factor(scale.sigma_px or FOUND_SIGMA_PX, lens)
    if scale.side is not None:
        return _markers(scale, points_px, ideal, clicks, camera)
    plane, common, flags = _printed(scale, camera.place)
    reference = Reference(ideal, plane, clicks, camera.lens_u_px, 0.0, common)
    return planar_scale(
        reference, points_px, PlaneFit(scale.kind, scale.height, scale.u_height, flags), camera
    )


def _printed(scale: TargetScale, place: str) -> tuple[FloatArray, FloatArray, frozenset[Flag]]:
    """Points of a sheet as printed, their common movements (2 n, k), and flags."""
    bar = scale.check_bar
    if bar is None:
        raise ScaleError(
            "the printed sheet's check bar was not measured, and printers change the size of a page.",
            place=place,
            remedy="Measure the 100 mm check bars with a steel rule: 'check_bar': {'x': ..., 'y': ...}.",
        )
    lengths = np.array([bar.x, bar.x if bar.y is None else bar.y])
    if np.abs(lengths / CHECK_BAR_MM - 1.0).max() > MOST_BAR_DEPARTURE:
        worst = float(lengths[np.argmax(np.abs(lengths - CHECK_BAR_MM))])
        raise ScaleError(
            f"a check bar of {worst:.4g} mm is no 100 mm bar.",
            place=place,
            remedy="Measure between the end strokes, in the file's unit; or print it again at 100 %.",
        )
    u = (USUAL_BAR_U_MM if bar.u is None else bar.u) / CHECK_BAR_MM
    design = np.array(scale.plane, dtype=np.float64)
    plane = design * lengths / CHECK_BAR_MM
    away = design - design.mean(axis=0)
    wide, high = away * [1.0, 0.0], away * [0.0, 1.0]
    if bar.y is None:
        common = np.stack([u * away, ONE_WAY_U * high], axis=2)
        return plane, common.reshape(-1, 2), frozenset({Flag.PRINT_ONE_WAY})
    return plane, np.stack([u * wide, u * high], axis=2).reshape(-1, 2), frozenset()


def _markers(
    scale: TargetScale, points_px: FloatArray, ideal: FloatArray, clicks: FloatArray, camera: Camera
) -> PlanarScale:
    """Fit square markers together: all equal squares on one plane, each lying and turned as it may.

    The homography is common; place and turn of every marker but the first are free. They enter the fit as
    click errors of no stated size, which is to marginalise them, and leave 5 residuals per marker.
    """
    assert scale.side is not None  # noqa: S101 -- the caller has checked
    squares = ideal.reshape(-1, 4, 2)
    own = np.array(scale.plane, dtype=np.float64).reshape(-1, 4, 2)
    order = np.argsort([-_perimeter(square) for square in squares])
    squares, own = squares[order], own[order]
    points_px = points_px.reshape(-1, 4, 2)[order].reshape(-1, 2)
    clicks = clicks.reshape(-1, 8, len(clicks))[order].reshape(len(clicks), -1)
    image = squares.reshape(-1, 2)
    clicks = np.hstack([clicks, BLOOM_U_PX * _blooming(squares)])
    plane = _posed(image, own, own[0], clicks, camera)
    free = _pose_freedom(image, plane)
    u_side = scale.u_side or 0.0
    away = plane - plane.mean(axis=0)
    reference = Reference(
        image,
        plane,
        np.hstack([clicks, free]),
        camera.lens_u_px,
        0.0,
        (u_side / scale.side * away).reshape(-1, 1),
    )
    flags = frozenset({Flag.TOLERANCE_NOT_STATED}) if scale.u_side is None else frozenset()
    fit = PlaneFit(scale.kind, scale.height, scale.u_height, flags, dof=-3 * (len(squares) - 1))
    return planar_scale(reference, points_px, fit, camera)


def _perimeter(square: FloatArray) -> float:
    return float(np.linalg.norm(np.roll(square, -1, axis=0) - square, axis=1).sum())


def _blooming(squares: FloatArray) -> FloatArray:
    """Movement (2 n, 1) of all corners when every edge of every marker moves out by 1 px."""
    along = np.roll(squares, -1, axis=1) - squares
    along /= np.linalg.norm(along, axis=2, keepdims=True)
    outwards = np.stack([along[..., 1], -along[..., 0]], axis=2)
    middle = squares.mean(axis=1, keepdims=True)
    outwards *= np.sign(((squares - middle) * outwards).sum(axis=2, keepdims=True))
    before = np.roll(outwards, 1, axis=1)
    mitre = (before + outwards) / (1.0 + (before * outwards).sum(axis=2, keepdims=True))
    return np.asarray(mitre.reshape(-1, 1))


def _posed(
    image: FloatArray, own: FloatArray, start: FloatArray, clicks: FloatArray, camera: Camera
) -> FloatArray:
    """Place every marker on the plane of the first by turns of fitting the view and the markers."""
    plane = start
    for _ in range(_POSE_ROUNDS):
        count = len(plane) // 4
        known = Reference(
            image[: 4 * count], plane, clicks[: 8 * count], camera.lens_u_px, 0.0, np.zeros((8 * count, 0))
        )
        homography = fit_homography(known)
        seen, _ = homography.back(image)
        poses = [_rigid(one, there) for one, there in zip(own, seen.reshape(-1, 4, 2), strict=True)]
        plane = np.concatenate([start, *poses[1:]])
    return plane


def _rigid(square: FloatArray, there: FloatArray) -> FloatArray:
    """Turn and shift a square onto four points, keeping its size."""
    a, b = square - square.mean(axis=0), there - there.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    flip = np.diag([1.0, np.sign(np.linalg.det(u @ vt))])
    placed: FloatArray = a @ (u @ flip @ vt) + there.mean(axis=0)
    return placed


def _pose_freedom(image: FloatArray, plane: FloatArray) -> FloatArray:
    """Picture movements (2 n, 3 (m - 1)) of every marker but the first by its own shift and turn, large."""
    count = len(plane) // 4
    simple = Reference(image, plane, 0.2 * np.eye(2 * len(image)), 0.0, 0.0, np.zeros((2 * len(image), 0)))
    by_image, _ = fit_homography(simple).jacobians(plane)
    forward = np.linalg.inv(by_image)
    columns = []
    for marker in range(1, count):
        mine = slice(4 * marker, 4 * marker + 4)
        away = plane[mine] - plane[mine].mean(axis=0)
        turned = np.column_stack([-away[:, 1], away[:, 0]])
        for moved in (np.tile([1.0, 0.0], (4, 1)), np.tile([0.0, 1.0], (4, 1)), turned):
            column = np.zeros((len(plane), 2))
            column[mine] = np.einsum("nij,nj->ni", forward[mine], moved)
            columns.append(column.ravel())
    if not columns:
        return np.zeros((2 * len(plane), 0))
    free = np.column_stack(columns)
    return np.asarray(_FREE_PX * free / np.abs(free).max(axis=0))
