"""The legend of a map: only what the map shows, in plain words, with the colour scale."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from corrosion.report.map_layers import UNSEEN_HATCH
from corrosion.report.map_style import (
    HATCH_CLOSE,
    HATCH_NO_LIMIT,
    HATCH_OVER,
    INK,
    NO_LIMIT_FILL,
    OVER_FILL,
    PAPER,
    PHOTO,
    QUIET,
    MapStyle,
    colour_map,
)
from corrosion.report.map_subject import OVER, TOO_CLOSE, UNDETERMINED, Raster, Subject
from corrosion.report.numbers import length_text
from corrosion.terms import Face, MarkKind
from corrosion.units import LengthUnit

COLUMNS = 2
ROW_IN = 0.185
BAR_IN = 0.62
OVER_WIDTH = 0.2


def legend_entries(
    subjects: list[Subject], rasters: list[Raster], style: MapStyle
) -> list[tuple[Any, str]]:
    """List handles and words for everything that the maps show."""
    return [
        *_verdict_entries(rasters, style),
        *_unseen_entries(subjects),
        *_outline_entries(subjects),
        *_place_entries(subjects, style),
    ]


def _verdict_entries(rasters: list[Raster], style: MapStyle) -> list[tuple[Any, str]]:
    found = {int(code) for raster in rasters for code in np.unique(raster.verdict)}
    # Close to the limit is the dark end of either scale: the hatching there is light.
    near_limit = to_hex(colour_map(style.mode)(1.0 if style.mode == "share" else 0.0))
    hatched = {
        OVER: (OVER_FILL, INK, HATCH_OVER, "✗ over the limit"),
        TOO_CLOSE: (near_limit, PAPER, HATCH_CLOSE, "≈ too close to call: measure better"),
        UNDETERMINED: (NO_LIMIT_FILL, INK, HATCH_NO_LIMIT, "? metal removed, no limit set"),
    }
    return [
        (Patch(facecolor=fill, edgecolor=ink, linewidth=0.6, hatch=hatch, hatch_linewidth=0.5), words)
        for code, (fill, ink, hatch, words) in hatched.items()
        if code in found
    ]


def _unseen_entries(subjects: list[Subject]) -> list[tuple[Any, str]]:
    faces = [f for f in Face if any(f in s.unseen and not s.unseen[f].is_empty for s in subjects)]
    return [
        (
            Patch(
                facecolor=PAPER,
                edgecolor="#8f8f8f",
                linewidth=0.0,
                hatch=UNSEEN_HATCH[f],
                hatch_linewidth=0.5,
            ),
            f"not seen (no photo): {f} face",
        )
        for f in faces
    ]


def _outline_entries(subjects: list[Subject]) -> list[tuple[Any, str]]:
    present = {(o.kind, o.face) for s in subjects for o in s.outlines}
    words = {
        MarkKind.BLEND_OUT: "blend-out or earlier rework",
        MarkKind.PIT: "pit, not blended",
        MarkKind.AFFECTED: "affected area",
        MarkKind.CLEAR: "looked at, clear",
    }
    entries = [
        (_handle(kind, face), f"{text}: {face} face")
        for kind, text in words.items()
        for face in Face
        if (kind, face) in present
    ]
    if any(outline.depth for s in subjects for outline in s.outlines):
        entries.append(
            (Line2D([], [], linestyle="none"), f"number by a name: its depth, {subjects[0].unit}")
        )
    return entries


def _handle(kind: MarkKind, face: Face) -> Any:
    inner = face is Face.INNER
    if kind is MarkKind.PIT:
        return Line2D(
            [], [], linestyle="none", marker="D", markersize=4.5, markeredgecolor=INK,
            markerfacecolor=PAPER if inner else INK,
        )  # fmt: skip
    if kind is MarkKind.BLEND_OUT:
        return Line2D([], [], color=INK, linewidth=1.2, linestyle=(0, (4, 1.5)) if inner else "solid")
    return Line2D([], [], color=QUIET, linewidth=0.9, linestyle=(0, (2, 2)) if inner else (0, (6, 1)))


def _place_entries(subjects: list[Subject], style: MapStyle) -> list[tuple[Any, str]]:
    entries: list[tuple[Any, str]] = []
    if any(s.assessed.deepest is not None and s.face is None for s in subjects):
        entries.append(
            (Line2D([], [], linestyle="none", marker="+", markersize=9, color=INK), "most removed here")
        )
    agreement = {check.agrees for s in subjects for check in s.readings}
    if True in agreement:
        entries.append((_triangle(PAPER), "thickness reading"))
    if False in agreement:
        entries.append((_triangle(OVER_FILL), "thickness reading at odds: it shows this removed"))
    if any(s.member.limit_zones for s in subjects):
        entries.append(
            (Line2D([], [], color=QUIET, linewidth=0.9, linestyle=(0, (5, 2.5))), "zone with its own limit")
        )
    if style.photos and any(s.photos for s in subjects):
        entries.append((Line2D([], [], color=PHOTO, linewidth=1.0, linestyle=(0, (1.2, 1.6))), "photo"))
    if any(s.member.fasteners for s in subjects):
        ring = Line2D(
            [], [], linestyle="none", marker="o", markersize=5, markerfacecolor=PAPER, markeredgecolor=QUIET
        )
        entries.append((ring, "fastener"))
    return entries


def _triangle(fill: str) -> Line2D:
    return Line2D(
        [], [], linestyle="none", marker="^", markersize=6, markerfacecolor=fill, markeredgecolor=INK
    )


def legend_height(entries: list[tuple[Any, str]]) -> float:
    """Height the legend and its colour scale take, inches."""
    return BAR_IN + 0.16 + ROW_IN * math.ceil(len(entries) / COLUMNS)


def draw_legend(axes: Axes, entries: list[tuple[Any, str]], style: MapStyle) -> None:
    """Draw the entries into an empty axes."""
    axes.set_axis_off()
    if entries:
        handles, words = zip(*entries, strict=True)
        axes.legend(
            handles,
            words,
            loc="upper left",
            bbox_to_anchor=(0.0, 0.0, 1.0, 1.0),
            borderaxespad=0.0,
            ncols=COLUMNS,
            columnspacing=3.0,
            frameon=False,
            fontsize=style.text_pt,
            handlelength=2.2,
            handleheight=0.95,
            labelspacing=0.42,
            borderpad=0.0,
        )


def draw_colour_scale(
    figure: Figure, box: tuple[float, float, float, float], style: MapStyle, unit: LengthUnit, scale: float
) -> None:
    """Draw the colour scale into a box of figure fractions: left, bottom, width, height."""
    axes = figure.add_axes(box)
    gradient = np.linspace(0.0, 1.0, 256)[None, :]
    axes.imshow(gradient, extent=(0.0, 1.0, 0.0, 1.0), aspect="auto", cmap=colour_map(style.mode))
    # Over the limit lies past 100 % of it, which is left of a margin of nothing.
    start = 1.0 if style.mode == "share" else -OVER_WIDTH
    over = Rectangle((start, 0.0), OVER_WIDTH, 1.0, facecolor=OVER_FILL, edgecolor=INK, linewidth=0.6)
    over.set(hatch=HATCH_OVER, hatch_linewidth=0.5)
    axes.add_patch(over)
    axes.set_xlim(min(start, 0.0), max(1.0, start + OVER_WIDTH))
    axes.set_yticks([])
    ticks = [0.0, 0.25, 0.5, 0.75, 1.0]
    if style.mode == "share":
        words = [f"{100 * t:.0f} %" for t in ticks]
        title = "Thickness removed as a share of the limit"
    else:
        words = [length_text(t * scale, unit) for t in ticks]
        title = f"Margin left: how much more may come off, {unit}"
    middle = start + 0.6 * OVER_WIDTH if style.mode == "share" else start + 0.3 * OVER_WIDTH
    axes.set_xticks([*ticks, middle], [*words, "over"], fontsize=style.text_pt - 0.5)
    axes.tick_params(length=2, width=0.5, pad=2)
    axes.set_title(title, loc="left", fontsize=style.text_pt, pad=3, fontweight="bold", color=INK)
    axes.set_gid("colour-scale")
    for spine in axes.spines.values():
        spine.set(linewidth=0.6, color=QUIET)
