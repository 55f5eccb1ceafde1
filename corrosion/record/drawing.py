"""Draws marks, the scale reference and a scale bar on a picture; a grey print still tells them apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from shapely.geometry import MultiPoint

from corrosion.model import (
    BarScale,
    CardScale,
    DiscScale,
    PointsScale,
    RuleScale,
    Scale,
    TargetScale,
)
from corrosion.quantity import FloatArray
from corrosion.record.texts import font_folder, shortened, visible
from corrosion.terms import MarkKind
from corrosion.units import LengthUnit, mm_per

Box = tuple[float, float, float, float]
TEXT_SHARE, LEAST_TEXT_PX = 23.0 / 480.0, 13
"""Height of letters as a share of the picture's longer side."""
NAME_LENGTH = 18
_BLACK, _WHITE = "#000000", "#ffffff"
_REFERENCE = "#56b4e9"
_DASHES: dict[MarkKind, tuple[str, tuple[float, float] | None]] = {
    # Okabe-Ito palette (2008, from memory); the dashes tell the kinds apart without it.
    MarkKind.PIT: ("#f0e442", None),
    MarkKind.BLEND_OUT: ("#ff9d2e", (14.0, 7.0)),
    MarkKind.AFFECTED: ("#e7a3c9", (5.0, 5.0)),
    MarkKind.CLEAR: ("#8be0c0", (2.0, 6.0)),
}
KIND_LINES = "pits: full line; blend-outs: long dashes; affected areas: short dashes; clear areas: dots"
MOST_POINTS = 400


@dataclass(frozen=True)
class Traced:
    """A mark's outline in the full upright picture, px; closed for an area."""

    name: str
    kind: MarkKind
    rings: list[FloatArray]
    closed: bool

    @property
    def box(self) -> Box:
        """Bounds as left, top, right, bottom."""
        points = np.concatenate(self.rings)
        (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
        return float(left), float(top), float(right), float(bottom)


class Canvas:
    """A cut-out of a photo to draw on, in coordinates of the full upright picture.

    Parameters
    ----------
    image : Image
        RGB; drawn on in place.
    window : tuple of float
        Edges of the cut-out in the full picture, px: (0, 0, W, H) is all of it, half a pixel outside the
        centres that points are given by.
    """

    def __init__(self, image: Image.Image, window: Box) -> None:
        self._draw = ImageDraw.Draw(image)
        self._size = image.size
        self._corner = (window[0], window[1])
        self._factor = image.width / (window[2] - window[0])
        self._text_px = max(round(TEXT_SHARE * max(image.size)), LEAST_TEXT_PX)
        self._font = _font(self._text_px)
        self._taken: list[Box] = []

    def _at(self, points: FloatArray) -> FloatArray:
        # A pixel's centre lies half a pixel inside its edge, in both grids.
        return np.asarray((points + 0.5 - self._corner) * self._factor - 0.5, dtype=np.float64)

    def mark(self, traced: Traced) -> None:
        """Draw a mark's outline."""
        colour, dash = _DASHES[traced.kind]
        for ring in traced.rings:
            points = self._at(ring)
            if len(points) == 1:
                self._cross(points[0], colour)
                continue
            path = np.vstack([points, points[:1]]) if traced.closed else points
            self._line(path, colour, dash)

    def _line(self, path: FloatArray, colour: str, dash: tuple[float, float] | None) -> None:
        pieces = [path] if dash is None else dashed(path, *dash)
        for width, ink in ((5, _BLACK), (2, colour)):
            for piece in pieces:
                self._draw.line([tuple(p) for p in piece], fill=ink, width=width, joint="curve")

    def _cross(self, at: FloatArray, colour: str, size: float = 8.0) -> None:
        x, y = float(at[0]), float(at[1])
        for width, ink in ((5, _BLACK), (2, colour)):
            self._draw.line([(x - size, y), (x + size, y)], fill=ink, width=width)
            self._draw.line([(x, y - size), (x, y + size)], fill=ink, width=width)

    def reference(self, scale: Scale) -> None:
        """Draw where the scale reference was taken in the picture."""
        paths, points = reference_shape(scale)
        for path in paths:
            self._line(self._at(path), _REFERENCE, None)
        for at in self._at(points) if len(points) else ():
            self._cross(at, _REFERENCE, 6.0)

    def name(self, text: str, box: Box) -> None:
        """Write a name beside a box of the full picture, where it covers no other name."""
        shown = shortened(visible(text), NAME_LENGTH)
        (left, top), (right, bottom) = self._at(np.array([box[:2], box[2:]]))
        wide = float(self._draw.textlength(shown, font=self._font)) + 8.0
        high = self._text_px + 6.0
        middle = (left + right) / 2.0 - wide / 2.0
        places = [
            (right + 4.0, top - high / 2.0), (left - wide - 4.0, top - high / 2.0),
            (middle, top - high - 4.0), (middle, bottom + 4.0),
            (right + 4.0, bottom - high / 2.0), (left - wide - 4.0, bottom - high / 2.0),
        ]  # fmt: skip
        boxes = [self._inside((x, y, x + wide, y + high)) for x, y in places]
        free = next((b for b in boxes if not any(_meet(b, other) for other in self._taken)), boxes[0])
        self._label(shown, free)

    def corner(self, text: str) -> None:
        """Write a letter into the top left corner."""
        wide = float(self._draw.textlength(text, font=self._font)) + 12.0
        self._label(text, (0.0, 0.0, wide, self._text_px + 8.0))

    def frame(self, window: Box, text: str) -> None:
        """Draw the frame of a close-up with its letter."""
        inner = (window[0] - 0.5, window[1] - 0.5, window[2] - 0.5, window[3] - 0.5)
        (left, top), (right, bottom) = self._at(np.array([inner[:2], inner[2:]]))
        for width, ink in ((5, _BLACK), (2, _WHITE)):
            self._draw.rectangle([left, top, right, bottom], outline=ink, width=width)
        self.name(text, inner)

    def scale_bar(self, mm_per_px: float, unit: LengthUnit) -> None:
        """Draw a bar of a round length at the bottom right; it holds at the marks, not all over."""
        span_mm = self._size[0] / self._factor * mm_per_px
        length, words = round_length(span_mm / 4.0, unit)
        wide = length / mm_per_px * self._factor
        text = float(self._draw.textlength(words, font=self._font))
        right, bottom = self._size[0] - 10.0, self._size[1] - 10.0
        left = right - max(wide, text) - 8.0
        self._draw.rectangle(
            [left - 6.0, bottom - self._text_px - 20.0, right + 6.0, bottom + 6.0], fill=_WHITE
        )
        start = right - wide
        self._draw.line([(start, bottom - 4.0), (right, bottom - 4.0)], fill=_BLACK, width=5)
        for x in (start, right):
            self._draw.line([(x, bottom - 11.0), (x, bottom)], fill=_BLACK, width=3)
        self._draw.text((right - text, bottom - self._text_px - 18.0), words, fill=_BLACK, font=self._font)
        self._taken.append((left - 6.0, bottom - self._text_px - 20.0, right + 6.0, bottom + 6.0))

    def _label(self, text: str, box: Box) -> None:
        self._draw.rectangle(box, fill=_WHITE, outline=_BLACK)
        self._draw.text((box[0] + 4.0, box[1] + 1.0), text, fill=_BLACK, font=self._font)
        self._taken.append(box)

    def _inside(self, box: Box) -> Box:
        wide, high = self._size
        right = max(min(0.0, wide - 1.0 - box[2]), -box[0])
        down = max(min(0.0, high - 1.0 - box[3]), -box[1])
        x, y = right + max(0.0, -(box[0] + right)), down + max(0.0, -(box[1] + down))
        return box[0] + x, box[1] + y, box[2] + x, box[3] + y


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@cache
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(font_folder() / "DejaVuSans-Bold.ttf"), size_px)


def dashed(path: FloatArray, on: float, off: float) -> list[FloatArray]:
    """Cut a path of shape (n, 2) into dashes, each a path."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    pieces = []
    for start in np.arange(0.0, along[-1], on + off):
        end = min(start + on, along[-1])
        inner = (along > start) & (along < end)
        places = np.concatenate([[start], along[inner], [end]])
        pieces.append(np.column_stack([np.interp(places, along, path[:, axis]) for axis in (0, 1)]))
    return pieces


def round_length(most_mm: float, unit: LengthUnit) -> tuple[float, str]:
    """Give the largest 1, 2 or 5 times a power of ten of the unit that is not longer than `most_mm`.

    Returns
    -------
    float
        mm.
    str
        As written.
    """
    most = max(most_mm / mm_per(unit), 1e-6)
    power = math.floor(math.log10(most) + 1e-9)
    step = next(s for s in (5.0, 2.0, 1.0) if s * 10.0**power <= most * (1.0 + 1e-9))
    value = step * 10.0**power
    return value * mm_per(unit), f"{value:.{max(-power, 0)}f} {unit}"


def reference_shape(scale: Scale) -> tuple[list[FloatArray], FloatArray]:
    """Lines and points of a scale reference in the picture, px."""
    nothing = np.empty((0, 2))
    match scale:
        case BarScale() | RuleScale():
            ends = np.array(scale.image, dtype=np.float64)
            ticks = [p for tick in getattr(scale, "ticks", []) for p in tick.points]
            return [ends, *_caps(ends)], _points(ticks)
        case CardScale():
            if scale.image is not None:
                return [_closed(np.array(scale.image, dtype=np.float64))], nothing
            return [np.array(edge, dtype=np.float64) for edge in scale.edges or ()], nothing
        case DiscScale():
            hull = MultiPoint(scale.image).convex_hull if len(scale.image) > 2 else None
            ring = getattr(hull, "exterior", None)
            return ([np.array(ring.coords)] if ring is not None else []), nothing
        case PointsScale() | TargetScale():
            return [], _points(scale.image)


def _caps(ends: FloatArray) -> list[FloatArray]:
    along = ends[1] - ends[0]
    length = float(np.hypot(*along))
    if length == 0.0:
        return []
    across = np.array([-along[1], along[0]]) / length * max(length * 0.03, 8.0)
    return [np.array([end - across, end + across]) for end in ends]


def _closed(ring: FloatArray) -> FloatArray:
    return np.vstack([ring, ring[:1]])


def _points(points: Sequence[tuple[float, float]]) -> FloatArray:
    """At most `MOST_POINTS` of them, evenly picked: a found sheet has hundreds."""
    step = -(-len(points) // MOST_POINTS) or 1
    return np.array(points[::step], dtype=np.float64).reshape(-1, 2)
