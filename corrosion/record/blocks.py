"""The few kinds of block a page is made of, as JSON that `pages.typ` sets.

Everything a person typed goes in as data; nothing here or there builds markup from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Literal

from corrosion.report.words import verdict_words
from corrosion.terms import Verdict

Json = dict[str, Any]
Block = Json
Cell = str | Json
Style = Literal["plain", "quiet", "strong", "box"]

NOTHING = "-"


def heading(
    level: int, text: str, *, new_page: bool = False, listed: bool | None = None, anchor: str = ""
) -> Block:
    """Heading of level 1 to 3, a bookmark each; listed in the contents if of level 1, unless told.

    `anchor` is a name of our own, never a person's, that a cell of links may point to.
    """
    shown = level == 1 if listed is None else listed
    return {
        "kind": "heading",
        "level": level,
        "text": text,
        "new_page": new_page,
        "listed": shown,
        "anchor": anchor,
    }


def paragraph(text: str, style: Style = "plain") -> Block:
    """Paragraph; a `box` has a frame round it."""
    return {"kind": "paragraph", "text": text, "style": style}


def bullets(lines: Iterable[str]) -> list[Block]:
    """List, or nothing where there are no lines."""
    listed = list(lines)
    return [{"kind": "list", "lines": listed}] if listed else []


def facts(pairs: Iterable[tuple[str, str]]) -> Block:
    """Names and values side by side; a pair without a value is left out."""
    return {"kind": "facts", "pairs": [pair for pair in pairs if pair[1]]}


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    *,
    right: Iterable[int] = (),
    empty: str = "",
) -> list[Block]:
    """Table whose head comes again on every page; `corrosion.record.columns` sets the widths.

    Parameters
    ----------
    head : sequence of str
        Names of the columns.
    rows : iterable of sequences
        As many cells as columns.
    right : iterable of int
        Columns of numbers, set to the right.
    empty : str
        What to say where there are no rows.
    """
    listed = [list(row) for row in rows]
    if not listed:
        return [paragraph(empty, "quiet")] if empty else []
    numbers = set(right)
    return [
        {
            "kind": "table",
            "head": list(head),
            "right": [number in numbers for number in range(len(head))],
            "rows": listed,
        }
    ]


def figure(file: str, alt: str, caption: str = "", *, fill: bool = False, most_mm: float = 0.0) -> Block:
    """Picture with its alternative text.

    Parameters
    ----------
    fill : bool
        Give it all the room that is left on a page of its own, not more than its natural size.
    most_mm : float
        Largest height; 0 for none.
    """
    return {
        "kind": "figure",
        "file": file,
        "alt": alt,
        "caption": caption,
        "fill": fill,
        "most": most_mm,
    }


def pictures(figures: Sequence[Block], columns: int) -> list[Block]:
    """Pictures side by side."""
    return [{"kind": "pictures", "figures": list(figures), "columns": columns}] if figures else []


def together(blocks: Sequence[Block]) -> Block:
    """Blocks that stay on one page where they can."""
    return {"kind": "together", "blocks": list(blocks)}


def strong(text: str) -> Cell:
    """Cell in bold."""
    return {"text": text, "look": "strong"}


def links(parts: Sequence[tuple[str, str]]) -> Cell:
    """Cell of words that lead to anchors; the anchors must be there."""
    return {"text": ", ".join(words for words, _ in parts), "look": "", "links": [list(p) for p in parts]}


def with_code(text: str, code: str) -> Cell:
    """Cell with a digest on a line of its own, every digit of one width."""
    return {"text": text, "look": "", "code": code}


def verdict_cell(verdict: Verdict) -> Cell:
    """Cell of a verdict: symbol, words and colour, so that none is told by colour alone."""
    return {"text": verdict_words(verdict), "look": verdict.name.lower()}
