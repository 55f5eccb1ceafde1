"""Least squares over all views: one lens, one pose for each view, and the lens's covariance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import least_squares

from corrosion.calibrate.boards import BoardView
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray

Model = Literal["pinhole", "fisheye"]

_POSE = 6
# First guesses of a fisheye's focal length, in picture widths: 180 degrees over the width is 1 / pi.
_FISHEYE_GUESSES = (0.32, 0.5, 0.8)


@dataclass(frozen=True, eq=False)
class LensFit:
    """A lens model fitted to views.

    Attributes
    ----------
    model : str
    parameters : ndarray of shape (4 + d,)
        fx, fy, cx, cy and the distortion.
    covariance : ndarray of shape (4 + d, 4 + d)
        From the residuals' own variance.
    residuals : tuple of ndarray of shape (n, 2)
        Seen minus fitted, px, per view.
    poses : ndarray of shape (v, 6)
        Rotation vector and translation (mm) of the board in the camera's frame.
    rms_px : float
        Root of the mean squared *distance*, as OpenCV states it.
    aic : float
        Akaike's information criterion, up to a constant that all models share.
    """

    model: Model
    parameters: FloatArray
    covariance: FloatArray
    residuals: tuple[FloatArray, ...]
    poses: FloatArray
    rms_px: float
    aic: float

    @property
    def name(self) -> str:
        """Model and number of coefficients, for reports."""
        return f"{self.model}, {len(self.parameters) - 4} coefficients"


def fit_lens(
    views: Sequence[BoardView], size: tuple[int, int], model: Model, coefficients: int
) -> LensFit | None:
    """Fit one lens model.

    Returns
    -------
    LensFit or None
        None where no start leads to a solution.
    """
    starts = _pinhole_start(views, size) if model == "pinhole" else _fisheye_starts(views, size)
    padded = [
        (np.append(lens, np.zeros(coefficients))[: 4 + coefficients], poses) for lens, poses in starts
    ]
    if not padded:
        return None
    lens, poses = min(padded, key=lambda start: _squares(views, model, *start))
    return _refined(views, model, lens, poses)


def _squares(views: Sequence[BoardView], model: Model, lens: FloatArray, poses: FloatArray) -> float:
    apart = [_projected(v, model, lens, p)[0] - v.image_px for v, p in zip(views, poses, strict=True)]
    return float((np.concatenate(apart) ** 2).sum())


def _refined(
    views: Sequence[BoardView], model: Model, lens: FloatArray, poses: FloatArray
) -> LensFit | None:
    count = len(lens)

    def residuals(x: FloatArray) -> FloatArray:
        found = [
            _projected(v, model, x[:count], p)[0] - v.image_px for v, p in _with_poses(views, x, count)
        ]
        return np.concatenate(found).ravel()

    def jacobian(x: FloatArray) -> FloatArray:
        rows = []
        for i, (view, pose) in enumerate(_with_poses(views, x, count)):
            _, by_lens, by_pose = _projected(view, model, x[:count], pose)
            row = np.zeros((len(by_lens), len(x)))
            row[:, :count] = by_lens
            row[:, count + _POSE * i : count + _POSE * (i + 1)] = by_pose
            rows.append(row)
        return np.vstack(rows)

    try:
        with np.errstate(all="ignore"):
            x0 = np.concatenate([lens, poses.ravel()])
            found = least_squares(
                residuals, x0, jacobian, method="lm", ftol=1e-10, xtol=1e-10, max_nfev=200
            )
            information = found.jac.T @ found.jac
            every = np.linalg.inv(information)
    except (ValueError, np.linalg.LinAlgError, cv2.error):
        return None
    return _fit_of(views, model, count, found.x, -found.fun, every)


def _fit_of(
    views: Sequence[BoardView],
    model: Model,
    count: int,
    x: FloatArray,
    left: FloatArray,
    inverse: FloatArray,
) -> LensFit:
    squares = float(left @ left)
    freedom = max(1, len(left) - len(x))
    stops = np.cumsum([len(view.image_px) for view in views])[:-1]
    return LensFit(
        model=model,
        parameters=x[:count],
        covariance=squares / freedom * inverse[:count, :count],
        residuals=tuple(np.split(left.reshape(-1, 2), stops)),
        poses=x[count:].reshape(-1, _POSE),
        rms_px=float(np.sqrt(2.0 * squares / len(left))),
        aic=len(left) * float(np.log(squares / len(left))) + 2.0 * len(x),
    )


def _with_poses(
    views: Sequence[BoardView], x: FloatArray, count: int
) -> list[tuple[BoardView, FloatArray]]:
    return list(zip(views, x[count:].reshape(-1, _POSE), strict=True))


def _projected(
    view: BoardView, model: Model, lens: FloatArray, pose: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pixels (n, 2), and their derivatives (2n, 4 + d) by the lens and (2n, 6) by the pose."""
    fx, fy, cx, cy = lens[:4]
    k = np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])
    solid = np.column_stack([view.board_mm, np.zeros(len(view.board_mm))])
    if model == "pinhole":
        image, jacobian = cv2.projectPoints(solid, pose[:3], pose[3:], k, lens[4:])
        by_pose, by_lens = jacobian[:, :6], jacobian[:, 6 : 6 + len(lens)]
    else:
        image, jacobian = cv2.fisheye.projectPoints(solid[:, None], pose[:3], pose[3:], k, lens[4:])
        by_lens, by_pose = jacobian[:, :8], jacobian[:, 8:14]
    image, by_lens, by_pose = (np.asarray(a, dtype=np.float64) for a in (image, by_lens, by_pose))
    return image.reshape(-1, 2), by_lens, by_pose


def _pinhole_start(
    views: Sequence[BoardView], size: tuple[int, int]
) -> list[tuple[FloatArray, FloatArray]]:
    solid = [_solid(view) for view in views]
    image = [view.image_px.astype(np.float32)[:, None] for view in views]
    try:
        # Two coefficients: enough to begin with, and they cannot run away at the border.
        flags = cv2.CALIB_FIX_K3 | cv2.CALIB_ZERO_TANGENT_DIST
        _, k, distortion, turns, shifts = cv2.calibrateCamera(solid, image, size, None, None, flags=flags)
    except cv2.error:
        return []
    lens = np.array([k[0, 0], k[1, 1], k[0, 2], k[1, 2], *np.ravel(distortion)[:4]])
    return [(lens, np.column_stack([np.reshape(turns, (-1, 3)), np.reshape(shifts, (-1, 3))]))]


def _fisheye_starts(
    views: Sequence[BoardView], size: tuple[int, int]
) -> list[tuple[FloatArray, FloatArray]]:
    """Poses for some guessed focal lengths, each view on its own."""
    starts = []
    cx, cy = (size[0] - 1) / 2.0, (size[1] - 1) / 2.0
    for share in _FISHEYE_GUESSES:
        f = share * size[0]
        k = np.array([[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]])
        poses = []
        for view in views:
            rays = cv2.fisheye.undistortPoints(view.image_px[:, None], k, np.zeros(4))
            ok, turn, shift = cv2.solvePnP(_solid(view), rays.astype(np.float64), np.eye(3), None)
            poses.append(np.concatenate([turn.ravel(), shift.ravel()]) if ok else np.full(_POSE, np.nan))
        if np.isfinite(poses).all():
            starts.append((np.array([f, f, cx, cy, 0.0, 0.0, 0.0, 0.0]), np.array(poses)))
    return starts


def _solid(view: BoardView) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    return np.column_stack([view.board_mm, np.zeros(len(view.board_mm))]).astype(np.float32)
