"""Tables for the terminal."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console, RenderableType

from api.console import show
from corrosion.report import tables
from corrosion.report.spots import find_spot
from corrosion.report.words import VERDICT_SYMBOL, clean, flag_words, verdict_words
from corrosion.results import Assessment
from corrosion.terms import Flag, Verdict
from tests.report.example import assessment, deepest_spot, photo_measures


def printed(part: RenderableType | None, width: int = 200) -> str:
    """Print a part as it looks without colours."""
    stream = StringIO()
    show(Console(file=stream, width=width, color_system=None, markup=False), part)
    return stream.getvalue()


def test_measures_have_uncertainty_and_flags() -> None:
    """A measures table shows value ± U, a bound's sign, a question mark for no uncertainty, and flags."""
    text = printed(tables.measures_table(photo_measures(), "mm"))
    assert "8.31 ±0.47" in text
    assert "≥0.310 ±0.021" in text
    assert "400 ±?" in text
    assert "tilt not stated" in text
    assert text.count("not measured") == 2, "the failed mark and the photo without a scale"


@pytest.mark.parametrize("width", [80, 60])
def test_a_narrow_terminal_tears_no_number(width: int) -> None:
    """However narrow the table, a number breaks only before its ±, never among its digits."""
    words = printed(tables.measures_table(photo_measures(), "in"), width).split()
    assert "±0.00073" in words
    assert "0.01288" in words


def test_assessment_says_verdict_in_words_and_symbol() -> None:
    """Each member has its verdict as symbol and words, and a bin without removal has none."""
    text = printed(tables.assessment_table(assessment("in")))
    assert "✗ over limit" in text
    assert "? not determined" in text
    assert "0.0058 ±0.0005" in text
    assert "-0.0018" in text
    quiet = next(line for line in text.splitlines() if "23.62 … 35.43" in line)
    assert quiet.rstrip().endswith("-")
    assert "0.00 … 11.81" not in text, "a bin with nothing in it is left out"


def test_reasons_name_pits_and_unseen() -> None:
    """The reasons say what the verdict does not speak of: pits not blended, area not seen."""
    text = printed(tables.reasons_table(assessment()))
    assert "Pits not blended yet: P1, P2, P3, P4, P7." in text
    assert "Not seen: 67 %" in text


def test_ledger_shows_entries_in_order() -> None:
    """The ledger lists the entries in order, the sum by face, the limit with its source, the chance."""
    text = printed(tables.ledger_table(deepest_spot(), "mm", name="SK1"))
    assert [text.index(name) for name in ("R1", "B1", "B2")] == sorted(
        text.index(name) for name in ("R1", "B1", "B2")
    )
    assert "outer 0.118 + inner 0.029" in text
    assert "invented manual 51-10-02, rev 3" in text
    assert "P(over) > 99.9 %" in text


def test_no_limit_is_not_a_pass() -> None:
    """A spot without a limit says so instead of showing a margin."""
    spot = replace(deepest_spot(), limit=None, probability_over=None, verdict=Verdict.NOT_DETERMINED)
    text = printed(tables.ledger_table(spot, "mm"))
    assert "No limit is set here." in text
    assert "? not determined" in text


def test_problems_and_legend() -> None:
    """Problems are counted and listed; the legend explains exactly the flags in use."""
    text = printed(tables.problems_list(assessment().problems))
    assert "Could not be used (2)" in text
    assert tables.problems_list([]) is None
    assert tables.legend_table([]) is None
    legend = printed(tables.legend_table({Flag.EXTRAPOLATED}))
    assert "outside the scale reference" in legend
    assert "tilt" not in legend


def test_names_are_neither_markup_nor_control() -> None:
    """A name such as [red] is printed as written, and an escape sequence is made harmless."""
    hostile: Assessment = assessment()
    table = tables.problems_list(["photo [red]x[/red]\x1b[2J"])
    assert "[red]x[/red]" in printed(table)
    assert "\x1b" not in printed(table)
    assert clean("a\x07b") == "a\N{REPLACEMENT CHARACTER}b"
    member = hostile.members[1].member.model_copy(update={"id": "[bold]W"})
    renamed = replace(hostile, members=[replace(hostile.members[1], member=member)])
    assert "[bold]W" in printed(tables.assessment_table(renamed))


def test_verdicts_differ_without_colour() -> None:
    """Every verdict has its own symbol and its own words."""
    assert len(set(VERDICT_SYMBOL.values())) == len(Verdict)
    assert len({verdict_words(v) for v in Verdict}) == len(Verdict)
    assert flag_words([Flag.TRUNCATED, Flag.EXTRAPOLATED]) == "extrapolated, truncated"


def test_spot_in_display_units() -> None:
    """A spot is read in the unit the tables show."""
    whole = replace(assessment("in"), findings=[])
    member, spot = find_spot(whole, "SK1:16.5,4.5")
    assert member == "SK1"
    assert spot.at == pytest.approx((419.1, 114.3))
