"""Texts fit for the page: no sign is lost, none is read as a command, none runs off the paper.

An archival PDF may not hold a sign without a glyph, and the same record must look the same on every
machine, so only the fonts that come with the program are used. What they lack is written as its code
point: ``[U+4E2D]``.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any, Final

FONT: Final = "DejaVu Sans"
_BREAK: Final = "\N{ZERO WIDTH SPACE}"
_LONG_WORD: Final = re.compile(r"\S{20,}")
_PIECE: Final = re.compile(r"\[U\+[0-9A-F]{4,6}\]|(?:(?!\[U\+).){1,10}", re.DOTALL)
_SPACES: Final = re.compile(r">([^<>]*)</text>")
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")


def font_folder() -> Path:
    """Folder of the fonts the pages are set in; they come with the drawing library."""
    import matplotlib as mpl  # noqa: PLC0415 -- heavy, and only printing needs it

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


@cache
def _known_signs() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font  # noqa: PLC0415 -- as above

    return frozenset(FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap())


def visible(text: str) -> str:
    """Write every sign so that it can be seen: what has no glyph or no shape as its code point.

    Line feeds and tabs become single spaces, as all other spaces do.
    """
    known = _known_signs()
    return "".join(_sign(sign, known) for sign in text)


def _sign(sign: str, known: frozenset[int]) -> str:
    if sign.isspace():
        return " "
    return sign if sign.isprintable() and ord(sign) in known else f"[U+{ord(sign):04X}]"


def fit(value: Any) -> Any:
    """Make every text of a JSON value fit for the page; long words get places to break.

    A SHA-256 stays in one piece, so that it can be copied from the page.
    """
    if isinstance(value, str):
        return _breakable(visible(value))
    if isinstance(value, dict):
        return {name: fit(part) for name, part in value.items()}
    return [fit(part) for part in value] if isinstance(value, (list, tuple)) else value


def _breakable(text: str) -> str:
    return _LONG_WORD.sub(_pieces, text)


def _pieces(found: re.Match[str]) -> str:
    word = found[0]
    return word if _DIGEST.fullmatch(word) else _BREAK.join(_PIECE.findall(word))


def shortened(text: str, length: int) -> str:
    """Cut a text to a length, an ellipsis in place of what is lost."""
    return text if len(text) <= length else text[: max(length - 1, 0)].rstrip() + "…"


def spelled(svg: bytes) -> bytes:
    """Do the same for the texts of a drawing, whose signs the typesetter must find in its fonts too.

    Line feeds stay; they separate the drawing's elements. Spaces that a reader of SVG would drop, at the
    end of a text or beside each other, become ones that stay.
    """
    known = _known_signs()
    spelt = "".join(
        s if s.isascii() and (s.isprintable() or s in "\n\t") else _sign(s, known)
        for s in svg.decode("utf-8")
    )
    return _SPACES.sub(_kept, spelt).encode()


def _kept(found: re.Match[str]) -> str:
    words = re.sub(r" {2,}| $", lambda spaces: "\N{NO-BREAK SPACE}" * len(spaces[0]), found[1])
    return f">{words}</text>"
