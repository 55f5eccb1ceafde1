"""A layout file becomes the structure it describes, or is refused with its line and column."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.layout_file import EXAMPLE, read_layout
from corrosion.errors import SurveyFileError
from tests.api.samples import STRUCTURE, survey_file


def test_the_example_holds_what_it_says() -> None:
    """The example file gives a skin with its limit, its zone, a fastener and a station."""
    structure, units = read_layout(EXAMPLE.encode(), name="left.csv", units="in")
    (skin,) = structure.members
    assert (structure.name, units, skin.id, skin.thickness) == ("left", "in", "SK1", 1.02)
    assert skin.outline == [(0, 0), (900, 0), (900, 400), (0, 400)]
    assert skin.limit is not None
    assert (skin.limit.fraction, skin.limit.source) == (0.10, "RS-12, paragraph 4, revision B")
    assert [(zone.id, zone.limit.fraction) for zone in skin.limit_zones] == [("row", 0.05)]
    assert [(one.at, one.diameter) for one in skin.fasteners] == [((25, 10), 3.2)]
    assert [(one.label, one.at) for one in skin.stations] == [("Rib 3", 300)]


def test_semicolons_allow_decimal_commas() -> None:
    """A file as spreadsheets in many countries write it reads the same."""
    head = "\ufeffmember;kind;zone;material;thickness;outline"
    text = f'{head}\nRB1;rib;334;7075-T6;0,81;"0 0; 40,5 0; 40,5 12"\n'
    structure, _ = read_layout(text.encode("utf-8"), name="a.csv", units="mm")
    assert structure.members[0].thickness == 0.81
    assert structure.members[0].outline[1] == (40.5, 0.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("member,thickness,zone\nA,abc,334\n", ["line 2", "thickness", "abc"]),
        ("member,thikness\nA,1\n", ["first line", "thikness"]),
        ("member,thickness,outline\nA,1,0 0; 1\n", ["line 2", "outline", "'1'"]),
        ("record,member,thickness\nfastener,B,\n", ["no row that is a member"]),
        ("member,kind,zone,material,thickness,outline\nA,skin,3,al,1,0 0;1 0;1 1\n", ["'A'", "zone"]),
        ("", ["no row that is a member"]),
        ("{", ["not valid JSON"]),
        ('{"name": 3}', ["name"]),
        ("[]", ["the structure"]),
    ],
)
def test_a_fault_names_its_place(text: str, words: list[str]) -> None:
    """A file that cannot be read is refused, and the message names line, column and value."""
    with pytest.raises(SurveyFileError) as caught:
        read_layout(text.encode(), name="plan.csv", units="mm")
    assert str(caught.value).startswith("plan.csv")
    for word in words:
        assert word in str(caught.value)


def test_a_limit_without_a_source_is_refused() -> None:
    """A blend limit must say which document sets it."""
    text = "member,kind,zone,material,thickness,limit_fraction,outline\nA,skin,334,al,1,0.1,0 0;1 0;1 1\n"
    with pytest.raises(SurveyFileError, match="limit_source"):
        read_layout(text.encode(), name="a.csv", units="mm")


def test_json_in_three_forms() -> None:
    """A bare structure, one with its unit and a whole survey file give the same structure."""
    bare, units = read_layout(json.dumps(STRUCTURE).encode(), name="a.json", units="in")
    with_unit = read_layout(
        json.dumps({"units": "mm", "structure": STRUCTURE}).encode(), name="a", units="in"
    )
    survey = read_layout(json.dumps(survey_file()).encode(), name="a", units="in")
    assert units == "in"
    assert with_unit == survey == (bare, "mm")


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(source: bytes) -> None:
    """Whatever is chosen as a layout file, the answer is a structure or a clear refusal."""
    try:
        structure, _ = read_layout(source, name="x", units="mm")
    except SurveyFileError:
        return
    assert structure.name
