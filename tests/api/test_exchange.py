"""Survey files in and out without loss."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import httpx
import pytest

from corrosion.model import dump_survey, parse_survey
from tests.api.samples import READING, REMOVAL, SCALE, new_survey, picture, survey_file, upload


def exported(client: httpx.Client, survey: str, **query: str) -> Any:
    """Export a survey through the service and parse it."""
    return parse_survey(client.get(f"/api/surveys/{survey}/file", params=query).content)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_what_is_imported_is_exported_equal(client: httpx.Client, units: str) -> None:
    """A file that uses every part of the format leaves equal to how it came, in its own unit."""
    document = survey_file(units=units)
    made = client.post("/api/surveys/import", json=document)
    assert made.status_code == 201, made.text
    survey = made.json()["survey"]["id"]
    assert made.json()["survey"]["units"] == units
    assert exported(client, survey) == parse_survey(document)


def test_order_and_numbers_survive(client: httpx.Client) -> None:
    """The order of every list and every digit of every number survive the store."""
    photos: list[dict[str, Any]] = [
        {
            "id": f"p{n}",
            "file": f"photos/{n}.jpg",
            "station": n / 7,
            "scale": SCALE | {"length": 10 + n / 3},
        }
        for n in (5, 3, 9, 1)
    ]
    document = survey_file(photos) | {
        "removals": [REMOVAL | {"id": one} for one in ("Z", "A", "M")],
        "thickness_readings": [READING | {"id": one, "value": 0.1 + 0.2} for one in ("t9", "t1")],
    }
    survey = client.post("/api/surveys/import", json=document).json()["survey"]["id"]
    assert exported(client, survey) == parse_survey(document)
    assert [photo.id for photo in exported(client, survey).photos] == ["p5", "p3", "p9", "p1"]


def test_an_export_can_be_imported_again(client: httpx.Client) -> None:
    """Export, import, export: the two exports are the same bytes."""
    first = client.post("/api/surveys/import", json=survey_file()).json()["survey"]["id"]
    once = client.get(f"/api/surveys/{first}/file").content
    second = client.post("/api/surveys/import", content=once).json()["survey"]["id"]
    assert client.get(f"/api/surveys/{second}/file").content == once


def test_what_was_entered_by_hand_is_a_valid_file(client: httpx.Client) -> None:
    """A survey entered piece by piece exports as a file that the format accepts."""
    survey = new_survey(client, survey={"name": "By hand"})
    upload(client, survey, ("a.jpg", picture(30)), member="SK1", face="outer")
    client.post(f"/api/surveys/{survey}/removals", json=REMOVAL)
    client.post(f"/api/surveys/{survey}/readings", json=READING)
    file = exported(client, survey)
    assert file.photos[0].sha256 == hashlib.sha256(picture(30)).hexdigest()
    assert file.photos[0].size == (400, 300)
    assert (file.removals[0].id, file.thickness_readings[0].id) == ("R1", "T1")


def test_a_form_brings_survey_and_pictures_together(client: httpx.Client) -> None:
    """Survey file and pictures in one form: matched by hash or name, what is missing is listed."""
    one, two = picture(31), picture(32)
    document = survey_file(
        [
            {"id": "f1", "file": "photos/f1.jpg", "sha256": hashlib.sha256(one).hexdigest()},
            {"id": "f2", "file": "photos/f2.jpg"},
            {"id": "f3", "file": "photos/f3.jpg"},
        ]
    )
    form = [
        ("survey", ("survey.json", json.dumps(document).encode())),
        ("files", ("any-name.jpg", one)),
        ("files", ("f2.jpg", two)),
        ("files", ("stranger.jpg", picture(33))),
    ]
    report = client.post("/api/surveys/import", files=form).json()
    results = [(one["name"], one["status"]) for one in report["files"]]
    assert results == [("any-name.jpg", "matched"), ("f2.jpg", "matched"), ("stranger.jpg", "refused")]
    assert report["waiting"] == ["f3"]
    assert exported(client, report["survey"]["id"]) == parse_survey(document)
    photos = exported(client, report["survey"]["id"], hashes="true").photos
    assert photos[1].sha256 == hashlib.sha256(two).hexdigest()


def test_a_picture_already_here_need_not_be_sent(client: httpx.Client) -> None:
    """Importing a file whose pictures are in the store finds them by hash."""
    data = picture(34)
    upload(client, new_survey(client), ("a.jpg", data))
    photo = {"id": "f1", "file": "photos/f1.jpg", "sha256": hashlib.sha256(data).hexdigest()}
    report = client.post("/api/surveys/import", json=survey_file([photo])).json()
    assert report["waiting"] == []


def test_a_bad_file_stores_nothing(client: httpx.Client) -> None:
    """A survey file that breaks its format names the field and leaves no trace."""
    before = client.get("/api/structures").json()
    broken = survey_file() | {"removals": [REMOVAL | {"member": "SKX"}]}
    answer = client.post("/api/surveys/import", json=broken)
    assert answer.status_code == 422
    assert "'SKX'" in answer.json()["detail"]
    assert client.get("/api/structures").json() == before


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{}", b"\xff", b"[" * 50_000, b'{"format": "corrosion-survey"}']
)
def test_what_is_no_survey_file_is_refused(client: httpx.Client, body: bytes) -> None:
    """Anything else than a survey file is a 422 problem that says what is wrong."""
    answer = client.post("/api/surveys/import", content=body)
    assert answer.status_code == 422, answer.text
    assert answer.json()["type"] == "/api/problems/survey-file"


def test_a_form_without_a_survey_is_refused(client: httpx.Client) -> None:
    """Pictures without the survey file first are refused: nobody would know where they belong."""
    answer = client.post("/api/surveys/import", files=[("files", ("a.jpg", picture(35)))])
    assert answer.status_code == 400
    assert "survey" in answer.json()["remedy"]


def test_a_second_survey_of_the_same_structure(client: httpx.Client) -> None:
    """A file can be put on a stored structure if the two are equal, and not if they differ."""
    first = client.post("/api/surveys/import", json=survey_file()).json()["survey"]
    query = {"structure_id": first["structure_id"]}
    same = client.post("/api/surveys/import", json=survey_file(), params=query)
    other = survey_file()
    other["structure"] = other["structure"] | {"name": "Another"}
    differs = client.post("/api/surveys/import", json=other, params=query)
    assert same.json()["survey"]["structure_id"] == first["structure_id"]
    assert differs.status_code == 409


def test_the_published_schema_is_the_formats(client: httpx.Client) -> None:
    """The schema names its dialect and the format."""
    schema = client.get("/api/schema").json()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["properties"]["format"]["const"] == "corrosion-survey"


def test_an_export_is_the_file_the_command_line_writes(client: httpx.Client) -> None:
    """The service writes the same text as `dump_survey`."""
    survey = client.post("/api/surveys/import", json=survey_file()).json()["survey"]["id"]
    text = client.get(f"/api/surveys/{survey}/file").text
    assert text == dump_survey(parse_survey(survey_file()))
