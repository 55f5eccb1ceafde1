"""The layers of a map, each drawn on a given matplotlib axes in layout millimetres."""

from __future__ import annotations

from typing import Any

import contourpy
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path as Outlines
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from corrosion.report.map_style import (
    HATCH_CLOSE,
    HATCH_NO_LIMIT,
    HATCH_OVER,
    HATCH_UNSEEN_INNER,
    HATCH_UNSEEN_OUTER,
    INK,
    METAL,
    NO_LIMIT_FILL,
    OVER_FILL,
    PAPER,
    PHOTO,
    QUIET,
    MapStyle,
    colour_map,
)
from corrosion.report.map_subject import OVER, TOO_CLOSE, UNDETERMINED, Outline, Raster, Subject, Window
from corrosion.report.numbers import length_text
from corrosion.terms import Face, MarkKind

UNSEEN_HATCH = {Face.OUTER: HATCH_UNSEEN_OUTER, Face.INNER: HATCH_UNSEEN_INNER}
# Outlined letters would turn into paths in an SVG; a pale ground keeps names text.
NAME_GROUND = {"facecolor": PAPER, "alpha": 0.72, "edgecolor": "none", "pad": 0.8}
HALO = [withStroke(linewidth=2.2, foreground=PAPER)]


def path_of(shape: BaseGeometry) -> Outlines:
    """Turn polygons and lines into one matplotlib path; holes stay holes."""
    vertices: list[NDArray[np.float64]] = []
    codes: list[int] = []
    for ring in _rings(shape):
        vertices.append(ring)
        codes += _stroke(len(ring))
    if not vertices:
        return Outlines(np.zeros((0, 2)))
    return Outlines(np.concatenate(vertices), codes)


def _stroke(points: int) -> list[int]:
    """Path codes of one ring."""
    return [int(Outlines.MOVETO), *[int(Outlines.LINETO)] * (points - 1)]


def _rings(shape: BaseGeometry) -> list[NDArray[np.float64]]:
    rings = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            # Opposite senses, so that a hole stays empty under the non-zero rule too.
            sensed = orient(part)
            rings += [np.asarray(r.coords)[:, :2] for r in (sensed.exterior, *sensed.interiors)]
        elif part.geom_type in ("LineString", "LinearRing"):
            rings.append(np.asarray(part.coords)[:, :2])
        elif part.geom_type not in ("Point", "MultiPoint"):
            rings += _rings(part)
    return rings


def add_shape(axes: Axes, shape: BaseGeometry, *, gid: str, **looks: Any) -> None:
    """Draw a shape's area or line; an empty shape draws nothing."""
    if not shape.is_empty:
        patch = PathPatch(path_of(shape), **({"facecolor": "none"} | looks))
        patch.set_gid(gid)
        axes.add_patch(patch)


def draw_metal(axes: Axes, subject: Subject) -> None:
    """Draw the member's area."""
    add_shape(axes, subject.polygon, gid="member", facecolor=METAL, edgecolor="none", zorder=0)


def draw_edge(axes: Axes, subject: Subject) -> None:
    """Draw the member's edge, on top of everything that lies on the member."""
    add_shape(axes, subject.polygon, gid="member-edge", edgecolor=INK, linewidth=1.2, zorder=6)


def draw_unseen(axes: Axes, subject: Subject, style: MapStyle) -> None:
    """Hatch what was not photographed, each face with its own slant.

    The margin colours the whole member, so there the hatching goes on top.
    """
    for face, shape in subject.unseen.items():
        add_shape(
            axes,
            shape,
            gid=f"not-seen-{face}",
            edgecolor="#8f8f8f",
            linewidth=0.0,
            hatch=UNSEEN_HATCH[face],
            hatch_linewidth=0.45,
            zorder=2.5 if style.mode == "margin" else 1.0,
        )


def draw_removal(axes: Axes, raster: Raster, style: MapStyle, scale: float) -> None:
    """Colour the removal and hatch what is over, close, or without a limit.

    Parameters
    ----------
    scale : float
        The margin, mm, that the lightest colour stands for; unused for shares.
    """
    colours = colour_map(style.mode)
    relative = raster.share if style.mode == "share" else raster.margin / scale
    shown = np.isfinite(relative) & ((raster.removed > 0.0) | (style.mode == "margin"))
    rgba = colours(np.clip(np.nan_to_num(relative), 0.0, 1.0))
    rgba[..., 3] = np.where(shown, 1.0, 0.0)
    over_fill = np.array([int(OVER_FILL[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    rgba[shown & (raster.share > 1.0), :3] = over_fill
    unlimited = np.isnan(raster.share) & (raster.removed > 0.0)
    rgba[unlimited] = [*[int(NO_LIMIT_FILL[1:3], 16) / 255.0] * 3, 1.0]
    image = axes.imshow(
        rgba, extent=raster.extent, origin="lower", interpolation="nearest", aspect="auto", zorder=2
    )
    image.set_gid("removal")
    _hatch(axes, raster, raster.verdict == OVER, gid="over-limit", hatch=HATCH_OVER)
    _hatch(axes, raster, raster.verdict == TOO_CLOSE, gid="too-close", hatch=HATCH_CLOSE, ink=PAPER)
    _hatch(axes, raster, raster.verdict == UNDETERMINED, gid="no-limit", hatch=HATCH_NO_LIMIT)


def _hatch(
    axes: Axes, raster: Raster, mask: NDArray[np.bool_], *, gid: str, hatch: str, ink: str = INK
) -> None:
    if not mask.any():
        return
    # A rim of empty cells closes every outline, also at the edge of the picture.
    padded = np.pad(mask.astype(np.float64), 1)
    step_x, step_y = raster.x[1] - raster.x[0], raster.y[1] - raster.y[0]
    x = np.concatenate([[raster.x[0] - step_x], raster.x, [raster.x[-1] + step_x]])
    y = np.concatenate([[raster.y[0] - step_y], raster.y, [raster.y[-1] + step_y]])
    lines = contourpy.contour_generator(x, y, padded, line_type=contourpy.LineType.Separate).lines(0.5)
    rings = [np.asarray(line) for line in lines]
    codes = [_stroke(len(ring)) for ring in rings]
    patch = PathPatch(
        Outlines(np.concatenate(rings), np.concatenate(codes)),
        facecolor="none",
        edgecolor=ink,
        linewidth=0.7,
        hatch=hatch,
        hatch_linewidth=0.5,
        zorder=3,
    )
    patch.set_gid(gid)
    axes.add_patch(patch)


def draw_limit_zones(axes: Axes, subject: Subject) -> None:
    """Draw the zones with a limit of their own."""
    for zone in subject.member.limit_zones:
        shape = shapely.Polygon(zone.outline).intersection(subject.polygon)
        add_shape(
            axes,
            shape,
            gid=f"limit-zone-{zone.id}",
            edgecolor=QUIET,
            linewidth=0.9,
            linestyle=(0, (5, 2.5)),
            zorder=4,
        )


def limit_zone_words(subject: Subject) -> list[str]:
    """List each limit zone with its limit."""
    listed = []
    for zone in subject.member.limit_zones:
        fraction, depth = zone.limit.fraction, zone.limit.depth
        limit = (
            f"{100 * fraction:g} %" if fraction else f"{length_text(depth, subject.unit)} {subject.unit}"
        )
        listed.append(f"{zone.id} ({limit})")
    return listed


def draw_readings(axes: Axes, subject: Subject, window: Window, style: MapStyle, *, named: bool) -> None:
    """Draw thickness readings: hollow where they agree with the entries, filled (and `named`) where not."""
    for check in subject.readings:
        station, offset = check.reading.at
        if not (window[0] <= station <= window[2] and window[1] <= offset <= window[3]):
            continue
        (mark,) = axes.plot(
            [station],
            [offset],
            marker="^",
            markersize=5.0 if check.agrees else 6.5,
            markerfacecolor=PAPER if check.agrees else OVER_FILL,
            markeredgecolor=INK,
            markeredgewidth=0.8,
            linestyle="none",
            zorder=7.5,
        )
        mark.set_gid(f"reading-{check.reading.id}")
        if named and not check.agrees:
            axes.annotate(
                f"{check.reading.id}: {length_text(check.removed_by_reading, subject.unit)}",
                (station, offset),
                xytext=(0.0, -6.0),
                textcoords="offset points",
                ha="center",
                va="top",
                fontsize=style.text_pt - 0.5,
                color=INK,
                bbox=NAME_GROUND,
                zorder=8,
                annotation_clip=True,
            )


def draw_fasteners(axes: Axes, subject: Subject, *, least_radius: float) -> None:
    """Draw the fasteners to scale, but never too small to see."""
    rings = [Circle(f.at, max(0.5 * f.diameter, least_radius)) for f in subject.member.fasteners]
    if rings:
        drawn = PatchCollection(rings, facecolor=PAPER, edgecolor=QUIET, linewidth=0.5, zorder=3.5)
        drawn.set_gid("fasteners")
        axes.add_collection(drawn)


def draw_photos(axes: Axes, subject: Subject) -> None:
    """Draw the photos' footprints."""
    for name, shape in subject.photos:
        add_shape(
            axes,
            shape.intersection(subject.polygon.buffer(1.0)),
            gid=f"photo-{name}",
            edgecolor=PHOTO,
            linewidth=0.8,
            linestyle=(0, (1.2, 1.6)),
            zorder=4,
        )


def draw_outlines(axes: Axes, subject: Subject) -> None:
    """Draw removals, affected and clear areas: whole lines for the outer face, broken for the inner."""
    for outline in subject.outlines:
        if outline.kind is not MarkKind.PIT:
            add_shape(axes, outline.shape, gid=f"outline-{outline.name}", zorder=5, **_line_of(outline))


def _line_of(outline: Outline) -> dict[str, Any]:
    inner = outline.face is Face.INNER
    if outline.kind is MarkKind.BLEND_OUT:
        return {
            "edgecolor": INK,
            "linewidth": 0.8 if outline.planned else 1.1,
            "linestyle": (0, (4, 1.5)) if inner else "solid",
        }
    return {"edgecolor": QUIET, "linewidth": 0.8, "linestyle": (0, (2, 2)) if inner else (0, (6, 1))}


def draw_pits(axes: Axes, subject: Subject, *, mm_per_pt: float) -> None:
    """Mark pits: their true outline, and a diamond where that is too small to see."""
    for pit in subject.shapes(MarkKind.PIT):
        inner = pit.face is Face.INNER
        left, bottom, right, top = pit.shape.bounds
        if max(right - left, top - bottom) > 5.0 * mm_per_pt:
            add_shape(
                axes,
                pit.shape,
                gid=f"pit-{pit.name}",
                facecolor=PAPER if inner else INK,
                edgecolor=INK,
                linewidth=1.0,
                zorder=5.5,
            )
            continue
        at = pit.shape.centroid
        (mark,) = axes.plot(
            [at.x],
            [at.y],
            marker="D",
            markersize=3.6,
            markerfacecolor=PAPER if inner else INK,
            markeredgecolor=INK,
            markeredgewidth=0.7,
            linestyle="none",
            zorder=5.5,
        )
        mark.set_gid(f"pit-{pit.name}")
