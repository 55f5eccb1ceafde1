"""Small pictures for a bench card: the place on the layout, and the place on the photo."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

import numpy as np
from PIL import Image, ImageDraw
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.blend import MemberPlan
from corrosion.marks import outline_of
from corrosion.model import Mark, Settings
from corrosion.photo.picture import UInt8Array
from corrosion.report.numbers import place_text
from corrosion.terms import Face
from corrosion.units import LengthUnit, mm_per
from corrosion.worklist.cards import Card

CROP_PX = 640
"""Long side of a photo crop: about 250 pixels per inch as printed."""
_LEAST_WINDOW_MM = 140.0
_WIDE_PX, _HIGH_PX = 300.0, 190.0
_FONT = "DejaVu Sans"


@dataclass(frozen=True)
class _View:
    """Layout mm to picture px, as one sees the face: the inner one is the mirror image."""

    centre: tuple[float, float]
    scale: float
    right: float
    up: float

    def at(self, station: float, offset: float) -> tuple[float, float]:
        x = _WIDE_PX / 2.0 + self.right * (station - self.centre[0]) * self.scale
        return x, _HIGH_PX / 2.0 - self.up * (offset - self.centre[1]) * self.scale

    def path(self, shape: BaseGeometry) -> str:
        """Write polygons as path data."""
        parts = []
        for polygon in _polygons(shape):
            for ring in (polygon.exterior, *polygon.interiors):
                points = " L".join("{:.2f} {:.2f}".format(*self.at(x, y)) for x, y in ring.coords)
                parts.append(f"M{points} Z")
        return " ".join(parts)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    return list(shape.geoms) if isinstance(shape, MultiPolygon) else []


def map_crop(plan: MemberPlan, card: Card, unit: LengthUnit) -> bytes | None:
    """Draw a card's place on its member as SVG; None for what is not on the layout.

    Shown: the member, its limit zones, fasteners and named stations, earlier removals (grey), the corrosion
    (black), the planned floor and outline.
    """
    bounds, at = card.place.bounds, card.place.at
    if bounds is None or at is None:
        return None
    wide = max(2.2 * (bounds[2] - bounds[0]), 2.2 * (bounds[3] - bounds[1]) * _WIDE_PX / _HIGH_PX)
    view = _View(
        centre=((bounds[0] + bounds[2]) / 2.0, (bounds[1] + bounds[3]) / 2.0),
        scale=_WIDE_PX / max(wide, _LEAST_WINDOW_MM),
        right=-1.0 if card.place.face is Face.INNER else 1.0,
        up=1.0 if card.place.member.outer_view == "offset-up" else -1.0,
    )
    lines = [*_metal(plan, view), *_work(plan, card, view), *_scales(card, view, unit)]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE_PX:g} {_HIGH_PX:g}" '
        f'font-family="{_FONT}" font-size="8">'
    )
    return "\n".join([head, *lines, "</svg>"]).encode()


def _metal(plan: MemberPlan, view: _View) -> Iterator[str]:
    layout = plan.layout
    yield f'<rect width="{_WIDE_PX:g}" height="{_HIGH_PX:g}" fill="#ffffff"/>'
    yield f'<path d="{view.path(layout.polygon)}" fill="#f1f0ec" stroke="#1b1b1b" stroke-width="1.4"/>'
    for zone in layout.limit_zones:
        path = view.path(zone.outline)
        yield f'<path d="{path}" fill="none" stroke="#6b6b6b" stroke-width="0.8" stroke-dasharray="5 3"/>'
    for line in layout.member.stations:
        x, _ = view.at(line.at, 0.0)
        if 0.0 < x < _WIDE_PX:
            yield f'<path d="M{x:.2f} 0 V{_HIGH_PX:g}" stroke="#6b6b6b" stroke-width="0.6"/>'
            yield f'<text x="{x + 2:.2f}" y="{_HIGH_PX - 18:g}" fill="#444">{escape(line.label)}</text>'
    for fastener in layout.member.fasteners:
        x, y = view.at(*fastener.at)
        radius = fastener.diameter / 2.0 * view.scale
        if -20.0 < x < _WIDE_PX + 20.0 and -20.0 < y < _HIGH_PX + 20.0:
            yield (
                f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="#fff" stroke="#444" '
                'stroke-width="0.8"/>'
            )


def _work(plan: MemberPlan, card: Card, view: _View) -> Iterator[str]:
    for entry in plan.now.entries:
        path = view.path(entry.footprint)
        yield f'<path d="{path}" fill="#bbb" fill-opacity="0.5" stroke="#777" stroke-width="0.8"/>'
    blend = card.target.blend if card.target else None
    if blend is not None:
        yield f'<path d="{view.path(blend.footprint)}" fill="#cfe0f3" stroke="#0b3d91" stroke-width="1.6"/>'
        path = view.path(blend.floor)
        yield (
            f'<path d="{path}" fill="none" stroke="#0b3d91" stroke-width="0.9" stroke-dasharray="2.5 1.5"/>'
        )
    outlines = [s.outline for s in blend.sites] if blend else [f.outline for f in card.findings]
    for outline in outlines:
        if outline is not None and outline.geom_type in {"Polygon", "MultiPolygon"}:
            fill = "#1b1b1b" if blend else "none"
            yield f'<path d="{view.path(outline)}" fill="{fill}" stroke="#1b1b1b" stroke-width="1"/>'
        elif outline is not None:
            x, y = view.at(outline.centroid.x, outline.centroid.y)
            yield f'<path d="M{x - 4:.2f} {y:.2f} h8 m-4 -4 v8" stroke="#1b1b1b" stroke-width="1.4"/>'


def _scales(card: Card, view: _View, unit: LengthUnit) -> Iterator[str]:
    """Scale bar, and which way stations and offsets grow as seen by someone facing the surface."""
    step = mm_per(unit) * (0.5 if unit == "in" else 10.0)
    length = step * view.scale
    y = _HIGH_PX - 8.0
    for top in (0.0, _HIGH_PX - 15.0):
        yield f'<rect x="0" y="{top:g}" width="{_WIDE_PX:g}" height="15" fill="#fff"/>'
    yield f'<path d="M6 {y - 3:g} v6 M6 {y:g} h{length:.2f} m0 -3 v6" stroke="#000" fill="none"/>'
    label = f"{place_text(step, unit)} {unit}"
    yield f'<text x="{10 + length:.2f}" y="{y + 3:g}">{label}</text>'
    face = f"facing the {card.place.face} face; " if card.place.face else ""
    along = "right" if view.right > 0 else "left"
    across = "up" if view.up > 0 else "down"
    words = f"{face}stations grow to the {along}, offset {across}"
    yield f'<text x="{_WIDE_PX / 2:g}" y="10" text-anchor="middle">{escape(words)}</text>'
    station, offset = (place_text(value, unit) for value in view.centre)
    at = f"middle: station {station}, offset {offset} {unit}"
    yield f'<text x="{_WIDE_PX - 4:g}" y="{y + 3:g}" text-anchor="end">{escape(at)}</text>'


def photo_crop(pixels: UInt8Array, mark: Mark, settings: Settings) -> bytes:
    """Cut a mark out of its photo, with room round it and its outline drawn in, as JPEG.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        Upright RGB.

    Raises
    ------
    MarkError
        If the mark's outline cannot be had.
    """
    high, wide = pixels.shape[:2]
    outline = outline_of(mark, settings, (wide, high), f"mark {mark.id!r}")
    points = outline.points_px
    middle = (points.max(axis=0) + points.min(axis=0)) / 2.0
    half = max(1.6 * float(np.ptp(points, axis=0).max()), 60.0)
    left, top = np.maximum(np.floor(middle - half), 0).astype(int)
    right, bottom = np.minimum(np.ceil(middle + half) + 1, (wide, high)).astype(int)
    cut = Image.fromarray(np.ascontiguousarray(pixels[top:bottom, left:right]))
    factor = CROP_PX / max(cut.size)
    cut = cut.resize((max(round(cut.width * factor), 1), max(round(cut.height * factor), 1)))
    draw = ImageDraw.Draw(cut)
    for ring in outline.rings or (slice(None),):
        # The centre of pixel 0 lies at 0.5 of the resampled grid.
        corners = [tuple(p) for p in (points[ring] - (left, top) + 0.5) * factor - 0.5]
        closed = [*corners, corners[0]] if outline.rings else corners
        if len(closed) > 1:
            draw.line(closed, fill="#000000", width=5)
            draw.line(closed, fill="#ffe14d", width=2)
    stream = io.BytesIO()
    cut.save(stream, "JPEG", quality=85)
    return stream.getvalue()
