"""The removal map: a member's layout with what is gone, what is left and what nobody has seen.

Each member gets an overview and close-ups of the places where something was found. Drawn with
matplotlib's objects alone, so that several threads can draw; the one global thing, the rendering, is
behind a lock.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from string import ascii_uppercase
from textwrap import shorten
from typing import IO, Any, Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from corrosion.errors import CorrosionError
from corrosion.report import map_labels as labels
from corrosion.report import map_layers as layers
from corrosion.report.map_legend import (
    BAR_IN,
    draw_colour_scale,
    draw_legend,
    legend_entries,
    legend_height,
)
from corrosion.report.map_style import INK, PAPER, QUIET, VERDICT_COLOUR, MapStyle
from corrosion.report.map_subject import (
    FieldSource,
    Raster,
    Subject,
    Window,
    detail_windows,
    has_something,
    removal_of,
    sample,
    subject_of,
)
from corrosion.report.numbers import length_text, place_text, shown
from corrosion.report.words import CAUTION, clean, verdict_words
from corrosion.results import Assessment, Spot
from corrosion.terms import Face

MapFormat = Literal["png", "svg"]
Target = Path | str | IO[bytes]

EDGE_IN = 0.28
LABELS_IN = 0.52
TITLE_IN = 0.74
NOTE_IN = 0.18
GAP_IN = 0.3
ABOVE_IN = 0.26
BELOW_IN = 0.46
DETAIL_ASPECT = 1.5
DETAIL_BELOW_IN = 0.52
DETAIL_LEAST_MM = 60.0
TALLEST_OVERVIEW_IN = 5.0
CAUTION_IN = 0.42
MOST_PIXELS_HIGH = 30_000
# No date and no random ids: the same survey gives the same file. Text stays text in an SVG, and a dollar
# sign in a name is a dollar sign, not a formula.
RENDER_SETTINGS: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "corrosion-survey",
    "text.parse_math": False,
}
_RENDERING = threading.Lock()


@dataclass(frozen=True)
class Panel:
    """One axes of a block: its window, size in inches and the removal sampled on it."""

    window: Window
    width_in: float
    height_in: float
    raster: Raster

    @property
    def mm_per_pt(self) -> float:
        """Millimetres of metal in one point of paper."""
        return (self.window[2] - self.window[0]) / self.width_in / 72.0


@dataclass(frozen=True)
class Block:
    """One member on the page."""

    subject: Subject
    overview: Panel
    details: list[Panel]

    @property
    def height_in(self) -> float:
        """Height of the block, inches."""
        rows = -(-len(self.details) // 2)
        detail = rows * (self.details[0].height_in + DETAIL_BELOW_IN) if self.details else 0.0
        return self.title_in + ABOVE_IN + self.overview.height_in + BELOW_IN + detail + GAP_IN

    @property
    def title_in(self) -> float:
        """Height of the title lines, inches."""
        return TITLE_IN + (NOTE_IN if self.subject.unplaced else 0.0)


class Page:
    """A figure filled from the top, measured in inches."""

    def __init__(self, width_in: float, height_in: float) -> None:
        self.width, self.height = width_in, height_in
        self.figure = Figure(figsize=(width_in, height_in), facecolor=PAPER)
        self.y = height_in - EDGE_IN

    def box(
        self, left: float, below: float, width: float, height: float
    ) -> tuple[float, float, float, float]:
        """Box in figure fractions whose top lies `below` inches under the cursor."""
        bottom = self.y - below - height
        return left / self.width, bottom / self.height, width / self.width, height / self.height

    def write(self, x: float, below: float, text: str, **looks: Any) -> None:
        """Write text whose top lies `below` inches under the cursor."""
        placed = {"ha": "left", "va": "top", "color": INK} | looks
        self.figure.text(x / self.width, (self.y - below) / self.height, text, **placed)


def draw_map(
    assessment: Assessment,
    member_id: str,
    face: Face | None,
    target: Target,
    fmt: MapFormat | None = None,
    *,
    style: MapStyle | None = None,
    removal: FieldSource | None = None,
) -> None:
    """Draw the removal map of one member.

    Parameters
    ----------
    assessment : Assessment
    member_id : str
    face : Face or None
        One face's own removal, or the sum of both.
    target : path or binary file
        Where the picture goes.
    fmt : str, optional
        ``png`` or ``svg``; by the target's ending if not given.
    style : MapStyle, optional
    removal : optional
        Sums the removals; rebuilt from the assessment if not given.

    Raises
    ------
    LayoutError
        If there is no such member.
    CorrosionError
        If the format is not known.
    """
    style = style or MapStyle()
    block = _block(assessment, member_id, face, style, removal)
    _render([block], target, fmt, assessment, style)


def draw_maps(
    assessment: Assessment,
    target: Target,
    fmt: MapFormat | None = None,
    *,
    members: Sequence[str] | None = None,
    face: Face | None = None,
    style: MapStyle | None = None,
) -> None:
    """Draw one sheet with every member on which something was found, one under the other.

    Where nothing was found at all, every member is drawn: not seen is not clean. `members` names the
    members to draw instead; the rest is as for `draw_map`.
    """
    style = style or MapStyle()
    all_of_them = [m.member.id for m in assessment.members]
    chosen = list(members or [name for name in all_of_them if has_something(assessment, name)])
    blocks = [_block(assessment, name, face, style, None) for name in chosen or all_of_them]
    if not blocks:
        raise CorrosionError(
            "the survey has no members, so there is nothing to draw.",
            remedy="Add the structure's members to the survey file.",
        )
    _render(blocks, target, fmt, assessment, style)


def _block(
    assessment: Assessment, member_id: str, face: Face | None, style: MapStyle, removal: FieldSource | None
) -> Block:
    subject = subject_of(assessment, member_id, face)
    source = removal or removal_of(assessment, member_id)
    everywhere = style.mode == "margin"
    room = style.width_in - 2 * EDGE_IN - LABELS_IN
    window = _padded(subject.bounds)
    aspect = (window[2] - window[0]) / (window[3] - window[1])
    width = min(room, TALLEST_OVERVIEW_IN * aspect)
    raster = sample(source, subject, window, round(width * 160), everywhere=everywhere)
    overview = Panel(window, width, width / aspect, raster)
    width = (room - LABELS_IN) / 2.0
    windows = detail_windows(subject, aspect=DETAIL_ASPECT, least_width=DETAIL_LEAST_MM, most=style.details)
    details = [
        Panel(w, width, width / DETAIL_ASPECT, sample(source, subject, w, 480, everywhere=everywhere))
        for w in windows
    ]
    return Block(subject, overview, details)


def _padded(bounds: Window) -> Window:
    room = 0.015 * max(bounds[2] - bounds[0], bounds[3] - bounds[1])
    return bounds[0] - room, bounds[1] - room, bounds[2] + room, bounds[3] + room


def _compose(blocks: list[Block], style: MapStyle) -> Figure:
    rasters = [panel.raster for block in blocks for panel in (block.overview, *block.details)]
    entries = legend_entries([block.subject for block in blocks], rasters, style)
    height = sum(block.height_in for block in blocks) + legend_height(entries) + CAUTION_IN + 2 * EDGE_IN
    page = Page(style.width_in, height)
    limits = [np.nanmax(r.margin + r.removed) for r in rasters if np.isfinite(r.margin).any()]
    scale = float(max(limits, default=1.0))
    for block in blocks:
        _draw_block(page, block, style, scale)
        page.y -= block.height_in
    unit = blocks[0].subject.unit
    draw_colour_scale(page.figure, page.box(EDGE_IN + 0.1, 0.2, 4.2, 0.15), style, unit, scale)
    wide = style.width_in - 2 * EDGE_IN
    legend = page.figure.add_axes(page.box(EDGE_IN, BAR_IN, wide, legend_height(entries) - BAR_IN))
    draw_legend(legend, entries, style)
    page.write(
        EDGE_IN,
        legend_height(entries) + 0.1,
        CAUTION.replace("decides ", "decides\n"),
        fontsize=style.text_pt - 1.0,
        color=QUIET,
    )
    return page.figure


def _draw_block(page: Page, block: Block, style: MapStyle, scale: float) -> None:
    _draw_title(page, block.subject, style)
    left = EDGE_IN + LABELS_IN
    panel = block.overview
    axes = page.figure.add_axes(page.box(left, block.title_in + ABOVE_IN, panel.width_in, panel.height_in))
    _draw_panel(axes, block.subject, panel, style, scale, named=not block.details)
    labels.draw_stations(axes, block.subject, panel.width_in, style)
    labels.draw_scale_bar(axes, panel.window, block.subject.unit, style, below_in=0.33)
    axes.set_xlabel(f"station, {block.subject.unit}", fontsize=style.text_pt, labelpad=2, loc="left")
    labels.draw_offset_label(axes, block.subject, panel.height_in, style)
    below = block.title_in + ABOVE_IN + panel.height_in + BELOW_IN
    for number, detail in enumerate(block.details):
        row, column = divmod(number, 2)
        x = left + column * (detail.width_in + LABELS_IN)
        y = below + row * (detail.height_in + DETAIL_BELOW_IN)
        close = page.figure.add_axes(page.box(x, y, detail.width_in, detail.height_in))
        _draw_panel(close, block.subject, detail, style, scale, named=True)
        labels.draw_scale_bar(close, detail.window, block.subject.unit, style, below_in=0.3)
        _letter(axes, close, detail, ascii_uppercase[number % 26], style)


def _draw_panel(
    axes: Axes, subject: Subject, panel: Panel, style: MapStyle, scale: float, *, named: bool
) -> None:
    layers.draw_metal(axes, subject)
    layers.draw_unseen(axes, subject, style)
    layers.draw_removal(axes, panel.raster, style, scale)
    layers.draw_limit_zones(axes, subject)
    layers.draw_fasteners(axes, subject, least_radius=1.1 * panel.mm_per_pt)
    if style.photos:
        layers.draw_photos(axes, subject)
    layers.draw_outlines(axes, subject)
    layers.draw_pits(axes, subject, mm_per_pt=panel.mm_per_pt)
    layers.draw_readings(axes, subject, panel.window, style, named=named)
    if named:
        labels.draw_names(axes, subject, panel.window, panel.mm_per_pt, style)
    layers.draw_edge(axes, subject)
    spot = subject.assessed.deepest
    if spot is not None and subject.face is None:
        axes.plot(*spot.at, marker="+", markersize=9, color=INK, zorder=7, path_effects=layers.HALO)
    labels.draw_scales(axes, subject, panel.window, panel.width_in, style)
    axes.set_xlim(panel.window[0], panel.window[2])
    low, high = panel.window[1], panel.window[3]
    upright = subject.member.outer_view == "offset-up"
    axes.set_ylim(*((low, high) if upright else (high, low)))


def _letter(overview: Axes, close: Axes, detail: Panel, letter: str, style: MapStyle) -> None:
    """Name a close-up and show its place on the overview."""
    left, bottom, right, top = detail.window
    overview.add_patch(
        Rectangle(
            (left, bottom), right - left, top - bottom, fill=False, edgecolor=INK, linewidth=0.9, zorder=7
        )
    )
    badge = {"boxstyle": "square,pad=0.22", "facecolor": INK, "edgecolor": "none"}
    looks: dict[str, Any] = {
        "color": PAPER,
        "fontweight": "bold",
        "bbox": badge,
        "zorder": 9,
        "ha": "left",
        "va": "top",
    }
    corner = top if overview.get_ylim()[0] < overview.get_ylim()[1] else bottom
    overview.text(left, corner, letter, fontsize=style.text_pt - 2.0, clip_on=True, **looks)
    close.text(0.0, 1.0, letter, transform=close.transAxes, fontsize=style.text_pt + 0.5, **looks)


def _draw_title(page: Page, subject: Subject, style: MapStyle) -> None:
    member, unit = subject.member, subject.unit
    face = "both faces added up" if subject.face is None else f"{subject.face} face alone"
    right = page.width - EDGE_IN
    page.write(
        EDGE_IN,
        0.0,
        clean(f"{member.id}  {member.name}".strip()),
        fontsize=style.text_pt + 4.0,
        fontweight="bold",
    )
    verdict = subject.assessed.verdict
    page.write(
        right - 0.06,
        0.03,
        verdict_words(verdict),
        ha="right",
        fontsize=style.text_pt + 1.5,
        fontweight="bold",
        color=PAPER,
        bbox={"boxstyle": "round,pad=0.32", "facecolor": VERDICT_COLOUR[verdict], "edgecolor": "none"},
    )
    thickness = member.thickness_measured or member.thickness
    what = f"zone {member.zone}  ·  {face}, drawn as seen from outside  ·  {member.material}, "
    page.write(EDGE_IN, 0.29, clean(f"{what}{length_text(thickness, unit)} {unit}"), fontsize=style.text_pt)
    spot = subject.assessed.least_margin if style.mode == "margin" else subject.assessed.deepest
    page.write(EDGE_IN, 0.47, _facts(spot, subject), fontsize=style.text_pt)
    if subject.unplaced:
        names = shorten(clean(", ".join(subject.unplaced)), 90, placeholder=" and more")
        page.write(EDGE_IN, 0.65, f"Found but not placed on the layout: {names}.", fontsize=style.text_pt)


def _facts(spot: Spot | None, subject: Subject) -> str:
    """Worst place in one line."""
    unit = subject.unit
    if spot is None or spot.removed.value <= 0.0:
        return "Nothing could be summed." if subject.unplaced else "No removal was measured or recorded."
    where = f"{place_text(spot.at[0], unit)}, {place_text(spot.at[1], unit)}"
    limit = (
        "no limit set"
        if spot.limit is None
        else f"limit {length_text(spot.limit, unit)}, margin left {length_text(spot.margin, unit)} {unit}"
    )
    removed = shown(spot.removed, unit, thickness=True).text
    return f"Both faces, at {where}: {removed} removed; {limit}."


def _render(
    blocks: list[Block], target: Target, fmt: MapFormat | None, assessment: Assessment, style: MapStyle
) -> None:
    kind = fmt or _ending(target)
    if kind not in ("png", "svg"):
        raise CorrosionError(
            f"a map cannot be written as {kind!r}.",
            place=str(target),
            remedy="Let the name end in .png or .svg.",
        )
    title = clean(f"Removal map: {assessment.survey.structure.name}")
    about: dict[str, str | None] = {"Title": title, "Description": CAUTION}
    about |= {"Date": None} if kind == "svg" else {"Software": None}
    with _RENDERING, mpl.rc_context(RENDER_SETTINGS):
        figure = _compose(blocks, style)
        dpi = min(style.dpi, MOST_PIXELS_HIGH / float(figure.get_size_inches()[1]))
        figure.savefig(target, format=kind, dpi=dpi, metadata=about)


def _ending(target: Target) -> str:
    return Path(target).suffix.lower().removeprefix(".") if isinstance(target, (str, Path)) else "png"
