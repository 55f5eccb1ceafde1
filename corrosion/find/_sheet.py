"""Finding the tool's printed sheets: markers say which and where, checker corners are then measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from corrosion.errors import ScaleError
from corrosion.find._markers import FoundMarker, detect
from corrosion.model import TargetScale
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray
from corrosion.target.layouts import SHEETS, Sheet, sheet_named

LEAST_CORNERS = 8
LEAST_SQUARE_PX = 6.0
_ROUNDS = 12
_MOST_MOVE = 0.3
_LEAST_CONTRAST = 12.0


@dataclass(frozen=True, eq=False)
class _Checker:
    """A sheet's checker corners: `plane` (n, 2) mm, `dark` (n,) up and left, `square` (n,) mm."""

    plane: FloatArray
    dark: np.ndarray
    square: FloatArray


def find_sheet(grey: np.ndarray, scale: TargetScale, place: str) -> TargetScale:
    """Find a printed sheet and measure its checker corners.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
    scale : TargetScale
        Its `sheet` names the sheet; without it the markers tell.

    Raises
    ------
    ScaleError
        If no sheet is found, or too little of it is seen.
    """
    wanted = [sheet_named(scale.sheet, place=place)] if scale.sheet else list(SHEETS.values())
    sheet, markers = _recognised(grey, wanted, place)
    checker = _Checker(*sheet.saddles())
    start = _from_markers(sheet, markers)
    seen, which = _grown(grey, checker, start, markers)
    seen, which = _on_one_plane(checker, seen, which)
    if len(which) < LEAST_CORNERS:
        raise ScaleError(
            f"only {len(which)} checker corners of sheet {sheet.name!r} are clear; "
            f"at least {LEAST_CORNERS} are needed.",
            place=place,
            remedy="Photograph from nearer and more squarely, with more of the sheet in view and in light.",
        )
    return scale.model_copy(
        update={
            "sheet": sheet.name,
            "image": [(round(float(x), 3), round(float(y), 3)) for x, y in seen],
            "plane": [(float(x), float(y)) for x, y in checker.plane[which]],
        }
    )


def _recognised(grey: np.ndarray, sheets: list[Sheet], place: str) -> tuple[Sheet, list[FoundMarker]]:
    best: tuple[int, Sheet, list[FoundMarker]] | None = None
    for dictionary in dict.fromkeys(sheet.dictionary for sheet in sheets):
        of_it = [sheet for sheet in sheets if sheet.dictionary == dictionary]
        only = frozenset(m.number for m in of_it[0].markers) if len(of_it) == 1 else frozenset[int]()
        found = detect(grey, dictionary, place, only)
        for sheet in of_it:
            mine = _own(sheet, found)
            if mine and (best is None or len(mine) > best[0]):
                best = len(mine), sheet, mine
    if best is None:
        names = ", ".join(sheet.name for sheet in sheets)
        raise ScaleError(
            f"no printed sheet was found in the picture (looked for: {names}).",
            place=place,
            remedy="Photograph with at least one whole marker of the sheet, its white margin too, in the "
            "light; or mark known points by hand.",
        )
    return best[1], best[2]


def _own(sheet: Sheet, found: list[FoundMarker]) -> list[FoundMarker]:
    """Markers of this sheet, each number once: of two stickers alike the larger in the picture."""
    numbers = {marker.number for marker in sheet.markers}
    largest: dict[int, FoundMarker] = {}
    for one in found:
        if one.number in numbers:
            other = largest.get(one.number)
            if other is None or one.least_side_px > other.least_side_px:
                largest[one.number] = one
    return list(largest.values())


def _from_markers(sheet: Sheet, markers: list[FoundMarker]) -> FloatArray:
    """First homography, sheet to picture, from the marker corners."""
    by_number = {marker.number: marker for marker in sheet.markers}
    plane = np.concatenate([by_number[one.number].corners() for one in markers])
    image = np.concatenate([one.corners for one in markers])
    method = cv2.RANSAC if len(markers) > 1 else 0
    return _homography(plane, image, method, 4.0)


def _grown(
    grey: np.ndarray, checker: _Checker, start: FloatArray, markers: list[FoundMarker]
) -> tuple[FloatArray, np.ndarray]:
    """Measure corners from the markers outwards: each round refits, so that far ones are predicted well."""
    matrix = start
    near = np.concatenate([one.corners for one in markers])
    seen, which = np.empty((0, 2)), np.empty(0, dtype=int)
    for _ in range(_ROUNDS):
        predicted = _project(matrix, checker.plane)
        side = _square_px(matrix, checker)
        known = np.vstack([near, seen])
        away = np.linalg.norm(predicted[:, None] - known[None], axis=2).min(axis=1)
        reachable = np.flatnonzero((away < 4.0 * side) & _inside(predicted, grey, side))
        found, good = _measured(grey, checker, matrix, reachable)
        grown = len(good) > len(which)
        seen, which = found, good
        if len(which) < 4:
            break
        matrix = _homography(checker.plane[which], seen, cv2.RANSAC, 2.0)
        if not grown:
            break
    return seen, which


def _measured(
    grey: np.ndarray, checker: _Checker, matrix: FloatArray, which: np.ndarray
) -> tuple[FloatArray, np.ndarray]:
    """Refine the corners named by `which`; keep those that look like a corner of this checker."""
    predicted = _project(matrix, checker.plane)
    side = _square_px(matrix, checker)
    seen, kept = [], []
    for i in which:
        if side[i] < LEAST_SQUARE_PX or not _looks_right(grey, checker, matrix, int(i)):
            continue
        half = int(np.clip(0.35 * side[i], 2, 12))
        point = predicted[i].astype(np.float32).reshape(1, 1, 2)
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-3)
        refined = cv2.cornerSubPix(grey, point, (half, half), (-1, -1), stop).reshape(2).astype(np.float64)
        if np.linalg.norm(refined - predicted[i]) < _MOST_MOVE * side[i]:
            seen.append(refined)
            kept.append(int(i))
    return np.array(seen).reshape(-1, 2), np.array(kept, dtype=int)


def _looks_right(grey: np.ndarray, checker: _Checker, matrix: FloatArray, i: int) -> bool:
    """Whether the four squares round a corner are dark and light where the sheet says."""
    offsets = 0.4 * checker.square[i] * np.array([[-1, -1], [1, 1], [1, -1], [-1, 1]])
    points = _project(matrix, checker.plane[i] + offsets)
    columns, rows = np.rint(points).astype(int).T
    height, width = grey.shape
    if columns.min() < 1 or rows.min() < 1 or columns.max() > width - 2 or rows.max() > height - 2:
        return False
    shades = [float(grey[r - 1 : r + 2, c - 1 : c + 2].mean()) for c, r in zip(columns, rows, strict=True)]
    dark, light = (shades[:2], shades[2:]) if checker.dark[i] else (shades[2:], shades[:2])
    contrast = min(light) - max(dark)
    return contrast > _LEAST_CONTRAST and contrast > 0.35 * (max(light) - min(dark))


def _on_one_plane(checker: _Checker, seen: FloatArray, which: np.ndarray) -> tuple[FloatArray, np.ndarray]:
    """Drop corners that miss the plane of the others, such as ones under a smudge."""
    for _ in range(4):
        if len(which) < LEAST_CORNERS:
            break
        matrix = _homography(checker.plane[which], seen, 0, 1.0)
        off = np.linalg.norm(seen - _project(matrix, checker.plane[which]), axis=1)
        keep = off <= max(0.35, 4.0 * float(np.median(off)))
        if keep.all():
            break
        seen, which = seen[keep], which[keep]
    return seen, which


def _homography(plane: FloatArray, image: FloatArray, method: int, tolerance: float) -> FloatArray:
    """Fit sheet to picture; points in line give nothing, and then the identity, which matches nothing."""
    found: Any = cv2.findHomography(plane, image, method, tolerance)[0]
    return np.eye(3) if found is None else np.asarray(found, dtype=np.float64)


def _project(matrix: FloatArray, plane: FloatArray) -> FloatArray:
    q = np.column_stack([plane, np.ones(len(plane))]) @ matrix.T
    return np.asarray(q[:, :2] / q[:, 2:], dtype=np.float64)


def _square_px(matrix: FloatArray, checker: _Checker) -> FloatArray:
    """Shorter side of the squares at each corner, px."""
    here = _project(matrix, checker.plane)
    sides = [
        np.linalg.norm(_project(matrix, checker.plane + checker.square[:, None] * d) - here, axis=1)
        for d in (np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    ]
    return np.asarray(np.min(sides, axis=0))


def _inside(points: FloatArray, grey: np.ndarray, side: FloatArray) -> np.ndarray:
    height, width = grey.shape
    room = 0.5 * side[:, None]
    return np.asarray(((points > room) & (points < np.array([width, height]) - 1 - room)).all(axis=1))
