"""How wide the columns of a table are: no number is broken, no word runs out of its column."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Any

from PIL import ImageFont

from corrosion.record.texts import font_folder

SIZE_PT = 7.5
LEAST_PT = 6.5
CODE_PT = 7.0
INSET_PT = 6.5
"""Both sides together, and a little for rounding."""
_MEASURED_AT = 200
_BREAKS = re.compile("[ \N{ZERO WIDTH SPACE}]+")

Cell = Any


def column_widths(
    head: Sequence[str], rows: Iterable[Sequence[Cell]], right: Sequence[bool], room_pt: float
) -> tuple[list[float], float]:
    """Share a table's room among its columns.

    Every column gets what its longest word (for numbers: its longest cell) needs, and of the rest the more
    the longer its texts are.

    Parameters
    ----------
    head : sequence of str
        Set in bold.
    rows : iterable of sequences
        Cells as `corrosion.record.blocks` makes them.
    right : sequence of bool
        Columns of numbers.
    room_pt : float
        Width of the table, points.

    Returns
    -------
    widths : list of float
        Points; their sum is `room_pt`.
    size : float
        Size of the letters, points: smaller where even the longest words would not fit.
    """
    cells = list(zip(*[list(row) for row in rows], strict=True)) or [()] * len(head)
    least = [max(_word(name, bold=True), *map(_least, column), 1.0) if not number
             else max(_word(name, bold=True), *map(_whole, column), 1.0)
             for name, column, number in zip(head, cells, right, strict=True)]  # fmt: skip
    whole = [
        max(low, _text(name, bold=True), *map(_whole, column))
        for low, name, column in zip(least, head, cells, strict=True)
    ]
    least, whole = [w + INSET_PT for w in least], [w + INSET_PT for w in whole]
    needed = sum(least)
    if needed > room_pt:
        size = max(SIZE_PT * room_pt / needed, LEAST_PT)
        return [w * room_pt / needed for w in least], size
    return _shared(least, whole, room_pt), SIZE_PT


def _shared(least: list[float], whole: list[float], room: float) -> list[float]:
    """Give each column its least and a share of the rest, but no more than its whole while others want."""
    widths = list(least)
    for _ in range(len(widths)):
        left = room - sum(widths)
        wants = [max(w - have, 0.0) ** 0.75 for w, have in zip(whole, widths, strict=True)]
        if left < 0.1 or not any(wants):
            break
        share = left / sum(wants)
        widths = [
            min(have + want * share, max(w, have))
            for have, want, w in zip(widths, wants, whole, strict=True)
        ]
    scale = room / sum(widths)
    return [width * scale for width in widths]


def _parts(cell: Cell) -> list[tuple[str, bool, bool]]:
    """Texts of a cell, each with whether it is bold and whether it is code."""
    if isinstance(cell, str):
        return [(cell, False, False)]
    code = [(cell["code"], False, True)] if cell.get("code") else []
    return [(cell["text"], cell.get("look", "") != "", False), *code]


def _least(cell: Cell) -> float:
    return max(_code(t) if code else _word(t, bold=bold) for t, bold, code in _parts(cell))


def _whole(cell: Cell) -> float:
    return max(_code(t) if code else _text(t, bold=bold) for t, bold, code in _parts(cell))


def _code(text: str) -> float:
    # Every letter of DejaVu Sans Mono is 0.602 em wide.
    return 0.602 * CODE_PT * len(text)


def _word(text: str, *, bold: bool) -> float:
    return max((_text(word, bold=bold) for word in _BREAKS.split(text)), default=0.0)


@lru_cache(maxsize=20_000)
def _text(text: str, *, bold: bool) -> float:
    shown = text.replace("\N{ZERO WIDTH SPACE}", "")
    return _ruler(bold)(shown) * SIZE_PT / _MEASURED_AT


@lru_cache(maxsize=2)
def _ruler(bold: bool) -> Callable[[str], float]:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    font = ImageFont.truetype(str(font_folder() / name), _MEASURED_AT, layout_engine=ImageFont.Layout.BASIC)
    return font.getlength
