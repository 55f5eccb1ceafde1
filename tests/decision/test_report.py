"""Words, JSON and plots of a decision."""

from __future__ import annotations

import io
import json
import xml.etree.ElementTree as ET
from typing import get_args

import pytest

from corrosion.decision import decide, unseen_depths
from corrosion.report.decision import (
    decision_json,
    decision_lines,
    money_text,
    share_text,
    unseen_json,
    unseen_lines,
)
from corrosion.report.decision_plots import Plot, draw_decision
from corrosion.terms import Face
from tests.decision.example import decision, scattered, surveyed

PART = surveyed(pits=scattered(60))
RESULT = decide(decision(), PART, {"S1": surveyed(pits=scattered(9, seed=4), seen_width=900.0)})
EMPTY = decide(decision(actions=[], candidates=[]), PART)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12_345.6, "12,300 EUR"),
        (999.6, "1,000 EUR"),
        (123.4, "123 EUR"),
        (45.678, "45.70 EUR"),
        (0.456, "0.46 EUR"),
        (0.0, "0 EUR"),
        (-2345.0, "-2,340 EUR"),
    ],
)
def test_money_is_written_to_three_digits(value: float, text: str) -> None:
    """Estimates carry no more than three digits, and cents only where money is small."""
    assert money_text(value, "EUR") == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "under 1 %"), (0.005, "under 1 %"), (0.5, "50 %"), (0.734, "73 %"), (1.0, "over 99 %")],
)
def test_a_probability_is_never_certain(value: float, text: str) -> None:
    """Draws that all fall one way do not make a certainty."""
    assert share_text(value) == text


def test_the_words_hold_the_figures_and_the_caution() -> None:
    """Every option and candidate is told, the seed is stated, and the caution is the last line."""
    lines = decision_lines(RESULT)
    text = "\n".join(lines)
    for part in (
        "Repair (repair): money",
        "new assembly (new)",
        "Repair is cheaper than N1",
        "S1 breaks even",
    ):
        assert part in text
    assert "20,000 draws, seed 7." in lines
    assert lines[-1] == RESULT.caution
    assert "airworth" not in text.lower()


def test_what_is_not_determined_is_told() -> None:
    """A decision that cannot be made says why, and shows no figure in its place."""
    text = "\n".join(decision_lines(EMPTY))
    assert "money not determined" in text
    assert "Not determined: repair: no action is stated." in text


@pytest.mark.parametrize("result", [RESULT, EMPTY])
def test_the_json_is_strict_and_complete(result: object) -> None:
    """No NaN and no missing key: null where not determined; comparisons carry their shares."""
    assert isinstance(result, type(RESULT))
    body = json.loads(json.dumps(decision_json(result), allow_nan=False))
    assert body["format"] == "corrosion-decision"
    assert [o["id"] for o in body["options"]] == [o.id for o in result.options]
    for option, found in zip(body["options"], result.options, strict=True):
        assert (option["money"] is None) == (found.money is None)
    for shown, comparison in zip(body["comparisons"], result.comparisons, strict=True):
        assert comparison.repair_cheaper is not None
        assert shown["repair_cheaper"]["value"] == comparison.repair_cheaper.value


def test_the_deepest_unseen_pit_in_words_and_json() -> None:
    """A face part seen has a depth with its interval and assumption; one seen whole says so."""
    faces = {u.face: u for u in unseen_depths(PART, PART.members[0], decision().hidden)}
    inner, outer = faces[Face.INNER], faces[Face.OUTER]
    first, *notes = unseen_lines(inner, "in")
    assert "as likely as not over 0.0" in first
    assert "in)" in first
    assert any("corrodes like the seen one" in note for note in notes)
    assert unseen_lines(outer, "mm") == [
        "SK1, outer face: deepest unseen pit not determined: the whole face was seen."
    ]
    body = json.loads(json.dumps([unseen_json(inner), unseen_json(outer)], allow_nan=False))
    assert body[0]["median_mm"]["low"] < body[0]["median_mm"]["value"] < body[0]["upper_95_mm"]
    assert body[1]["median_mm"] is None


@pytest.mark.parametrize("plot", get_args(Plot))
def test_plots_are_svg_with_their_words_as_text(plot: Plot) -> None:
    """Each plot is well-formed SVG with caution and names as text, and repeats byte for byte."""
    first, second = io.BytesIO(), io.BytesIO()
    assert draw_decision(RESULT, first, plot)
    assert draw_decision(RESULT, second, plot)
    assert first.getvalue() == second.getvalue()
    root = ET.fromstring(first.getvalue())  # noqa: S314 -- our own output
    assert root.tag.endswith("svg")
    words = " ".join("".join(e.itertext()) for e in root.iter())
    assert "approves no repair" in words
    label = {
        "money": "Money, EUR",
        "days": "Calendar days",
        "drivers": "Share of the doubt",
        "break-even": "Price",
    }
    assert label[plot] in words


@pytest.mark.parametrize("plot", get_args(Plot))
def test_nothing_is_drawn_of_nothing(plot: Plot) -> None:
    """Where nothing is determined no empty plot is written."""
    target = io.BytesIO()
    assert not draw_decision(EMPTY, target, plot)
    assert target.getvalue() == b""
