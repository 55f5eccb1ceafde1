"""What the page says of an entry before it is kept, against areas and thicknesses in closed form."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from api.pages.rework_check import Kind, Said, check_part
from api.services import SurveyView
from api.tables import StructureRow, SurveyRow
from corrosion.terms import FLAG_MEANING, Flag
from tests.api.samples import READING, REMOVAL, STRUCTURE

GAUGES = [{"id": "DG-2", "u_systematic": 0.005}, {"id": "UT-1", "u_systematic": 0.008}]


def said(kind: Kind, part: dict[str, Any], **changes: Any) -> Said:
    """Check a part of a survey in mm with some fields changed."""
    view = SurveyView(
        SurveyRow(id="s", document={"instruments": GAUGES}),
        StructureRow(id="t", units="mm", document=STRUCTURE),
    )
    return check_part(view, kind, copy.deepcopy(part) | changes, "mm")


def test_a_sound_removal_has_facts_only() -> None:
    """A disc of 12 mm radius is 452 mm2 (pi r^2), leaves 0.97 of 1.02 mm, 49 % of 10 % of 1.02 mm."""
    found = said("removal", REMOVAL)
    assert (found.faults, found.doubts) == ([], [])
    text = " ".join(found.facts)
    assert "452 mm²" in text
    assert "leaves 0.970 mm of 1.020 mm" in text
    assert "49 % of the limit, 0.102 mm" in text


def test_the_limit_is_the_one_of_the_zone() -> None:
    """In the zone with a limit of 0.05 mm, 0.05 mm is all of it."""
    shape = {"type": "Circle", "center": [500, 10], "radius": 5}
    assert "takes 100 % of the limit, 0.050 mm" in " ".join(said("removal", REMOVAL, footprint=shape).facts)


def test_half_off_the_member_is_said_in_percent() -> None:
    """A disc centred on the edge lies half off the member, by symmetry."""
    shape = {"type": "Circle", "center": [450, 400], "radius": 10}
    assert any("50 % of it lies off" in one for one in said("removal", REMOVAL, footprint=shape).doubts)


@pytest.mark.parametrize(
    ("changes", "path", "words"),
    [
        ({"footprint": {"type": "Circle", "center": [2000, 10], "radius": 5}}, "footprint", "lies off"),
        (
            {"footprint": {"type": "Polygon", "coordinates": [[[0, 0], [9, 9], [9, 0], [0, 9]]]}},
            "footprint",
            "cross",
        ),
        ({"member": "SK9"}, "member", "SK9"),
        ({"profile": "faired"}, "", "run_out"),
        ({"depth": {"value": -1, "u": 0.01}}, "depth.value", "greater"),
    ],
)
def test_what_cannot_be_kept_names_its_field(changes: dict[str, Any], path: str, words: str) -> None:
    """Off the member, crossing itself, no such member, no ratio, below zero: each has its place."""
    (fault,) = said("removal", REMOVAL, **changes).faults
    assert fault["path"] == f"body.{path}".rstrip(".")
    assert words in fault["message"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"depth": {"value": 0.11, "u": 0.01}}, "over the limit by itself"),
        ({"depth": {"value": 1.02, "u": 0.01}}, "as deep as the metal is thick"),
        ({"depth": {"value": 0.05, "u": 0}}, "known exactly"),
        ({"depth": {"value": 0, "u": 0.01}}, "takes nothing away"),
        ({"depth": {"value": 0.05, "u": 0.01, "instrument": "DG-9"}}, "DG-9 is not in the survey's list"),
        ({"date": None}, FLAG_MEANING[Flag.DATE_ASSUMED]),
    ],
)
def test_what_may_be_kept_but_is_doubtful_is_said(changes: dict[str, Any], words: str) -> None:
    """Each doubt is in words; none of them forbids to keep the entry."""
    found = said("removal", REMOVAL, **changes)
    assert found.faults == []
    assert any(words in one for one in found.doubts)


def test_a_reading_is_told_against_the_thickness() -> None:
    """0.97 mm of 1.02 mm is 0.050 mm less; the difference of the two."""
    found = said("reading", READING)
    assert found.facts == ["0.050 mm less than the nominal thickness there, 1.020 mm."]
    assert (found.faults, found.doubts) == ([], [])


def test_a_reading_thicker_than_the_metal_is_doubted() -> None:
    """1.06 +- 0.02 mm (k = 2) lies above 1.02 mm; 1.03 mm does not."""
    assert any("thicker" in one for one in said("reading", READING, value=1.06).doubts)
    assert said("reading", READING, value=1.03).doubts == []


def test_a_reading_off_the_member_is_a_fault() -> None:
    """A place beside the member names the field of the place."""
    (fault,) = said("reading", READING, at=[-1, 130]).faults
    assert fault["path"] == "body.at"
