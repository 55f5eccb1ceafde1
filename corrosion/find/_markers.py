"""Finding square markers, also in poor light, and their corners to a fraction of a pixel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from corrosion.errors import ScaleError
from corrosion.find._light import light_of
from corrosion.model import TargetScale
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray
from corrosion.target.markers import dictionary_named

LEAST_SIDE_PX = 25.0
_LARGE_PX = 1800
_EDGE_POINTS = 40
_CORNER_SHARE = 0.1


@dataclass(frozen=True, eq=False)
class FoundMarker:
    """A marker's number and corners (4, 2), px, clockwise as read from its upper left."""

    number: int
    corners: FloatArray

    @property
    def least_side_px(self) -> float:
        """Shortest side, px."""
        return float(np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1).min())


def detect(
    grey: np.ndarray, dictionary: str, place: str, wanted: frozenset[int] = frozenset()
) -> list[FoundMarker]:
    """Detect markers, trying the picture plain, with its contrast evened out, and at other sizes.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
    dictionary : str
    wanted : frozenset of int
        Numbers to look for; once all are found nothing more is tried.

    Returns
    -------
    list of FoundMarker
        Corners refined to about half a pixel; each marker once.
    """
    book = dictionary_named(dictionary, place=place)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.adaptiveThreshWinSizeMax = 53
    parameters.minMarkerPerimeterRate = 0.015
    detector = cv2.aruco.ArucoDetector(book, parameters)
    found: list[FoundMarker] = []
    for picture, ratio in _variants(grey):
        corners, numbers, _ = detector.detectMarkers(picture)
        for square, number in zip(corners, np.asarray(numbers if corners else []).ravel(), strict=True):
            # Pixel centres: pixel i of a picture made r times as large is centred at (i + 1/2) / r - 1/2.
            there = (np.asarray(square, dtype=np.float64).reshape(4, 2) + 0.5) / ratio - 0.5
            one = FoundMarker(int(number), there)
            if not any(_same(one, other) for other in found):
                found.append(one)
        if (wanted and wanted <= {one.number for one in found}) or (found and not wanted):
            break
    return found


def _same(one: FoundMarker, other: FoundMarker) -> bool:
    apart = float(np.linalg.norm(one.corners.mean(axis=0) - other.corners.mean(axis=0)))
    return one.number == other.number and apart < 0.5 * one.least_side_px


def _variants(grey: np.ndarray) -> Iterator[tuple[np.ndarray, float]]:
    yield grey, 1.0
    even = cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(grey)
    yield even, 1.0
    smooth = cv2.GaussianBlur(even, (0, 0), 1.5)
    yield smooth, 1.0
    if max(grey.shape) > _LARGE_PX:
        yield cv2.resize(even, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 0.5
    else:
        yield cv2.resize(even, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_CUBIC), 2.0


def find_markers(grey: np.ndarray, scale: TargetScale, place: str) -> TargetScale:
    """Find the plain square markers of a target entry.

    Raises
    ------
    ScaleError
        If none is found, or the largest is smaller than 25 px.
    """
    assert scale.side is not None  # noqa: S101 -- the caller has checked
    assert scale.dictionary is not None  # noqa: S101 -- the model has checked
    found = detect(grey, scale.dictionary, place)
    if scale.marker is not None:
        found = [one for one in found if one.number == scale.marker]
    if not found:
        which = "" if scale.marker is None else f" number {scale.marker}"
        raise ScaleError(
            f"no marker{which} of dictionary {scale.dictionary!r} was found in the picture.",
            place=place,
            remedy="Check the dictionary; photograph nearer, more squarely, with the whole marker and its "
            "white margin in the light.",
        )
    good = [one for one in found if one.least_side_px >= LEAST_SIDE_PX]
    if not good:
        raise ScaleError(
            f"the marker's sides are {found[0].least_side_px:.0f} px long; "
            f"at least {LEAST_SIDE_PX:g} px are needed.",
            place=place,
            remedy="Photograph from nearer, or use a larger marker.",
        )
    half = scale.side / 2.0
    square = [(-half, -half), (half, -half), (half, half), (-half, half)]
    light = light_of(grey)
    corners = np.concatenate([refine_corners(light, one.corners) for one in good])
    return scale.model_copy(
        update={
            "image": [(round(float(x), 3), round(float(y), 3)) for x, y in corners],
            "plane": square * len(good),
        }
    )


def refine_corners(light: np.ndarray, corners: FloatArray) -> FloatArray:
    """Fit a line to each edge of a square marker and intersect neighbours, (4, 2).

    A corner seen directly is rounded by blur; along an edge there are dozens of pixels to go by.
    """
    lines = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        line = _edge_line(light, start, end)
        if line is None:
            return corners
        lines.append(line)
    refined = np.array([_meet(lines[i - 1], lines[i]) for i in range(4)])
    moved = float(np.linalg.norm(refined - corners, axis=1).max())
    side = float(np.linalg.norm(corners[1] - corners[0]))
    return refined if moved < max(2.0, 0.05 * side) else corners


def _edge_line(
    picture: np.ndarray, start: FloatArray, end: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Point and unit direction of the dark-to-light edge between two corners."""
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    outwards = np.array([along[1], -along[0]])
    share = np.linspace(_CORNER_SHARE, 1.0 - _CORNER_SHARE, _EDGE_POINTS)
    on = start + share[:, None] * length * along
    reach = float(np.clip(0.06 * length, 2.5, 8.0))
    step = 0.25
    r = np.arange(-reach, reach + step / 2, step)
    where = (on[:, None] + r[None, :, None] * outwards).astype(np.float32)
    light = cv2.remap(
        picture.astype(np.float32),
        np.ascontiguousarray(where[..., 0]),
        np.ascontiguousarray(where[..., 1]),
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = cv2.GaussianBlur(light, (0, 0), sigmaX=0.7 / step, sigmaY=1.0)
    rise = np.gradient(light.astype(np.float64), step, axis=1)
    at = np.clip(np.argmax(rise, axis=1), 1, len(r) - 2)
    rows = np.arange(len(on))
    before, here, after = (rise[rows, at + d] for d in (-1, 0, 1))
    bend = before - 2.0 * here + after
    good = (here > 0.3 * np.median(here)) & (bend < 0)
    if good.sum() < _EDGE_POINTS // 3:
        return None
    offset = r[at] + 0.5 * (before - after) / np.where(bend < 0, bend, -1.0) * step
    return _robust_line((on + offset[:, None] * outwards)[good])


def _robust_line(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    kept = points
    for _ in range(4):
        middle = kept.mean(axis=0)
        direction = np.linalg.svd(kept - middle)[2][0]
        off = np.abs((points - middle) @ np.array([-direction[1], direction[0]]))
        kept = points[off <= max(0.15, 3.0 * float(np.median(off)))]
    return kept.mean(axis=0), np.asarray(np.linalg.svd(kept - kept.mean(axis=0))[2][0])


def _meet(one: tuple[FloatArray, FloatArray], other: tuple[FloatArray, FloatArray]) -> FloatArray:
    (p, d), (q, e) = one, other
    if math.isclose(float(d[0] * e[1] - d[1] * e[0]), 0.0, abs_tol=1e-9):
        return (p + q) / 2.0
    t = np.linalg.solve(np.column_stack([d, -e]), q - p)[0]
    return np.asarray(p + t * d)
