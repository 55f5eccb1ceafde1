"""A survey leaves and re-enters without loss."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from pydantic import BaseModel

from corrosion import model
from corrosion.model import dump_survey, load_survey, parse_survey, survey_schema
from tests.model.example import full_survey
from tests.model.strategies import surveys


def _used(value: Any) -> set[str]:
    """Names of all fields a document uses, wherever they are."""
    if isinstance(value, dict):
        return set(value) | set().union(*map(_used, value.values()), set())
    if isinstance(value, list):
        return set().union(*map(_used, value), set())
    return set()


def test_the_example_uses_every_field() -> None:
    """No field of the format escapes the tests built on the example."""
    parts = [
        part for part in vars(model).values() if isinstance(part, type) and issubclass(part, BaseModel)
    ]
    fields = {name for part in parts for name in part.model_fields}
    assert fields - _used(full_survey()) == set()


def test_the_example_comes_back_as_it_was() -> None:
    """Every value of the example is in the parsed survey and in the written file."""
    survey = parse_survey(full_survey())
    again = json.loads(dump_survey(survey))
    assert parse_survey(again) == survey
    assert _without_defaults(full_survey()) == _without_defaults(again)


def _without_defaults(document: dict[str, Any]) -> dict[str, Any]:
    """Drop what a writer may leave out because it is the default."""
    for removal in document["removals"]:
        if removal["footprint"].get("angle_deg") == 0.0:
            del removal["footprint"]["angle_deg"]
    return document


@settings(max_examples=80, deadline=None)
@given(surveys())
def test_any_survey_comes_back(document: dict[str, Any]) -> None:
    """Reading what was written gives the same survey, and writing it again the same text."""
    survey = parse_survey(document)
    text = dump_survey(survey)
    assert parse_survey(text) == survey
    assert dump_survey(parse_survey(text)) == text


@settings(max_examples=50, deadline=None)
@given(surveys())
def test_no_number_is_rounded(document: dict[str, Any]) -> None:
    """Coordinates and depths come back bit for bit, not to some number of digits."""
    survey = parse_survey(json.loads(dump_survey(parse_survey(document))))
    for given_mark, mark in zip(document["photos"][0]["marks"], survey.photos[0].marks, strict=True):
        assert [d["value"] for d in given_mark["depths"]] == [d.value for d in mark.depths]
        written = mark.shape.model_dump(mode="json")
        assert {k: written[k] for k in given_mark["shape"]} == given_mark["shape"]


@settings(max_examples=30, deadline=None)
@given(surveys())
def test_the_schema_accepts_what_is_written(document: dict[str, Any]) -> None:
    """The published schema (JSON Schema, draft 2020-12) accepts every file this program writes."""
    text = dump_survey(parse_survey(document))
    jsonschema.Draft202012Validator(survey_schema()).validate(json.loads(text))


def test_the_schema_is_a_schema() -> None:
    """The schema is itself valid, refuses unknown fields and names the format."""
    schema = survey_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.Draft202012Validator(schema)
    assert checker.is_valid(full_survey())
    assert not checker.is_valid(full_survey() | {"colour": "red"})
    assert not checker.is_valid(full_survey() | {"format": "another"})


def test_a_file_on_disk_comes_back(tmp_path: Path) -> None:
    """Written as UTF-8 and read again, names in any script included."""
    document = full_survey()
    document["structure"]["name"] = "левый стабилизатор 左 Höhenflosse"
    survey = parse_survey(document)
    path = tmp_path / "survey.json"
    path.write_text(dump_survey(survey), encoding="utf-8")
    assert load_survey(path) == survey


def test_a_bare_distance_is_its_value() -> None:
    """A distance written as a plain number comes back as that value."""
    document = full_survey()
    document["photos"][0]["distance"] = 12.0
    distance = parse_survey(document).photos[0].distance
    assert distance is not None
    assert (distance.value, distance.u) == (12.0, 0.0)


@pytest.mark.parametrize(
    "text",
    [
        "340B+10.25",
        *("412", "412.50", "0340", " 12"),
    ],
)
def test_a_station_keeps_its_text(text: str) -> None:
    """A station written as text comes back as that text, whatever it looks like."""
    document = full_survey()
    document["photos"][0]["station"] = text
    assert parse_survey(dump_survey(parse_survey(document))).photos[0].station == text
