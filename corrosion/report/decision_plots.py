"""Plots of a decision: spread of money and days, what drives the difference, and the break-even price.

Every row has its name and every mark its shape; nothing is told by colour alone. Figures are built from
matplotlib's objects; the rendering shares the lock of the removal map, because its settings are global.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from textwrap import shorten
from typing import IO, Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from corrosion.decision import DecisionResult, OptionResult, Spread5
from corrosion.quantity import FloatArray
from corrosion.report.map import _RENDERING, RENDER_SETTINGS
from corrosion.report.map_style import INK, PAPER, QUIET
from corrosion.report.words import clean

Plot = Literal["money", "days", "drivers", "break-even"]
Target = Path | str | IO[bytes]

WIDTH_IN = 7.5
ROW_IN = 0.75
FRAME_IN = 1.25
BINS = 60
MOST_DRIVERS = 10
_FILL = "#c9d7e6"
_BAR = "#3f6fa8"
_DASHES = ("-", "--", ":", "-.")


def draw_decision(
    result: DecisionResult, target: Target, plot: Plot, *, kind: Literal["svg", "png"] = "svg"
) -> bool:
    """Draw one plot of a decision.

    Parameters
    ----------
    result : DecisionResult
    target : path or binary file
    plot : {"money", "days", "drivers", "break-even"}
    kind : {"svg", "png"}

    Returns
    -------
    bool
        False, and nothing written, where the plot has nothing to show because it is not determined.
    """
    compose = _COMPOSE[plot]
    with _RENDERING, mpl.rc_context(RENDER_SETTINGS):
        figure = compose(result)
        if figure is None:
            return False
        about: dict[str, str | None] = {"Title": f"Decision: {plot}", "Description": result.caution}
        about |= {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(target, format=kind, metadata=about, dpi=150)
    return True


def _money(result: DecisionResult) -> Figure | None:
    rows = [(o, o.money, o.totals.money) for o in result.options]
    return _spreads(rows, f"Money, {result.currency}")


def _days(result: DecisionResult) -> Figure | None:
    rows = [(o, o.days, o.totals.days) for o in result.options]
    return _spreads(rows, "Calendar days")


def _spreads(
    rows: list[tuple[OptionResult, Spread5 | None, FloatArray | None]], label: str
) -> Figure | None:
    if not any(spread for _, spread, _ in rows):
        return None
    figure, axes = _page(len(rows))
    for y, (_, spread, values) in enumerate(rows):
        if spread is None or values is None:
            axes.text(
                0.02, y, "not determined", transform=axes.get_yaxis_transform(), color=INK, va="center"
            )
            continue
        _ridge(axes, y, values)
        axes.plot([spread.p5, spread.p95], [y, y], color=INK, linewidth=1.0)
        axes.plot([spread.p25, spread.p75], [y, y], color=INK, linewidth=5.0, solid_capstyle="butt")
        axes.plot([spread.p50], [y], marker="|", markersize=16, color=INK)
        axes.plot([spread.mean], [y], marker="D", markersize=5, markerfacecolor=PAPER, color=INK)
    _rows(axes, [f"{_short(o.name)}\n({o.kind})" for o, _, _ in rows])
    axes.set_xlabel(f"{label} (line 90 %, bar 50 %, tick median, diamond mean)")
    axes.set_xlim(left=0.0)
    return figure


def _ridge(axes: Axes, y: float, values: FloatArray) -> None:
    """Draw the density of the draws above its row, highest 0.4 of a row; rows run downwards."""
    low, high = np.percentile(values, [0.5, 99.5])
    if high <= low:
        return
    count, edges = np.histogram(values, bins=BINS, range=(float(low), float(high)))
    centres = (edges[1:] + edges[:-1]) / 2.0
    axes.fill_between(centres, y - 0.05, y - 0.05 - 0.4 * count / count.max(), color=_FILL, linewidth=0)


def _drivers(result: DecisionResult) -> Figure | None:
    shown = [d for d in result.drivers if d.variance_share >= 0.005][:MOST_DRIVERS]
    if not shown:
        return None
    figure, axes = _page(len(shown), row_in=0.42)
    for y, driver in enumerate(shown):
        against = driver.correlation > 0.0
        axes.barh(
            y,
            100.0 * driver.variance_share,
            height=0.6,
            color=_BAR if against else PAPER,
            edgecolor=INK,
            hatch="" if against else "///",
        )
    _rows(axes, [_short(d.name, 60) for d in shown])
    axes.set_xlabel("Share of the doubt, %\n(filled: against repair as it grows;\nhatched: for it)")
    return figure


def _break_even(result: DecisionResult) -> Figure | None:
    repair = result.option("repair").totals.money
    pairs = [(o, o.totals.money, o.totals.price) for o in result.options[1:]]
    usable = [(o, m, p) for o, m, p in pairs if m is not None and p is not None]
    if repair is None or not usable:
        return None
    figure, axes = _page(5)
    for number, (option, money, price) in enumerate(usable):
        even = np.sort(repair - (money - price))
        cheaper = 100.0 * (1.0 - np.arange(len(even)) / len(even))
        step = max(len(even) // 400, 1)
        dash = _DASHES[number % len(_DASHES)]
        axes.plot(even[::step], cheaper[::step], dash, color=INK, label=_short(option.name))
    axes.axhline(50.0, color=QUIET, linewidth=0.8)
    axes.set_ylim(0.0, 100.0)
    axes.set_xlim(left=0.0)
    axes.set_xlabel(f"Price of the replacement, {result.currency}")
    axes.set_ylabel("Probability that it costs less than the repair, %")
    axes.legend(frameon=False)
    return figure


def _page(rows: int, *, row_in: float = ROW_IN) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(WIDTH_IN, FRAME_IN + row_in * rows), layout="constrained", facecolor=PAPER)
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _rows(axes: Axes, names: list[str]) -> None:
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -0.6)


def _short(text: str, width: int = 28) -> str:
    return shorten(clean(text), width, placeholder="…")


_COMPOSE: dict[Plot, Callable[[DecisionResult], Figure | None]] = {
    "money": _money,
    "days": _days,
    "drivers": _drivers,
    "break-even": _break_even,
}
