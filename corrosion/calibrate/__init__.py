"""Lens profiles from photos of a board, with what shows whether they can be trusted.

Pinhole and fisheye models are fitted to the same corners and the evidence decides: Akaike's criterion,
and the simpler model where the difference says little. The parameters' covariance comes along, so that
what the calibration leaves open reaches every measure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely

from corrosion.calibrate.boards import Board, BoardView, find_board
from corrosion.calibrate.bundle import LensFit, Model, fit_lens
from corrosion.calibrate.plumb_line import straighten
from corrosion.errors import LensError
from corrosion.lens import LEAST_COVERED, LEAST_VIEWS, MOST_RMS_PX
from corrosion.model import LensProfile
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray

__all__ = [
    "Binding",
    "Board",
    "BoardView",
    "Calibration",
    "ViewResidual",
    "calibrate_lens",
    "distance_range",
    "find_board",
    "straighten",
]

CANDIDATES: Final[tuple[tuple[Model, int], ...]] = (("pinhole", 4), ("pinhole", 5), ("fisheye", 4))
# Burnham and Anderson's rule, from memory: a model 10 behind another has essentially no support.
AIC_MARGIN = 10.0
COVERAGE_CELLS = (8, 6)
_LEAST_IN_CELL = 4

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Binding:
    """What a profile holds for; see `corrosion.model.LensProfile`."""

    id: str
    device: str = ""
    adapter: str = ""
    focus: str = ""
    distance_range: tuple[float, float] | None = None
    note: str = ""


def distance_range(nearest: float | None, furthest: float | None, place: str) -> tuple[float, float] | None:
    """Return the working distances a profile holds for; None where neither is stated.

    Raises
    ------
    LensError
        If only one is stated, or the nearest is not above 0 and below the furthest.
    """
    if nearest is None and furthest is None:
        return None
    if nearest is None or furthest is None or not 0 < nearest < furthest:
        raise LensError(
            f"the distances {nearest} and {furthest} are no range.",
            place=place,
            remedy="Give both, the nearest first.",
        )
    return nearest, furthest


@dataclass(frozen=True)
class ViewResidual:
    """How one view fits, and where its board was.

    Attributes
    ----------
    rms_px, worst_px : float
        Root mean square and largest distance of its corners from the fit.
    distance_mm : float
        Lens to the board's plane, along its normal.
    tilt_rad : float
        Optical axis to the board's normal.
    """

    name: str
    corners: int
    rms_px: float
    worst_px: float
    distance_mm: float
    tilt_rad: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """A lens profile and how it came about.

    Attributes
    ----------
    profile : LensProfile
    views : tuple of ViewResidual
        In the order given.
    candidates : tuple of LensFit
        All models that could be fitted, best first.
    cells : ndarray of shape (6, 8) of int
        Corners in each cell of the frame, top row first.
    covered : float
        Share of the frame inside the outline of at least one view's board.
    """

    profile: LensProfile
    views: tuple[ViewResidual, ...]
    candidates: tuple[LensFit, ...]
    cells: IntArray
    covered: float


def calibrate_lens(
    views: Sequence[BoardView], size: tuple[int, int], binding: Binding, *, partial: bool = False
) -> Calibration:
    """Calibrate a lens from views of a board.

    Parameters
    ----------
    views : sequence of BoardView
        All with the same device, adapter and focus.
    size : (width, height)
        Of the pictures, px.
    binding : Binding
    partial : bool
        Accept boards over less than 60 % of the frame; the profile then serves only where they were.

    Returns
    -------
    Calibration

    Raises
    ------
    LensError
        With fewer than 8 views, corners over less than 60 % of the frame, a misfit above 1 px RMS, or
        views that no model fits.
    """
    place = f"lens profile {binding.id}"
    covered = _covered(views, size)
    _check_views(views, 1.0 if partial else covered, place)
    fits = [fit_lens(views, size, model, coefficients) for model, coefficients in CANDIDATES]
    ranked = sorted((fit for fit in fits if fit is not None), key=lambda fit: fit.aic)
    if not ranked:
        raise LensError(
            "no lens model fits these views.", place=place, remedy="Check the board's number of corners."
        )
    best = _simplest_of_the_best(ranked)
    residuals = tuple(_view_residual(*one) for one in zip(views, best.residuals, best.poses, strict=True))
    _check_misfit(best, residuals, place)
    return Calibration(
        profile=_profile(best, views, size, covered, binding),
        views=residuals,
        candidates=(best, *(fit for fit in ranked if fit is not best)),
        cells=_cells(views, size),
        covered=covered,
    )


def _check_views(views: Sequence[BoardView], covered: float, place: str) -> None:
    if len(views) < LEAST_VIEWS:
        raise LensError(
            f"the board was found in {len(views)} photos; at least {LEAST_VIEWS} are needed.",
            place=place,
            remedy="Take more sharp photos of the whole board, tilted differently.",
        )
    if covered < LEAST_COVERED:
        raise LensError(
            f"the board covers {covered:.0%} of the frame; {LEAST_COVERED:.0%} is the least.",
            place=place,
            remedy="Take more photos with the board out to the edges of the picture, or allow a partial "
            "profile: marks outside the part that the board covered are then refused.",
        )


def _check_misfit(fit: LensFit, views: Sequence[ViewResidual], place: str) -> None:
    if fit.rms_px <= MOST_RMS_PX:
        return
    worst = max(views, key=lambda view: view.rms_px)
    raise LensError(
        f"the best model ({fit.name}) misses the corners by {fit.rms_px:.2f} px RMS; {MOST_RMS_PX:g} px is "
        f"the most. {worst.name} is worst with {worst.rms_px:.2f} px.",
        place=place,
        remedy="Leave out blurred photos; check that board and zoom were the same and the board is flat.",
    )


def _simplest_of_the_best(ranked: Sequence[LensFit]) -> LensFit:
    near = [fit for fit in ranked if fit.aic - ranked[0].aic < AIC_MARGIN]
    return min(near, key=lambda fit: (len(fit.parameters), fit.aic))


def _view_residual(view: BoardView, residuals: FloatArray, pose: FloatArray) -> ViewResidual:
    apart = np.linalg.norm(residuals, axis=1)
    normal = np.asarray(cv2.Rodrigues(pose[:3])[0], dtype=np.float64)[:, 2]
    return ViewResidual(
        name=view.name,
        corners=len(apart),
        rms_px=float(np.sqrt((apart**2).mean())),
        worst_px=float(apart.max()),
        distance_mm=float(abs(normal @ pose[3:])),
        tilt_rad=float(np.arccos(min(1.0, abs(normal[2])))),
    )


def _profile(
    fit: LensFit, views: Sequence[BoardView], size: tuple[int, int], covered: float, binding: Binding
) -> LensProfile:
    fx, fy, cx, cy, *distortion = (float(value) for value in fit.parameters)
    corners = np.concatenate([view.image_px for view in views])
    field = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(corners)))[:-1]
    return LensProfile(
        id=binding.id,
        model=fit.model,
        device=binding.device,
        adapter=binding.adapter,
        focus=binding.focus,
        distance_range=binding.distance_range,
        size=size,
        matrix=(fx, fy, cx, cy),
        distortion=distortion,
        covariance=fit.covariance.tolist(),
        u_px=round(_smooth_misfit(views, fit, size), 4),
        rms_px=round(fit.rms_px, 4),
        views=len(views),
        covered=round(covered, 4),
        field=[(round(float(x), 2), round(float(y), 2)) for x, y in field],
        note=binding.note,
    )


def _smooth_misfit(views: Sequence[BoardView], fit: LensFit, size: tuple[int, int]) -> float:
    """Estimate the standard uncertainty of an undistorted coordinate by the model's own error, px.

    Corner noise averages out over the views that saw one part of the frame; a model's error does not.
    The variance of the parts' mean residuals, less what noise alone would leave in them, is the model's.
    """
    residuals = np.concatenate(fit.residuals)
    part = _cell_of(np.concatenate([view.image_px for view in views]), size)
    noise = float((residuals**2).mean())
    excess, weight = 0.0, 0
    for one in np.unique(part):
        inside = residuals[part == one]
        if len(inside) >= _LEAST_IN_CELL:
            excess += len(inside) * (float((inside.mean(axis=0) ** 2).mean()) - noise / len(inside))
            weight += len(inside)
    return float(np.sqrt(max(0.0, excess / max(1, weight))))


def _cell_of(points_px: FloatArray, size: tuple[int, int]) -> IntArray:
    share = (points_px + 0.5) / np.array(size, dtype=np.float64)
    cell = np.clip((share * COVERAGE_CELLS).astype(int), 0, np.array(COVERAGE_CELLS) - 1)
    flat: IntArray = cell[:, 1] * COVERAGE_CELLS[0] + cell[:, 0]
    return flat


def _cells(views: Sequence[BoardView], size: tuple[int, int]) -> IntArray:
    columns, rows = COVERAGE_CELLS
    every = _cell_of(np.concatenate([view.image_px for view in views]), size)
    counts: IntArray = np.bincount(every, minlength=columns * rows).reshape(rows, columns)
    return counts


def _covered(views: Sequence[BoardView], size: tuple[int, int]) -> float:
    hulls = [shapely.convex_hull(shapely.multipoints(view.image_px)) for view in views]
    return float(shapely.union_all(hulls).area / (size[0] * size[1])) if hulls else 0.0
