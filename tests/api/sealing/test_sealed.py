"""A sealed survey does not change: not by any route, and not with its structure."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from api.people.rights import RIGHTS
from tests.api.samples import MARKS, PLACEMENT, READING, REMOVAL, SCALE, picture, tag
from tests.api.sealing.conftest import Case

Send = Callable[[Case], httpx.Response]


def _photo(case: Case, method: str, path: str, body: Any) -> httpx.Response:
    photo = case.photo()
    url = f"/api/photos/{photo['id']}{path}"
    return case.client.request(method, url, json=body, headers=tag(photo["version"]))


def _entry(case: Case, kind: str, method: str, body: Any) -> httpx.Response:
    entry = case.entry(kind)
    url = f"/api/{kind}/{entry['id']}"
    return case.client.request(method, url, json=body, headers=tag(entry["version"]))


def _card(case: Case, path: str, body: Any) -> httpx.Response:
    cards = case.get("/worklist")["cards"]
    card = next(one["id"] for one in cards if one["kind"] == "blend" or path == "ticks")
    return case.client.post(f"{case.url}/worklist/{card}/{path}", json=body)


def _own(case: Case, method: str, path: str, body: Any) -> httpx.Response:
    return case.client.request(method, case.url + path, json=body, headers=tag(1))


def _decide(case: Case, way: str, body: Any) -> httpx.Response:
    photo = case.client.get(f"{case.url}/photos").json()[-1]["id"]
    (proposal,) = case.client.get(f"/api/photos/{photo}/proposals").json()
    return case.client.post(f"/api/proposals/{proposal['id']}/{way}", json=body)


TICK = {"who": "Bench B", "what": "note", "note": "too late"}
SIGNATURE = {"digest": "0" * 64, "name": "I", "statement": "S", "place": "P", "date": "2031-04-24"}
HOURS = {"low": 4, "likely": 6, "high": 12}
DECISION: dict[str, Any] = {
    "rates": {"currency": "EUR", "hour": {"low": 80, "likely": 90, "high": 110}},
    "actions": [{"id": "blend", "name": "Blend", "member": "SK1", "hours": HOURS}],
}
HEAD: dict[str, Any] = {"survey": {"name": "Other"}}

WRITES: dict[tuple[str, str], Send] = {
    ("PUT", "/api/surveys/{survey_id}"): lambda c: _own(c, "PUT", "", HEAD),
    ("POST", "/api/surveys/{survey_id}/photos"): lambda c: c.client.post(
        f"{c.url}/photos", files=[("files", ("new.jpg", picture(9)))]
    ),
    ("PATCH", "/api/photos/{photo_id}"): lambda c: _photo(c, "PATCH", "", {"note": "x"}),
    ("DELETE", "/api/photos/{photo_id}"): lambda c: _photo(c, "DELETE", "", None),
    ("PUT", "/api/photos/{photo_id}/scale"): lambda c: _photo(c, "PUT", "/scale", SCALE),
    ("PUT", "/api/photos/{photo_id}/placement"): lambda c: _photo(c, "PUT", "/placement", PLACEMENT),
    ("PUT", "/api/photos/{photo_id}/marks"): lambda c: _photo(c, "PUT", "/marks", MARKS[:1]),
    ("POST", "/api/photos/{photo_id}/suggest"): lambda c: _photo(
        c, "POST", "/suggest", {"kind": "pit", "at": [200, 150]}
    ),
    ("POST", "/api/photos/{photo_id}/sweep"): lambda c: _photo(c, "POST", "/sweep", {}),
    ("POST", "/api/proposals/{proposal_id}/accept"): lambda c: _decide(c, "accept", {"mark": "P1"}),
    ("POST", "/api/proposals/{proposal_id}/drop"): lambda c: _decide(c, "drop", None),
    ("POST", "/api/surveys/{survey_id}/removals"): lambda c: _own(
        c, "POST", "/removals", REMOVAL | {"id": "R9"}
    ),
    ("PUT", "/api/removals/{removal_id}"): lambda c: _entry(c, "removals", "PUT", REMOVAL | {"note": "x"}),
    ("DELETE", "/api/removals/{removal_id}"): lambda c: _entry(c, "removals", "DELETE", None),
    ("POST", "/api/surveys/{survey_id}/readings"): lambda c: _own(
        c, "POST", "/readings", READING | {"id": "T9"}
    ),
    ("PUT", "/api/readings/{reading_id}"): lambda c: _entry(c, "readings", "PUT", READING | {"note": "x"}),
    ("DELETE", "/api/readings/{reading_id}"): lambda c: _entry(c, "readings", "DELETE", None),
    ("PUT", "/api/surveys/{survey_id}/planning"): lambda c: _own(c, "PUT", "/planning", {}),
    ("PUT", "/api/surveys/{survey_id}/rules"): lambda c: _own(c, "PUT", "/rules", {"rules": []}),
    ("PUT", "/api/surveys/{survey_id}/decision"): lambda c: _own(c, "PUT", "/decision", DECISION),
    ("POST", "/api/surveys/{survey_id}/worklist/{card}/ticks"): lambda c: _card(c, "ticks", TICK),
    ("POST", "/api/surveys/{survey_id}/worklist/{card}/keep"): lambda c: _card(c, "keep", {}),
    ("POST", "/api/surveys/{survey_id}/signatures/findings"): lambda c: _own(
        c, "POST", "/signatures/findings", SIGNATURE
    ),
    ("POST", "/api/surveys/{survey_id}/signatures/decision"): lambda c: _own(
        c, "POST", "/signatures/decision", SIGNATURE
    ),
    ("POST", "/api/surveys/{survey_id}/seal"): lambda c: _own(c, "POST", "/seal", {"digest": "0" * 64}),
}
"""Every route that changes a survey or a part of it, and a request that an open survey would take."""

OF_SURVEYS = re.compile(r"^/api/(surveys/\{survey_id\}|photos|proposals|removals|readings)")
ELSEWHERE = {
    ("POST", "/api/surveys/{survey_id}/revisions"),
    ("POST", "/api/surveys/{survey_id}/next"),
    # It makes a survey of its own.
    ("POST", "/api/surveys/import"),
    # How long a record is kept is not part of it.
    ("POST", "/api/surveys/{survey_id}/retention"),
}


def test_the_list_of_writes_is_complete() -> None:
    """Every route that the table of rights counts as a change of a survey is tried below."""
    changing = {row for row, right in RIGHTS.items() if right.changes and OF_SURVEYS.match(row[1])}
    assert changing - ELSEWHERE - set(WRITES) == set()


@pytest.mark.parametrize("row", WRITES, ids=lambda row: f"{row[0]} {row[1]}")
def test_a_sealed_survey_refuses_every_write(sealed: Case, row: tuple[str, str]) -> None:
    """409, with who sealed it and the way out, and nothing of it is changed."""
    before = sealed.client.get(f"{sealed.url}/file").content
    photos = sealed.client.get(f"{sealed.url}/photos").json()
    state = sealed.client.get(f"{sealed.url}/assessment").headers["ETag"]
    answer = WRITES[row](sealed)
    assert answer.status_code == 409, answer.text
    said = answer.json()
    assert said["type"].endswith("/sealed")
    assert "sealed by local user" in said["detail"]
    assert "Open a revision" in said["remedy"]
    assert sealed.client.get(f"{sealed.url}/file").content == before
    assert sealed.client.get(f"{sealed.url}/assessment").headers["ETag"] == state
    assert sealed.client.get(f"{sealed.url}/photos").json() == photos
    assert len(sealed.client.get(f"/api/photos/{photos[-1]['id']}/proposals").json()) == 1


def _edit_structure(case: Case, change: Callable[[dict[str, Any]], None]) -> None:
    found = case.client.get(f"/api/structures/{case.structure}").json()
    change(found["structure"])
    body = {"units": found["units"], "structure": found["structure"]}
    answer = case.client.put(f"/api/structures/{case.structure}", json=body, headers=tag(found["version"]))
    assert answer.status_code == 200, answer.text


RESULTS = ("/assessment", "/plan", "/disposition", "/worklist", "/spot?member=SK1&station=412&offset=130")


def test_a_later_limit_does_not_change_a_sealed_verdict(client: httpx.Client) -> None:
    """The sealed survey is judged by its own copy of the structure, an open one by the live structure."""
    case = Case(client).sealed()
    with_open = client.post("/api/surveys", json={"structure_id": case.structure}).json()["id"]
    client.post(f"/api/surveys/{with_open}/removals", json=REMOVAL)

    def verdict(survey: str) -> str:
        return str(client.get(f"/api/surveys/{survey}/assessment").json()["verdict"])

    before = [case.get(path) for path in RESULTS]
    drawn = client.get(f"{case.url}/map.svg?member=SK1").content
    photo = case.photo()["id"]
    measured = client.get(f"/api/photos/{photo}/measures").json()
    assert verdict(with_open) != "over"
    _edit_structure(case, lambda s: s["members"][0].update(limit={"depth": 0.001, "source": "RS-99"}))
    assert verdict(with_open) == "over"
    assert [case.get(path) for path in RESULTS] == before
    assert client.get(f"{case.url}/map.svg?member=SK1").content == drawn
    assert client.get(f"/api/photos/{photo}/measures").json() == measured
    assert "RS-99" not in client.get(f"{case.url}/file").text
    assert "RS-99" not in client.get(f"/surveys/{case.id}/map").text


def test_a_structure_may_drop_what_only_sealed_surveys_name(client: httpx.Client) -> None:
    """A member goes although a sealed survey names it; that keeps it in its own copy."""
    case = Case(client).sealed()
    _edit_structure(case, lambda s: s["members"].pop(0))
    assert [one["member"] for one in case.get("/assessment")["members"]] == ["SK1", "RB1"]
    refused = client.post(f"{case.url}/revisions", json={"reason": "wrong depth"})
    assert refused.status_code == 409
    assert "SK1" in refused.json()["detail"]


def test_a_candidates_later_change_does_not_change_a_sealed_decision(client: httpx.Client) -> None:
    """The surveys of the decision's candidates are frozen with it."""
    other = Case(client)
    spread = {"low": 4000, "likely": 5000, "high": 7000}
    used = {"id": "used", "kind": "second-hand", "price": spread, "survey": other.id}
    decision = DECISION | {"candidates": [used]}
    case = Case(client, decision=decision).sealed()
    before = case.get("/decision/result")
    marks = [MARKS[1] | {"depths": [MARKS[1]["depths"][0] | {"value": 0.5}]}]
    assert _photo(other, "PUT", "/marks", marks).is_success
    assert case.get("/decision/result") == before


def test_every_page_says_that_it_is_sealed(sealed: Case) -> None:
    """No page of a sealed survey lacks the line that says so and by whom."""
    paths = [path for method, path in RIGHTS if method == "GET" and path.startswith("/surveys/{survey_id}")]
    whole = 0
    for path in paths:
        if path.count("{") > 1 or path.endswith("/archive"):
            continue
        answer = sealed.client.get(path.format(survey_id=sealed.id), headers={"Accept": "text/html"})
        if answer.status_code == 200 and "<!doctype html>" in answer.text:
            whole += 1
            assert '<p class="sealed"><strong>✓ Sealed</strong> by local user' in answer.text, path
    assert whole >= 10
