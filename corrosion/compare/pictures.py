"""The same place in the photos of two surveys, drawn into the layout frame at one scale. For looking only.

Nothing is measured on these pictures. Each is one photo warped by the map that places it on the layout, so
what lies in the member's surface comes to lie where the layout has it; stations grow to the right, offsets
up. What stands out of the surface is moved by parallax.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import box

from corrosion.compare.results import FindingChange
from corrosion.errors import PlacementError
from corrosion.model import Mark, Photo, Placement, PointShape
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray
from corrosion.results import Assessment, Finding, PlacedPhoto, Point
from corrosion.survey import member_layouts, placed_photo
from corrosion.terms import Face, Flag, MarkKind

UInt8Array = NDArray[np.uint8]

LONG_SIDE_PX = 900
LEAST_MARGIN_MM = 3.0
MARGIN_SHARE = 0.6
OUTSIDE_GREY = 200
"""What no photo shows is plain grey."""

_GRID = 9


@dataclass(frozen=True)
class Window:
    """A rectangle of a member's layout: low and high corner (station, offset), mm."""

    member_id: str
    face: Face
    low: Point
    high: Point

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of its picture."""
        width, height = self.high[0] - self.low[0], self.high[1] - self.low[1]
        k = LONG_SIDE_PX / max(width, height)
        return max(round(width * k), 1), max(round(height * k), 1)

    @property
    def to_picture(self) -> FloatArray:
        """Matrix (3, 3) from layout mm to pixels of its picture, whose y grows down."""
        width, height = self.size_px
        kx, ky = width / (self.high[0] - self.low[0]), height / (self.high[1] - self.low[1])
        return np.array(
            [[kx, 0.0, -kx * self.low[0] - 0.5], [0.0, -ky, ky * self.high[1] - 0.5], [0.0, 0.0, 1.0]]
        )


@dataclass(frozen=True)
class Choice:
    """The photo of one survey that shows a window best, or why there is none."""

    photo: Photo | None
    placed: PlacedPhoto | None
    share: float
    words: str


def window_of(change: FindingChange) -> Window | None:
    """Window round everything that one row of a comparison is about; None where it has no place."""
    found = [one for one in (*change.earlier, change.later) if one is not None]
    outlines = [one.outline for one in found if one.outline is not None and not one.outline.is_empty]
    if not outlines or change.member_id is None or change.face is None:
        return None
    low_s, low_o, high_s, high_o = shapely.total_bounds(np.array(outlines, dtype=object))
    margin = max(LEAST_MARGIN_MM, MARGIN_SHARE * max(high_s - low_s, high_o - low_o))
    return Window(
        change.member_id,
        change.face,
        (float(low_s - margin), float(low_o - margin)),
        (float(high_s + margin), float(high_o + margin)),
    )


def photo_for(assessment: Assessment, window: Window, findings: list[Finding]) -> Choice:
    """Choose the photo of a survey that shows a window.

    A photo on which the finding was marked goes before others; then the one that shows most of it.
    """
    area = box(*window.low, *window.high)
    marked = {photo for finding in findings for photo, _ in finding.sources}
    shares = {
        placed.photo_id: float(placed.footprint.intersection(area).area / area.area)
        for placed in assessment.placed
        if placed.footprint is not None
        and (placed.member_id, placed.face) == (window.member_id, window.face)
    }
    shown = {name: share for name, share in shares.items() if share > 0.0}
    if not shown:
        return Choice(None, None, 0.0, _why_none(assessment, window))
    best = max(sorted(shown), key=lambda name: (name in marked, shown[name]))
    photo = next(one for one in assessment.survey.photos if one.id == best)
    placed = next(one for one in assessment.placed if one.photo_id == best)
    words = "" if shown[best] > 0.999 else "Grey is outside the photo."
    return Choice(photo, placed, shown[best], words)


def _why_none(assessment: Assessment, window: Window) -> str:
    tagged = [
        photo
        for photo in assessment.survey.photos
        if (photo.member, photo.face) == (window.member_id, window.face)
    ]
    on_layout = {placed.photo_id for placed in assessment.placed if placed.footprint is not None}
    loose = [photo.id for photo in tagged if photo.id not in on_layout]
    if loose:
        return (
            f"No placed photo shows this place. Not placed on the layout: {', '.join(loose)}; "
            "they may show it."
        )
    return "No photo of this survey shows this place: nobody looked, which is not the same as clean."


def rectified(
    pixels: UInt8Array, photo: Photo, placed: PlacedPhoto, assessment: Assessment, window: Window
) -> UInt8Array:
    """Warp a photo into a window of the layout.

    Parameters
    ----------
    pixels : ndarray of shape (h, w, 3)
        The upright picture.
    photo, placed : Photo, PlacedPhoto
        From `photo_for`.
    assessment : Assessment
    window : Window

    Returns
    -------
    ndarray of shape (H, W, 3)
        Of `Window.size_px`. One homography for the window: what a lens bends inside it stays bent.

    Raises
    ------
    CorrosionError
        If the photo cannot be placed.
    """
    height, width = pixels.shape[:2]
    everywhere = (0.0, 0.0, width - 1.0, height - 1.0)
    to_layout = _display_map(photo, placed, assessment, (width, height), everywhere)
    near = _box_px(to_layout, window, (width, height))
    if near is not None:
        # A lens bends the whole picture more than the part that is shown.
        to_layout = _display_map(photo, placed, assessment, (width, height), near)
    return _warped(pixels, window.to_picture @ to_layout, window.size_px)


def _display_map(
    photo: Photo,
    placed: PlacedPhoto,
    assessment: Assessment,
    size: tuple[int, int],
    part: tuple[float, float, float, float],
) -> FloatArray:
    """Fit a homography, picture to layout, to the placement's own map at a grid of points in `part`.

    Raises
    ------
    PlacementError
        If the placement does not carry four of the points.
    """
    x, y = np.meshgrid(np.linspace(part[0], part[2], _GRID), np.linspace(part[1], part[3], _GRID))
    points = np.column_stack([x.ravel(), y.ravel()])
    marks = [
        Mark(id=f"g{k}", kind=MarkKind.CLEAR, shape=PointShape(coordinates=(float(px), float(py))))
        for k, (px, py) in enumerate(points)
    ]
    survey = assessment.survey
    asked = photo.model_copy(update={"marks": marks, "placement": _same_side(photo, placed)})
    found = placed_photo(asked, survey, member_layouts(survey), size)
    carried = [] if found is None else found.marks
    if len(carried) < 4:
        raise PlacementError(
            "its placement does not reach this place.",
            place=f"photo {photo.id}",
            remedy="Give point pairs round the place.",
        )
    image = np.array([points[int(one.mark.id[1:])] for one in carried])
    layout = np.array([one.position for one in carried])
    matrix, _ = cv2.findHomography(image, layout, 0)
    if matrix is None:
        raise PlacementError("its point pairs lie in one line.", place=f"photo {photo.id}")
    return np.asarray(matrix, dtype=np.float64)


def _same_side(photo: Photo, placed: PlacedPhoto) -> Placement | None:
    """State the side that was assumed from where the marks fall: the grid must not change it."""
    if photo.placement is None or Flag.SIDE_ASSUMED not in placed.flags:
        return photo.placement
    return photo.placement.model_copy(update={"mirrored": photo.face is Face.OUTER})


def _box_px(
    to_layout: FloatArray, window: Window, size: tuple[int, int]
) -> tuple[float, float, float, float] | None:
    """Part of the picture that shows a window: x and y from, x and y to; None where it is a sliver."""
    (s0, o0), (s1, o1) = window.low, window.high
    corners = np.array([[[s0, o0], [s1, o0], [s1, o1], [s0, o1]]])
    found = cv2.perspectiveTransform(corners, np.linalg.inv(to_layout))[0]
    low = np.clip(found.min(axis=0), 0.0, np.array(size) - 1.0)
    high = np.clip(found.max(axis=0), 0.0, np.array(size) - 1.0)
    if (high - low).min() < _GRID:
        return None
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _warped(pixels: UInt8Array, matrix: FloatArray, size: tuple[int, int]) -> UInt8Array:
    """Warp a picture; one that is much finer than the result is averaged down first."""
    middle = np.array(
        [[[(size[0] - 1) / 2.0, (size[1] - 1) / 2.0], [(size[0] + 1) / 2.0, (size[1] - 1) / 2.0]]]
    )
    ends = cv2.perspectiveTransform(middle, np.linalg.inv(matrix))[0]
    fine = float(np.linalg.norm(ends[1] - ends[0]))
    if fine > 1.5:
        height, width = pixels.shape[:2]
        small = (max(round(width / fine), 1), max(round(height / fine), 1))
        pixels = np.asarray(cv2.resize(pixels, small, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        kx, ky = width / small[0], height / small[1]
        # Pixel centres: x = kx (x' + 0.5) - 0.5.
        matrix = matrix @ np.array([[kx, 0.0, 0.5 * kx - 0.5], [0.0, ky, 0.5 * ky - 0.5], [0.0, 0.0, 1.0]])
    grey = (OUTSIDE_GREY,) * 3
    warped = cv2.warpPerspective(pixels, matrix, size, flags=cv2.INTER_LINEAR, borderValue=grey)
    return np.asarray(warped, dtype=np.uint8)
