"""Bad survey files get an error that names the field, the value and the way out."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from corrosion.errors import SurveyFileError
from corrosion.model import load_survey, parse_survey, survey_schema
from corrosion.model.files import MAX_FILE_BYTES
from tests.model.example import full_survey


def _changed(path: str, value: Any) -> dict[str, Any]:
    """Set one field of the example; None as value takes it out."""
    document = copy.deepcopy(full_survey())
    part: Any = document
    *steps, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    for step in steps:
        part = part[step]
    if value is None:
        del part[last]
    else:
        part[last] = value
    return document


def _numbers(part: Any, path: str = "") -> list[str]:
    """Paths of all numbers of a document."""
    if isinstance(part, dict | list):
        steps = part.items() if isinstance(part, dict) else enumerate(part)
        return [found for step, inner in steps for found in _numbers(inner, f"{path}.{step}".strip("."))]
    return [path] if isinstance(part, int | float) and not isinstance(part, bool) else []


@pytest.mark.parametrize(
    ("path", "named"),
    [
        ("colour", "colour"),
        ("structure.colour", "structure.colour"),
        ("structure.members.0.colour", "structure.members.0.colour"),
        ("photos.0.marks.1.colour", "photos.0.marks.1.colour"),
        ("photos.0.scale.colour", "photos.0.scale.bar.colour"),
        ("removals.2.footprint.colour", "removals.2.footprint.Ellipse.colour"),
    ],
)
def test_an_unknown_field_is_refused_with_its_path(path: str, named: str) -> None:
    """A field the format does not have is an error, not a silent loss; the message says where it is."""
    with pytest.raises(SurveyFileError, match=named.replace(".", r"\.") + r": Extra inputs .*red"):
        parse_survey(_changed(path, "red"))


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity"])
def test_not_a_number_is_refused(number: str) -> None:
    """JSON has no NaN and no Infinity, and no length is either."""
    text = json.dumps(full_survey()).replace("0.0395", number)
    with pytest.raises(SurveyFileError, match=f"{number} is not a JSON number"):
        parse_survey(text)


@pytest.mark.parametrize(
    "path",
    [
        "structure.members.0.thickness",
        "structure.members.0.outline.0",
        "photos.0.marks.0.depths.0.value",
        "photos.0.marks.1.shape.center",
        "removals.0.footprint.radius",
        "thickness_readings.0.value",
        "settings.u_layout",
    ],
)
@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_not_a_number_is_refused_in_a_parsed_document(path: str, value: float) -> None:
    """A number beyond a float's range, or NaN handed over by a program, is refused by name."""
    bad: Any = [value, 0.0] if path.endswith(("outline.0", "center")) else value
    with pytest.raises(SurveyFileError):
        parse_survey(_changed(path, bad))


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("format", "another", "'another', not 'corrosion-survey'.*not a survey file"),
        ("format", None, "None, not 'corrosion-survey'"),
        ("version", 2, "'version' is 2; this program reads version 1.*release"),
        ("version", None, "'version' is None"),
        ("units", "cm", r"units: .*'mm' or 'in'.*cm"),
        ("structure.members.0.thickness", 0.0, r"members\.0\.thickness: .*greater than 0.*got 0\.0"),
        ("structure.members.0.zone", "HT", r"structure\.members\.0\.zone"),
        ("structure.members.0.limit.fraction", 1.0, r"limit\.fraction: .*less than 1"),
        ("structure.members.0.limit.source", None, r"limit\.source: Field required"),
        ("structure.members.0.limit.source", "  ", "a limit needs its source"),
        ("structure.members.0.limit.depth", 0.1, "exactly one of 'fraction' and 'depth'"),
        ("structure.members.0.outline", [[0, 0], [1, 1]], r"outline: .*at least 3"),
        ("photos.0.sha256", "abc", r"photos\.0\.sha256"),
        ("photos.0.member", "SK9", "photo 'f1' names member 'SK9', which the file does not define"),
        ("photos.1.lens", "gone", "photo 'f2' names lens 'gone'"),
        ("photos.1.id", "f1", "photo id 'f1' occurs more than once"),
        ("photos.0.marks.1.id", "P1", "mark id 'P1' occurs 2 times"),
        ("photos.0.marks.1.measured_from", None, "must say 'measured_from'"),
        ("photos.0.marks.1.run_out", None, "needs its 'run_out' ratio"),
        ("photos.0.marks.1.run_out.total", 20.0, "exactly one of 'total' and 'per_side'"),
        ("photos.0.marks.0.shape.coordinates", [[[0, 0], [1, 1], [0, 0]]], "corners, this one has 2"),
        ("photos.0.placement.layout", [[0, 0]] * 3, "2 image points but 3 layout points"),
        ("photos.1.scale.plane", [[0, 0]] * 5, "4 image points but 5 plane points"),
        ("photos.2.scale.image", [[0, 0]] * 4, "exactly one of 'image'"),
        ("photos.2.scale.edges", [[[0, 0]]] * 4, "at least 2 points"),
        ("photos.0.scale.kind", "ribbon", r"photos\.0\.scale.*ribbon"),
        ("removals.0.member", "SK9", "removal 'R1' names member 'SK9'"),
        ("removals.0.run_out", None, "faired removal needs its 'run_out'"),
        ("removals.1.id", "R1", "removal id 'R1' occurs more than once"),
        ("thickness_readings.0.member", "SK9", "thickness reading 'T1' names member 'SK9'"),
        ("settings.within_probability", 0.5, "less than 0.5"),
    ],
)  # fmt: skip
def test_a_broken_rule_is_named(path: str, value: Any, message: str) -> None:
    """Each rule of the format has a message that a person can act on."""
    with pytest.raises(SurveyFileError, match=message):
        parse_survey(_changed(path, value), place="survey.json")


def test_all_bad_fields_are_named_at_once() -> None:
    """Two mistakes take one try to find, not two."""
    document = _changed("units", "cm")
    document["settings"]["edge_u_px"] = -1.0
    with pytest.raises(SurveyFileError, match=r"units: .*settings\.edge_u_px: "):
        parse_survey(document)


def test_many_mistakes_are_counted() -> None:
    """Past twenty the rest is counted, so the message stays readable."""
    document = full_survey()
    document["instruments"] = [{"id": f"G{i}", "u_systematic": -1.0} for i in range(25)]
    with pytest.raises(SurveyFileError, match="and 5 more"):
        parse_survey(document)


@pytest.mark.parametrize("text", ["", "{", "[1, 2]", '"survey"', "null", "[" * 100_000, b"\xff\xfe\x00"])
def test_what_is_no_survey_is_refused(text: str | bytes) -> None:
    """Text that is no JSON object ends in our error, however deep or broken it is."""
    with pytest.raises(SurveyFileError):
        parse_survey(text)


def test_the_place_heads_the_message() -> None:
    """The file's name comes first, for whoever reads many files."""
    with pytest.raises(SurveyFileError, match=r"^my survey\.json: "):
        parse_survey("{}", place="my survey.json")


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """A wrong path ends in our error with the path in it."""
    with pytest.raises(SurveyFileError, match=r"nowhere\.json: cannot be read"):
        load_survey(tmp_path / "nowhere.json")


def test_a_file_in_another_encoding_is_refused(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 are refused, not replaced."""
    path = tmp_path / "survey.json"
    path.write_bytes(b'{"format": "\xe9"}')
    with pytest.raises(SurveyFileError, match="cannot be read"):
        load_survey(path)


def test_a_huge_file_is_refused_before_reading(tmp_path: Path) -> None:
    """A file of more than 64 MiB is refused by its size."""
    path = tmp_path / "survey.json"
    with path.open("wb") as file:
        file.truncate(MAX_FILE_BYTES + 1)
    with pytest.raises(SurveyFileError, match=str(MAX_FILE_BYTES)):
        load_survey(path)


@pytest.mark.parametrize(
    "name",
    [
        "a/b",
        "a\\b",
        "a\nb",
        "",
        "   ",
    ],
)
def test_an_identifier_is_fit_for_a_file_name(name: str) -> None:
    """Empty names, blanks, slashes and control characters are refused."""
    with pytest.raises(SurveyFileError):
        parse_survey(_changed("instruments.0.id", name))


def test_a_truth_value_is_no_number() -> None:
    """`true` where a length belongs is a mistake, not 1 mm."""
    with pytest.raises(SurveyFileError):
        parse_survey(_changed("structure.members.0.thickness", value=True))


def test_a_key_given_twice_is_refused() -> None:
    """A key that occurs twice in one object would lose the first value."""
    text = json.dumps(full_survey()).replace('"units": "in"', '"units": "in", "units": "mm"')
    with pytest.raises(SurveyFileError, match="units"):
        parse_survey(text)


@pytest.mark.parametrize("text", ["nan", "1e5", "abc", "340B+", "12 in"])
def test_a_station_that_cannot_be_read_is_refused(text: str) -> None:
    """A station text must hold a number, and may hold a plug and an offset."""
    with pytest.raises(SurveyFileError, match="station"):
        parse_survey(_changed("photos.0.station", text))


BEYOND = [
    (
        "structure.members.0.outline.0",
        [1e308, 0.0],
        r"outline\.0\.0: .*less than or equal to 1000000.*1e\+308",
    ),
    ("structure.members.0.thickness", 1e-300, r"members\.0\.thickness: .*at least 0\.0000001 .*got 1e-300"),
    ("structure.members.0.density_kg_m3", 1e300, r"density_kg_m3: .*less than or equal to 100000"),
    ("photos.0.marks.0.shape.coordinates.0.0", [-2e6, 0.0], r"0\.0\.0: .*equal to -1000000.*got -2000000"),
    ("photos.0.marks.1.shape.semi_axes", [1e-200, 1.0], r"semi_axes\.0: .*at least 0\.000000001"),
    ("photos.0.marks.0.depths.0.value", 1e200, r"depths\.0\.value: .*less than or equal to 1000000"),
    ("photos.0.station", 1e90, "a station is at most 1000000"),
    ("photos.0.station", "1" * 40, "a station is at most 1000000"),
    ("photos.0.size", [10**400, 5], r"photos\.0\.size\.0: .*less than or equal to 1000000"),
    ("photos.1.scale.u_plane", 1e7, r"u_plane: .*less than or equal to 1000000"),
    ("removals.0.footprint.radius", 1e-10, r"radius: .*at least 0\.000000001"),
    ("removals.0.footprint.center", [0.0, 1e99], r"center\.1: .*less than or equal to 1000000"),
    ("lenses.0.distortion", [1e300, 0.0, 0.0, 0.0], r"distortion\.0: .*less than or equal to"),
    ("decision.rates.hour.high", 1e300, r"hour\.high: .*less than or equal to"),
]


@pytest.mark.parametrize(("path", "value", "message"), BEYOND, ids=[path for path, *_ in BEYOND])
def test_absurd_numbers_are_refused_at_the_edge(path: str, value: Any, message: str) -> None:
    """A number that no survey holds is refused by its path, its value and the bound it breaks."""
    with pytest.raises(SurveyFileError, match=message):
        parse_survey(_changed(path, value))


def test_the_schema_has_the_bounds() -> None:
    """Whoever checks a file against the published schema alone meets the same bounds."""
    checker = Draft202012Validator(survey_schema())
    assert checker.is_valid(full_survey())
    for path, value, _ in BEYOND:
        if "station" not in path:
            assert not checker.is_valid(_changed(path, value)), path


def test_no_number_is_unbounded() -> None:
    """Of every number of the format, 10^300 and -10^300 are refused."""
    paths = [path for path in _numbers(full_survey()) if path != "version"]
    for path in paths:
        for absurd in (10**300, -(10**300)):
            with pytest.raises(SurveyFileError, match=r"Input should be|at most"):
                parse_survey(_changed(path, absurd))
