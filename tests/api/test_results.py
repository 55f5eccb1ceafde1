"""Results over HTTP: the service adds nothing to and takes nothing from what the library computes."""

from __future__ import annotations

import io
from itertools import pairwise
from typing import Any

import httpx
import pytest
from PIL import Image

from corrosion.model import parse_survey
from corrosion.report import json_of
from corrosion.survey import assess
from tests.api.samples import (
    MARKS,
    PLACEMENT,
    REMOVAL,
    SCALE,
    new_survey,
    picture,
    survey_file,
    tag,
    upload,
)


@pytest.fixture(scope="module")
def survey(client: httpx.Client) -> str:
    """Import the full survey file and upload its picture."""
    made = client.post("/api/surveys/import", json=_document()).json()["survey"]["id"]
    assert upload(client, made, ("f1.jpg", picture(200)))[0]["status"] == "matched"
    return str(made)


def _document() -> dict[str, Any]:
    """Give a survey whose photo lies wholly on the member, without its borescope lens."""
    document = survey_file()
    document["photos"][0] |= {"lens": None}
    return document


def test_the_assessment_is_the_librarys(client: httpx.Client, survey: str) -> None:
    """Service and library give the same document for the same survey and picture size."""
    direct = json_of(assess(parse_survey(_document()), sizes={"f1": (400, 300)}), include_survey=False)
    assert client.get(f"/api/surveys/{survey}/assessment").json() == direct


def test_a_spot_adds_up_its_ledger(client: httpx.Client, survey: str) -> None:
    """At the recorded removal's centre the ledger lists it, and the sum is what it adds: 0.05 mm."""
    query: dict[str, Any] = {"member": "SK1", "station": 412, "offset": 130}
    spot = client.get(f"/api/surveys/{survey}/spot", params=query).json()["spot"]
    mine = [line for line in spot["ledger"] if line["entry"] == "R1"]
    assert [line["adds"]["value"] for line in mine] == [pytest.approx(0.05, abs=1e-9)]
    assert spot["removed_by_face"]["outer"]["value"] == pytest.approx(0.05, abs=1e-9)


def test_a_station_with_a_plug_is_understood(client: httpx.Client, survey: str) -> None:
    """340B begins at layout station 350, so 340B+62 is layout station 412."""
    query: dict[str, Any] = {"member": "SK1", "offset": 130}
    plug = client.get(f"/api/surveys/{survey}/spot", params=query | {"station": "340B+62"}).json()
    plain = client.get(f"/api/surveys/{survey}/spot", params=query | {"station": "412"}).json()
    assert plug["spot"]["at_mm"] == plain["spot"]["at_mm"] == [412, 130]
    assert plug["plug_unknown"] is False


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ({"member": "SKX", "station": "1", "offset": 1}, 404),
        ({"member": "SK1", "station": "x", "offset": 1}, 422),
        ({"member": "SK1", "station": "5000", "offset": 1}, 422),
        ({"member": "SK1", "station": "1", "offset": "nan"}, 422),
        ({"member": "SK1", "station": "1"}, 422),
    ],
)
def test_a_spot_that_is_none_is_a_problem(
    client: httpx.Client, survey: str, query: dict[str, Any], status: int
) -> None:
    """An unknown member, an unreadable station or a place off the member is told, never guessed."""
    answer = client.get(f"/api/surveys/{survey}/spot", params=query)
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_measures_follow_an_edit_at_once(client: httpx.Client) -> None:
    """A bar of 200 px is 50 mm: a square pit of 20 px is 25 mm2, and 100 mm2 after the bar is doubled."""
    survey = new_survey(client)
    photo = upload(client, survey, ("a.jpg", picture(201)), member="SK1", face="inner")[0]["photo"]
    address = f"/api/photos/{photo['id']}"
    client.put(f"{address}/scale", json=SCALE, headers=tag(1))
    client.put(f"{address}/marks", json=MARKS[:1], headers=tag(2))
    first = _area(client, address)
    client.put(f"{address}/scale", json=SCALE | {"length": 100.0}, headers=tag(3))
    assert first == pytest.approx(25.0, rel=1e-9)
    assert _area(client, address) == pytest.approx(100.0, rel=1e-9)


def _area(client: httpx.Client, address: str) -> float:
    marks = client.get(f"{address}/measures").json()["photos"][0]["marks"]
    return float(marks[0]["quantities"]["area"]["value"])


def test_an_assessment_follows_every_change(client: httpx.Client) -> None:
    """Kept results are never stale: a new removal, a photo's mark, a new limit change the answer."""
    survey = new_survey(client)
    address = f"/api/surveys/{survey}/assessment"

    def state() -> tuple[str, Any]:
        answer = client.get(address)
        return answer.headers["ETag"], answer.json()["members"][0]

    seen = [state()]
    client.post(f"/api/surveys/{survey}/removals", json=REMOVAL)
    seen.append(state())
    photo = upload(client, survey, ("a.jpg", picture(202)), member="SK1", face="inner")[0]["photo"]
    for number, (part, body) in enumerate(
        [("scale", SCALE), ("placement", PLACEMENT), ("marks", MARKS)], start=1
    ):
        client.put(f"/api/photos/{photo['id']}/{part}", json=body, headers=tag(number))
    seen.append(state())
    structure = client.get(f"/api/surveys/{survey}").json()["structure_id"]
    document = client.get(f"/api/structures/{structure}").json()
    document["structure"]["members"][0]["limit"] = {"depth": 0.01, "source": "Invented, revision C"}
    body = {name: document[name] for name in ("units", "structure")}
    client.put(f"/api/structures/{structure}", json=body, headers=tag(1))
    seen.append(state())
    assert len({etag for etag, _ in seen}) == len(seen)
    assert all(a[1] != b[1] for a, b in pairwise(seen))
    again = client.get(address, headers={"If-None-Match": seen[-1][0]})
    assert again.status_code == 304


@pytest.mark.parametrize("face", ["outer", "inner", None])
def test_maps_are_drawn(client: httpx.Client, survey: str, face: str | None) -> None:
    """The map of a member comes as PNG and as SVG that may run no script."""
    query = {"member": "SK1"} | ({"face": face} if face else {})
    png = client.get(f"/api/surveys/{survey}/map.png", params=query)
    svg = client.get(f"/api/surveys/{survey}/map.svg", params=query)
    assert Image.open(io.BytesIO(png.content)).size[0] > 500
    assert b"<svg" in svg.content
    assert "script-src" not in svg.headers["Content-Security-Policy"]
    assert svg.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert client.get(f"/api/surveys/{survey}/map.png", params={"member": "SKX"}).status_code == 404
    assert client.get(f"/api/surveys/{survey}/map.exe", params=query).status_code == 422
