"""A target as a page to print: PDF by typst, with check bars of 100 mm in both directions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from corrosion.errors import ScaleError
from corrosion.target.layouts import CHECK_BAR_MM, Sheet, copies_on, fits_on
from corrosion.target.markers import cells

PAPERS_MM: dict[str, tuple[float, float]] = {
    # ISO 216 A4 and ANSI/ASME Y14.1 size A ("Letter", 8.5 x 11 in), from memory.
    "a4": (210.0, 297.0),
    "letter": (215.9, 279.4),
}
MARGIN_MM = 6.0
_GAP_MM = 6.0
_BAR_ROOM_MM = 14.0
_END_STROKE_MM = 4.0


@dataclass(frozen=True)
class _Page:
    """Where things go on a paper: upper left corners of the copies, and the check bars' starts, mm."""

    paper: tuple[float, float]
    copies: list[tuple[float, float]]
    bar_x: tuple[float, float]
    bar_y: tuple[float, float]
    words: tuple[float, float]


def target_pdf(sheet: Sheet, paper: str = "a4") -> bytes:
    """Make the PDF of a target.

    Parameters
    ----------
    sheet : Sheet
    paper : {"a4", "letter"}

    Returns
    -------
    bytes
        One page; stickers are repeated over it.

    Raises
    ------
    ScaleError
        If the sheet is larger than the paper's printable part, or the paper is not known.
    """
    import typst  # noqa: PLC0415 -- heavy, and only printing needs it

    pdf: bytes = typst.compile(target_source(sheet, paper).encode(), format="pdf")
    return pdf


def target_source(sheet: Sheet, paper: str = "a4") -> str:
    """Write the typst source of a target; see `target_pdf`."""
    size = PAPERS_MM.get(paper.lower())
    if size is None or not fits_on(sheet, size, MARGIN_MM):
        raise ScaleError(
            f"{sheet.name!r}, {sheet.size[0]:g} x {sheet.size[1]:g} mm, does not fit on {paper!r}.",
            remedy=f"Papers: {', '.join(PAPERS_MM)}; sheets must leave {MARGIN_MM:g} mm on every side.",
        )
    page = _arranged(sheet, size)
    lines = [
        f'#set document(title: "Target {sheet.name}", date: none)',
        f"#set page(width: {size[0]}mm, height: {size[1]}mm, margin: 0mm)",
        "#set text(size: 7pt)",
        "#let at(x, y, body) = place(top + left, dx: x * 1mm, dy: y * 1mm, body)",
        "#let box_(x, y, w, h, fill: black) = at(x, y, rect(width: w * 1mm, height: h * 1mm, fill: fill))",
        '#let cut = (paint: gray, thickness: 0.1mm, dash: "dashed")',
        "#let frame_(x, y, w, h) = at(x, y, rect(width: w * 1mm, height: h * 1mm, stroke: cut))",
    ]
    for left, top in page.copies:
        lines += _copy(sheet, left + sheet.size[0] / 2.0, top + sheet.size[1] / 2.0)
    lines += [*_bar(page.bar_x, level=True), *_bar(page.bar_y, level=False), *_words(sheet, page)]
    return "\n".join(lines) + "\n"


def _arranged(sheet: Sheet, paper: tuple[float, float]) -> _Page:
    """Put copies from the upper left, bars beside and below them or in the window of a large frame."""
    width, height = sheet.size
    room = (paper[0] - 2 * MARGIN_MM - _BAR_ROOM_MM, paper[1] - 2 * MARGIN_MM - 2 * _BAR_ROOM_MM)
    if width > room[0] or height > room[1]:
        left, top = (paper[0] - width) / 2.0, (paper[1] - height) / 2.0
        middle = (paper[0] / 2.0, paper[1] / 2.0)
        start = (middle[0] - CHECK_BAR_MM / 2.0, middle[1] - CHECK_BAR_MM / 2.0)
        inside = (start[0] + 8.0, start[1] + 10.0)
        down_from = (start[0] - 2.0 * _END_STROKE_MM, start[1])
        return _Page(paper, [(left, top)], start, down_from, inside)
    across, down = (1, 1) if sheet.window else copies_on(sheet, room, _GAP_MM)
    copies = [
        (MARGIN_MM + i * (width + _GAP_MM), MARGIN_MM + j * (height + _GAP_MM))
        for j in range(down)
        for i in range(across)
    ]
    below = paper[1] - MARGIN_MM - _BAR_ROOM_MM
    beside = paper[0] - MARGIN_MM - _END_STROKE_MM
    return _Page(paper, copies, (MARGIN_MM, below), (beside, MARGIN_MM), (MARGIN_MM, below - _BAR_ROOM_MM))


def _copy(sheet: Sheet, x: float, y: float) -> Iterator[str]:
    """Draw one copy of the sheet with its middle at (x, y)."""
    width, height = sheet.size
    yield f"#frame_({x - width / 2:.4f}, {y - height / 2:.4f}, {width}, {height})"
    if sheet.window:
        w, h = sheet.window
        yield f"#frame_({x - w / 2:.4f}, {y - h / 2:.4f}, {w:.4f}, {h:.4f})"
    for block in sheet.blocks:
        for left, top, side in block.squares():
            yield f"#box_({x + left:.4f}, {y + top:.4f}, {side}, {side})"
    for marker in sheet.markers:
        black = cells(sheet.dictionary, marker.number)
        cell = marker.side / len(black)
        left, top = x + marker.x - marker.side / 2, y + marker.y - marker.side / 2
        yield f"#box_({left:.4f}, {top:.4f}, {marker.side:.4f}, {marker.side:.4f})"
        for row, column in zip(*(~black).nonzero(), strict=True):
            cx, cy = left + column * cell, top + row * cell
            yield f"#box_({cx:.4f}, {cy:.4f}, {cell:.5f}, {cell:.5f}, fill: white)"
    if sheet.own_bar:
        start, _, level = sheet.own_bar
        yield from _bar((x + start, y + level), level=True)


def _bar(start: tuple[float, float], *, level: bool) -> Iterator[str]:
    """Draw a check bar: its length runs between the middles of its two end strokes."""
    x, y = start
    half, thin = _END_STROKE_MM / 2.0, 0.2
    for end in (0.0, CHECK_BAR_MM):
        if level:
            yield f"#box_({x + end - thin / 2:.4f}, {y - half:.4f}, {thin}, {_END_STROKE_MM})"
        else:
            yield f"#box_({x - half:.4f}, {y + end - thin / 2:.4f}, {_END_STROKE_MM}, {thin})"
    along = (CHECK_BAR_MM, thin) if level else (thin, CHECK_BAR_MM)
    shift = (0.0, -thin / 2) if level else (-thin / 2, 0.0)
    yield f"#box_({x + shift[0]:.4f}, {y + shift[1]:.4f}, {along[0]}, {along[1]})"


def _words(sheet: Sheet, page: _Page) -> Iterator[str]:
    cut = " Cut out the dashed window after measuring the bars." if sheet.window else ""
    text = (
        f"{sheet.name}: {sheet.title}. Print at 100 %, matt paper, no fit to page. Measure both check bars "
        "(100 mm between the middles of the end strokes) with a steel rule and enter the lengths as "
        f"check_bar x (across) and y (down).{cut} Stick it flat beside the damage, on the same surface."
    )
    width = 80.0 if page.words[1] > page.bar_x[1] else 150.0
    yield f"#at({page.words[0]:.4f}, {page.words[1]:.4f}, block(width: {width}mm)[{text}])"
