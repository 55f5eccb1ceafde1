"""Words on a map: stations, scale bar, names that keep clear of each other."""

from __future__ import annotations

import math
from itertools import pairwise
from textwrap import fill

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MultipleLocator
from matplotlib.transforms import ScaledTranslation

from corrosion.report.map_layers import NAME_GROUND
from corrosion.report.map_style import INK, QUIET, MapStyle
from corrosion.report.map_subject import Subject, Window
from corrosion.report.words import clean
from corrosion.terms import MarkKind
from corrosion.units import LengthUnit, mm_per

_LETTER_WIDTH = 0.62
"""Mean width of a letter of the map's font in units of its size."""

Box = tuple[float, float, float, float]


def nice_step(span: float, parts: float) -> float:
    """Largest of 1, 2, 5 times a power of ten that divides `span` into at least `parts`."""
    rough = span / parts
    power = 10.0 ** math.floor(math.log10(rough))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= rough * (1.0 + 1e-9))


def draw_scales(axes: Axes, subject: Subject, window: Window, width_in: float, style: MapStyle) -> None:
    """Tick both axes in the display unit."""
    per = mm_per(subject.unit)
    for axis, low, high, length in (
        (axes.xaxis, window[0], window[2], width_in),
        (axes.yaxis, window[1], window[3], width_in * (window[3] - window[1]) / (window[2] - window[0])),
    ):
        parts = max(1.0, length / 0.62)
        axis.set_major_locator(MultipleLocator(nice_step((high - low) / per, parts) * per))
        axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v / per:.10g}"))
    axes.tick_params(
        labelsize=style.text_pt - 1.0, length=2.5, width=0.6, color=QUIET, labelcolor=INK, pad=2
    )
    for spine in axes.spines.values():
        spine.set(linewidth=0.6, color=QUIET)


def draw_stations(axes: Axes, subject: Subject, width_in: float, style: MapStyle) -> None:
    """Draw the named stations as lines with their labels above the map."""
    left, _, right, _ = subject.bounds
    named = sorted((s for s in subject.member.stations if left <= s.at <= right), key=lambda s: s.at)
    per_in = (right - left) / width_in
    widest = max((len(s.label) for s in named), default=0) * _LETTER_WIDTH * style.text_pt / 72.0
    gaps = [(b.at - a.at) / per_in for a, b in pairwise(named)]
    crowded = min(gaps, default=math.inf) < widest + 0.08
    above = axes.get_xaxis_transform() + ScaledTranslation(0, 3.0 / 72.0, axes.figure.dpi_scale_trans)
    for station in named:
        line = axes.axvline(station.at, color="#9a9a9a", linewidth=0.7, zorder=1.5)
        line.set_gid(f"station-{station.label}")
        axes.text(
            station.at,
            1.0,
            station.label,
            transform=above,
            ha="center",
            va="bottom",
            rotation=90 if crowded else 0,
            fontsize=style.text_pt - (1.5 if crowded else 0.5),
            color=INK,
        )


def draw_offset_label(axes: Axes, subject: Subject, height_in: float, style: MapStyle) -> None:
    """Name the offset axis, in two lines where the member is narrow."""
    name = clean(subject.member.offset_is) or "offset"
    letters = max(10, int((height_in + 0.3) * 72.0 / (_LETTER_WIDTH * style.text_pt))) - 4
    crowded = len(name) > letters
    words = fill(name, letters, max_lines=2, placeholder=" …")
    axes.set_ylabel(
        f"{words}, {subject.unit}",
        fontsize=style.text_pt - (1.0 if crowded else 0.0),
        labelpad=1 if crowded else 3,
    )


def draw_scale_bar(
    axes: Axes, window: Window, unit: LengthUnit, style: MapStyle, *, below_in: float
) -> None:
    """Draw a bar of a round length below the right end of the axes."""
    per = mm_per(unit)
    length = nice_step((window[2] - window[0]) / per, 4.0) * per
    # The window's right edge is the axes' right edge whichever way the offset axis points.
    right = window[2]
    place = axes.get_xaxis_transform() + ScaledTranslation(0, -below_in, axes.figure.dpi_scale_trans)
    axes.plot(
        [right - length, right],
        [0.0, 0.0],
        transform=place,
        color=INK,
        linewidth=1.6,
        marker="|",
        markersize=6.0,
        markeredgewidth=1.6,
        clip_on=False,
    )
    axes.text(
        right - length,
        0,
        f"{length / per:g} {unit}   ",
        transform=place,
        ha="right",
        va="center",
        fontsize=style.text_pt - 0.5,
        color=INK,
        gid="scale-bar",
    )


def draw_names(axes: Axes, subject: Subject, window: Window, mm_per_pt: float, style: MapStyle) -> None:
    """Write names and depths of pits and removals beside them, clear of each other if there is room."""
    size = style.text_pt - 0.5
    shown = [
        (f"{outline.name}  {outline.depth}".rstrip(), outline.shape.bounds, outline.kind is MarkKind.PIT)
        for outline in subject.outlines
        if outline.kind in (MarkKind.PIT, MarkKind.BLEND_OUT) and _meets(outline.shape.bounds, window)
    ]
    taken: list[Box] = [bounds for _, bounds, pit in shown if pit]
    spot = subject.assessed.deepest
    if spot is not None:
        reach = 4.0 * mm_per_pt
        taken.append((spot.at[0] - reach, spot.at[1] - reach, spot.at[0] + reach, spot.at[1] + reach))
    for name, bounds, pit in sorted(shown, key=lambda item: not item[2]):
        width = len(name) * _LETTER_WIDTH * size * mm_per_pt
        height = 1.1 * size * mm_per_pt
        box = _free_box(bounds, (width, height), 3.0 * mm_per_pt, taken, window, pit=pit)
        taken.append(box)
        axes.text(
            0.5 * (box[0] + box[2]),
            0.5 * (box[1] + box[3]),
            name,
            ha="center",
            va="center",
            fontsize=size,
            color=INK,
            bbox=NAME_GROUND,
            zorder=8,
            clip_on=True,
        )


def _free_box(
    bounds: Box, size: tuple[float, float], gap: float, taken: list[Box], window: Window, *, pit: bool
) -> Box:
    """First place round `bounds` where a label of `size` covers nothing; the first of all if none does."""
    left, bottom, right, top = bounds
    (w, h), x, y = size, 0.5 * (left + right), 0.5 * (bottom + top)
    beside = [(right + gap + w / 2, y), (left - gap - w / 2, y)]
    over_and_under = [(x, top + gap + h / 2), (x, bottom - gap - h / 2)]
    centres = [
        *(beside + over_and_under if pit else over_and_under + beside),
        (right + gap + w / 2, top + h / 2),
        (left - gap - w / 2, top + h / 2),
        (right + gap + w / 2, bottom - h / 2),
        (left - gap - w / 2, bottom - h / 2),
        (x, y),
    ]
    boxes = [(cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2) for cx, cy in centres]
    free = [b for b in boxes if _within(b, window) and not any(_meets(b, other) for other in taken)]
    inside = [b for b in boxes if _within(b, window)]
    return (free or inside or boxes)[0]


def _meets(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _within(box: Box, window: Window) -> bool:
    return window[0] <= box[0] and box[2] <= window[2] and window[1] <= box[1] and box[3] <= window[3]
