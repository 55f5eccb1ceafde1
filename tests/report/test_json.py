"""The machine-readable form."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest
from shapely.geometry import GeometryCollection, Point, Polygon, shape

from corrosion.model import parse_survey
from corrosion.report import json_of, measures_json
from corrosion.report.json_form import geometry
from corrosion.results import Assessment, MemberAssessment, Spot
from corrosion.terms import Flag
from tests.report.example import assessment, deepest_spot, photo_measures


@pytest.fixture
def document() -> dict[str, Any]:
    """Give the inch assessment as written to a file and read again."""
    return json.loads(json.dumps(json_of(assessment("in")), allow_nan=False))


def measured_values(node: Any) -> list[dict[str, Any]]:
    """Collect every measured value in a document."""
    if isinstance(node, dict):
        own = [node] if "budget" in node else []
        return own + [m for part in node.values() for m in measured_values(part)]
    return [m for part in node for m in measured_values(part)] if isinstance(node, list) else []


def test_strict_json_with_units(document: dict[str, Any]) -> None:
    """The document is strict JSON and says what its numbers are in."""
    assert document["format"] == "corrosion-assessment"
    assert document["version"] == 1
    assert document["units"]["length"] == "mm"
    assert document["units"]["display"] == "in"


def test_every_measured_value_is_whole(document: dict[str, Any]) -> None:
    """Every measured value has value, u, U = 2 u, unit, flags, display, and a budget that adds up to u."""
    values = measured_values(document)
    assert len(values) > 20
    for one in values:
        assert set(one) == {"value", "u", "U", "unit", "flags", "budget", "drawn", "display"}
        if one["u"] is None:
            assert "?" in one["display"]
            continue
        assert one["U"] == pytest.approx(2 * one["u"])
        assert sum(part**2 for part in one["budget"].values()) == pytest.approx(one["u"] ** 2)


def test_unknown_uncertainty_is_null(document: dict[str, Any]) -> None:
    """A value without an honest uncertainty has null for it, not zero."""
    area = document["photos"][0]["marks"][1]["quantities"]["area"]
    assert area["u"] is None
    assert area["U"] is None
    assert area["flags"] == ["tilt-not-stated"]


def test_display_is_in_the_display_unit(document: dict[str, Any]) -> None:
    """Numbers stay in mm while their display text is in the survey's inches."""
    removed = document["members"][0]["deepest"]["removed"]
    assert removed["value"] == pytest.approx(0.1474)
    assert removed["display"] == "0.0058 ± 0.0005 in"
    assert document["members"][0]["deepest"]["limit"] == {
        "value": 0.102,
        "unit": "mm",
        "display": "0.0040 in",
    }


def test_millimetre_numbers_do_not_depend_on_display() -> None:
    """The same metal gives the same numbers whichever unit people read."""

    def without_display(node: Any) -> Any:
        if isinstance(node, dict):
            return {k: without_display(v) for k, v in node.items() if k not in ("display", "survey")}
        if isinstance(node, list):
            return [without_display(v) for v in node]
        return round(node, 9) if isinstance(node, float) else node

    assert without_display(json_of(assessment("in"))) == without_display(json_of(assessment("mm")))


def test_the_same_input_gives_the_same_text() -> None:
    """Two runs give the same bytes, so that documents can be compared."""
    assert json.dumps(json_of(assessment())) == json.dumps(json_of(assessment()))


def test_the_survey_travels_along(document: dict[str, Any]) -> None:
    """The survey in the document is a survey file again."""
    survey = parse_survey(document["survey"])
    assert survey.structure.members[0].id == "SK1"
    assert "survey" not in json_of(assessment(), include_survey=False)


@pytest.mark.parametrize(
    ("kind", "path", "renamed"),
    [
        (Assessment, (), {"survey": "survey"}),
        (
            MemberAssessment,
            ("members", 0),
            {
                "removed_volume_mm3": "removed_volume",
                "removed_mass_kg": "removed_mass",
                "cell_error_mm": "cell_error",
            },
        ),
        (Spot, ("members", 0, "deepest"), {"at": "at_mm", "by_face": "removed_by_face"}),
    ],
)
def test_nothing_is_left_out(
    document: dict[str, Any], kind: type, path: tuple[str | int, ...], renamed: dict[str, str]
) -> None:
    """Every field of the assessment, its members and spots is in the document."""
    node: Any = document
    for step in path:
        node = node[step]
    for field in dataclasses.fields(kind):
        assert renamed.get(field.name, field.name) in node, f"{kind.__name__}.{field.name}"


def test_geometry_is_geojson(document: dict[str, Any]) -> None:
    """Outlines read back as the same geometry (RFC 7946 types), to the nanometre."""
    outline = shape(document["findings"][0]["outline"])
    original = assessment().findings[0].outline
    assert original is not None
    assert outline.symmetric_difference(original).area < 1e-3
    assert geometry(Polygon()) is None
    assert geometry(GeometryCollection([Point(1, 2)])) == {
        "type": "GeometryCollection",
        "geometries": [{"type": "Point", "coordinates": [1.0, 2.0]}],
    }


def test_ledger_adds_up(document: dict[str, Any]) -> None:
    """What the ledger's lines add is what is removed there."""
    spot = document["members"][0]["deepest"]
    assert sum(line["adds"]["value"] for line in spot["ledger"]) == pytest.approx(spot["removed"]["value"])
    assert spot["ledger"][0]["measured_from"] == "original"
    assert deepest_spot().ledger[0].entry_id == spot["ledger"][0]["entry"]


def test_measures_alone() -> None:
    """The measures document names problems and every flag's meaning."""
    document = measures_json(photo_measures(), "mm", problems=["photo f2: has no scale reference."])
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["problems"] == ["photo f2: has no scale reference."]
    assert document["photos"][1]["problem"] == "photo f2: has no scale reference."
    assert set(document["flag_meaning"]) == {str(flag) for flag in Flag}
