"""Widths of columns: no word is cut, no number broken, the table as wide as its room."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.record.columns import LEAST_PT, SIZE_PT, column_widths
from corrosion.record.texts import fit, shortened, spelled, visible

ROOM = 515.0
_TEXT = st.text("abcdefgh ijklmnop 0123456789.,±-", max_size=60)


@given(st.integers(1, 8).flatmap(lambda n: st.tuples(
    st.lists(_TEXT, min_size=n, max_size=n),
    st.lists(st.lists(_TEXT, min_size=n, max_size=n), max_size=6),
    st.lists(st.booleans(), min_size=n, max_size=n),
)))  # fmt: skip
def test_columns_share_all_the_room(table: tuple[list[str], list[list[str]], list[bool]]) -> None:
    """Whatever the texts, widths are positive and add up to the room, and letters stay readable."""
    widths, size = column_widths(*table, ROOM)
    assert sum(widths) == pytest.approx(ROOM)
    assert min(widths) > 0.0
    assert LEAST_PT <= size <= SIZE_PT


def test_a_long_text_gives_way_to_a_number() -> None:
    """The number keeps its whole width beside a text of any length; the text takes the rest."""
    row = ["0.0124 ± 0.0008", "word " * 200]
    narrow, _ = column_widths(["Depth", "Why"], [row], [True, False], ROOM)
    alone, _ = column_widths(["Depth", "Why"], [[row[0], "word"]], [True, False], 120.0)
    assert narrow[0] == pytest.approx(alone[0], rel=0.5)
    assert narrow[1] > 0.7 * ROOM


@given(st.text(max_size=60))
def test_no_sign_is_lost_and_none_is_unseen(text: str) -> None:
    """Every sign is there, as itself, as a space, or as its code point; what is left can be printed."""
    shown = visible(text)
    assert all(sign.isprintable() for sign in shown)
    at = 0
    for sign in text:
        code = f"[U+{ord(sign):04X}]"
        expected = " " if sign.isspace() else code if shown[at : at + len(code)] == code else sign
        assert shown[at : at + len(expected)] == expected
        at += len(expected)
    assert at == len(shown)


def test_long_words_may_break_and_digests_do_not() -> None:
    """A word of 300 letters can be broken every ten; a code point never within; a SHA-256 not at all."""
    pieces = fit("W" * 300).split("\u200b")
    assert [len(piece) for piece in pieces] == [10] * 30
    assert "".join(fit("中" * 30).split("\u200b")) == "[U+4E2D]" * 30
    assert set(fit("中" * 30).split("\u200b")) == {"[U+4E2D]"}
    assert fit("0123456789abcdef" * 4) == "0123456789abcdef" * 4
    assert fit({"a": ["x", 1, None]}) == {"a": ["x", 1, None]}
    assert shortened("abcdef", 4) == "abc…"


def test_a_drawing_keeps_its_shape() -> None:
    """Only signs without a glyph are spelled, and spaces that a reader would drop are made to stay."""
    given_svg = '<svg>\n<text x="1">5 in   </text><text>中 a</text></svg>'
    told = spelled(given_svg.encode()).decode()
    assert told == '<svg>\n<text x="1">5 in\u00a0\u00a0\u00a0</text><text>[U+4E2D] a</text></svg>'
