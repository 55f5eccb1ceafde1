"""Layouts of the printed targets: where every square and marker is, mm.

Sheet frame: x right, y down as the text is read, (0, 0) in the middle. Checkers carry the measurement,
because the corner between four squares does not move when ink bleeds or light blooms; square markers only
say which sheet it is and which way up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from corrosion.errors import ScaleError
from corrosion.quantity import FloatArray

CHECK_BAR_MM = 100.0
"""Nominal length of the check bars, x and y."""


@dataclass(frozen=True)
class Block:
    """A checker: upper left corner, columns and rows of squares; the corner square dark or not.

    `hole` is a middle part (first column, first row, columns, rows) that is left white.
    """

    x: float
    y: float
    columns: int
    rows: int
    square: float
    dark_corner: bool = True
    hole: tuple[int, int, int, int] | None = None

    def squares(self) -> Iterator[tuple[float, float, float]]:
        """Dark squares: left, top, side."""
        for row in range(self.rows):
            for column in range(self.columns):
                if ((row + column) % 2 == 0) == self.dark_corner and not self._in_hole(column, row):
                    yield self.x + column * self.square, self.y + row * self.square, self.square

    def corners(self) -> Iterator[tuple[float, float, bool]]:
        """Points where four squares meet, and whether the square up and left of it is dark."""
        for row in range(1, self.rows):
            for column in range(1, self.columns):
                round_it = [(column - i, row - j) for i in (0, 1) for j in (0, 1)]
                if not any(self._in_hole(*one) for one in round_it):
                    dark = ((row + column) % 2 == 0) == self.dark_corner
                    yield self.x + column * self.square, self.y + row * self.square, dark

    def _in_hole(self, column: int, row: int) -> bool:
        if self.hole is None:
            return False
        x, y, columns, rows = self.hole
        return x <= column < x + columns and y <= row < y + rows


@dataclass(frozen=True)
class Marker:
    """A square marker: number in the sheet's dictionary, middle, side of the black square."""

    number: int
    x: float
    y: float
    side: float

    def corners(self) -> FloatArray:
        """Corners from the upper left one clockwise as read, (4, 2)."""
        half = self.side / 2.0
        return np.array([self.x, self.y]) + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


@dataclass(frozen=True)
class Sheet:
    """A printed target.

    Attributes
    ----------
    name, title : str
    size : (width, height)
        mm; cut along it.
    dictionary : str
        Of its markers.
    window : (width, height) or None
        Cut out for the damage.
    own_bar : (x0, x1, y) or None
        A check bar that is part of the sheet itself.
    """

    name: str
    title: str
    size: tuple[float, float]
    dictionary: str
    markers: tuple[Marker, ...]
    blocks: tuple[Block, ...]
    window: tuple[float, float] | None = None
    own_bar: tuple[float, float, float] | None = None

    def saddles(self) -> tuple[FloatArray, np.ndarray, FloatArray]:
        """Checker corners (n, 2), whether the square up and left is dark (n,), side of the squares (n,)."""
        rows = [(x, y, dark, b.square) for b in self.blocks for x, y, dark in b.corners()]
        table = np.array(rows, dtype=np.float64)
        return table[:, :2], table[:, 2] > 0.5, table[:, 3]


_STICKERS = "5x5_100"
_SIDE_SHARE = 2.8


def _sticker(square: float, number: int) -> Sheet:
    """Eight by eight squares, the middle four by four making room for one marker."""
    side = 8 * square
    block = Block(-side / 2, -side / 2, 8, 8, square, hole=(2, 2, 4, 4))
    name = f"sticker-{side:g}"
    margin = side + 2.0 * square
    marker = Marker(number, 0.0, 0.0, 3.0 * square)
    return Sheet(name, f"sticker, {side:g} mm checker", (margin, margin), _STICKERS, (marker,), (block,))


def _frame(name: str, size: tuple[float, float], square: float, first: int) -> Sheet:
    """Lay out a window frame: markers at corners and amid the sides, checkers between."""
    side = _SIDE_SHARE * square
    band = side + 2.0 * square
    x, y = (size[0] - band) / 2.0, (size[1] - band) / 2.0
    places = [*_round(x, y)]
    markers = tuple(Marker(first + i, px, py, side) for i, (px, py) in enumerate(places))
    blocks = []
    for (ax, ay), (bx, by) in zip(places, places[1:] + places[:1], strict=True):
        room = abs(bx - ax) + abs(by - ay) - side - 2.0 * square
        count = int(room / square + 1e-9)
        length = count * square
        mx, my = (ax + bx) / 2.0, (ay + by) / 2.0
        level = abs(by - ay) < 1e-9
        blocks.append(
            Block(mx - length / 2, my - square, count, 2, square)
            if level
            else Block(mx - square, my - length / 2, 2, count, square)
        )
    window = (size[0] - 2.0 * band, size[1] - 2.0 * band)
    title = f"frame, {size[0]:g} x {size[1]:g} mm"
    return Sheet(name, title, size, _STICKERS, markers, tuple(blocks), window)


def _round(x: float, y: float) -> Iterator[tuple[float, float]]:
    """Corners and middles of the sides, clockwise from the upper left."""
    yield from ((-x, -y), (0.0, -y), (x, -y), (x, 0.0), (x, y), (0.0, y), (-x, y), (-x, 0.0))


def _window() -> Sheet:
    """Lay out the window sheet of the demonstration pictures."""
    s = 5.0
    blocks = (
        Block(-40.0, -40.0, 16, 2, s, dark_corner=False),
        Block(-40.0, 30.0, 16, 2, s, dark_corner=False),
        Block(-63.0, -20.0, 2, 8, s, dark_corner=False),
        Block(53.0, -20.0, 2, 8, s, dark_corner=False),
    )
    places = ((-58.0, -35.0), (58.0, -35.0), (58.0, 35.0), (-58.0, 35.0))
    markers = tuple(Marker(i, x, y, 14.0) for i, (x, y) in enumerate(places))
    title = "window sheet, 136 x 96 mm"
    return Sheet(
        "window", title, (136.0, 96.0), "4x4_50", markers, blocks, (96.0, 52.0), (-50.0, 50.0, 44.7)
    )


SHEETS: dict[str, Sheet] = {
    sheet.name: sheet
    for sheet in (
        _sticker(1.5, 10),
        _sticker(3.0, 11),
        _sticker(5.0, 12),
        _window(),
        _frame("frame-a5", (138.0, 200.0), 5.0, 20),
        _frame("frame-a4", (196.0, 270.0), 7.0, 30),
        _frame("frame-letter", (200.0, 260.0), 7.0, 40),
    )
}
"""Every sheet by its name."""


def sheet_named(name: str, *, place: str = "") -> Sheet:
    """Find a sheet by its name.

    Raises
    ------
    ScaleError
        If there is no such sheet.
    """
    found = SHEETS.get(name.strip().lower())
    if found is None:
        raise ScaleError(
            f"there is no printed sheet named {name!r}.",
            place=place,
            remedy=f"Sheets: {', '.join(SHEETS)}.",
        )
    return found


def fits_on(sheet: Sheet, paper_mm: tuple[float, float], margin_mm: float) -> bool:
    """Whether a sheet fits on a paper with its margins."""
    return all(a <= b - 2.0 * margin_mm + 1e-9 for a, b in zip(sheet.size, paper_mm, strict=True))


def copies_on(sheet: Sheet, room_mm: tuple[float, float], gap_mm: float) -> tuple[int, int]:
    """How many copies of a sheet fit side by side and one below the other, at least one each."""
    across, down = (
        max(1, math.floor((room + gap_mm) / (size + gap_mm) + 1e-9))
        for room, size in zip(room_mm, sheet.size, strict=True)
    )
    return across, down
