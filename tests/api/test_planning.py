"""Planning, decision, rules, plans and bench cards through the service."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import httpx
import pytest

from corrosion.model import parse_survey
from tests.api.samples import STRUCTURE, new_survey, picture, survey_file, tag, upload

SOURCE = "invented manual, 3-4"
PLANNING: dict[str, Any] = {
    "allowance": {"depth": 0.01, "source": SOURCE},
    "run_out": {"ratio": {"total": 20}, "source": SOURCE},
}
RULE: dict[str, Any] = {
    "id": "one",
    "label": "class 1",
    "when": [{"quantity": "limit_share", "op": "<=", "value": 1.0}],
    "action": "blend",
    "source": "invented manual",
    "edition": "rev 3",
    "paragraph": "4-1",
}
SPREAD = {"low": 1, "likely": 2, "high": 4}
DECISION: dict[str, Any] = {
    "rates": {"currency": "EUR", "hour": SPREAD},
    "actions": [
        {"id": "blend", "member": "SK1", "hours": SPREAD, "money": SPREAD, "days": SPREAD},
    ],
    "hidden": {"hours": SPREAD, "money": SPREAD, "days": SPREAD, "findings": SPREAD},
    "candidates": [{"id": "new", "kind": "new", "price": SPREAD, "days": SPREAD}],
    "draws": 1000,
}
REINFORCEMENT = {"id": "RF1", "member": "RB1", "width": 40, "length": 30, "fastener": "1/8 rivet"}
# 400 x 300 px; a bar of 200 px and 50 mm makes 0.25 mm per px.
PIT = {
    "id": "P1",
    "kind": "pit",
    "feature": "pit-1",
    "shape": {"type": "Polygon", "coordinates": [[[150, 110], [170, 110], [170, 130], [150, 130]]]},
    "depths": [{"value": 0.03, "u": 0.002, "method": "gauge"}],
}


def pitted(units: str = "mm", **parts: Any) -> dict[str, Any]:
    """Make a survey with one shallow pit on the outer face of SK1; `parts` replace fields of the file."""
    document = survey_file(units=units)
    (photo,) = document["photos"]
    # A bar's angle to the picture is known, so the placement needs no lens.
    photo |= {"marks": [PIT], "face": "outer", "station": 412.0, "size": [400, 300]}
    photo["scale"] = photo["scale"] | {"max_tilt_deg": 3}
    return document | {"removals": [], "thickness_readings": [], "planning": PLANNING} | parts


def enter(client: httpx.Client, document: dict[str, Any]) -> str:
    """Import a survey and return its id."""
    made = client.post("/api/surveys/import", json=document)
    assert made.status_code == 201, made.text
    return str(made.json()["survey"]["id"])


@pytest.mark.parametrize("units", ["mm", "in"])
def test_planning_and_decision_leave_as_they_came(client: httpx.Client, units: str) -> None:
    """A file with both parts is exported equal, and again after another import."""
    document = survey_file(units=units) | {"planning": PLANNING, "decision": DECISION}
    survey = enter(client, document)
    once = client.get(f"/api/surveys/{survey}/file").content
    assert parse_survey(once) == parse_survey(document)
    second = client.post("/api/surveys/import", content=once).json()["survey"]["id"]
    assert client.get(f"/api/surveys/{second}/file").content == once


@pytest.mark.parametrize(("part", "body"), [("planning", PLANNING), ("decision", DECISION)])
def test_parts_are_edited_by_version(client: httpx.Client, part: str, body: dict[str, Any]) -> None:
    """Version 0 until stated; each edit raises it; an old or missing version changes nothing."""
    survey = new_survey(client)
    url = f"/api/surveys/{survey}/{part}"
    first = client.get(url)
    assert (first.headers["ETag"], first.json()["version"]) == ('"0"', 0)
    assert client.put(url, json=body).status_code == 428
    made = client.put(url, json=body, headers=tag(0))
    assert (made.status_code, made.headers["ETag"]) == (200, '"1"'), made.text
    assert client.put(url, json=body, headers=tag(0)).status_code == 412
    changed = body | ({"merge": False} if part == "planning" else {"note": "again"})
    assert client.put(url, json=changed, headers=tag(1)).headers["ETag"] == '"2"'
    stored = client.get(url).json()
    name, value = ("merge", False) if part == "planning" else ("note", "again")
    assert (stored["version"], stored[part][name]) == (2, value)


def test_a_decision_can_be_taken_away(client: httpx.Client) -> None:
    """Null takes it away; the export then has none, and its result is not found."""
    survey = enter(client, survey_file() | {"decision": DECISION})
    url = f"/api/surveys/{survey}/decision"
    headers = tag(1) | {"Content-Type": "application/json"}
    gone = client.put(url, content=b"null", headers=headers)
    assert (gone.status_code, gone.json()["decision"]) == (200, None), gone.text
    assert "decision" not in client.get(f"/api/surveys/{survey}/file").json()
    assert client.get(f"{url}/result").status_code == 404


def test_an_edit_of_the_head_leaves_planning_alone(client: httpx.Client) -> None:
    """Head and planning have versions of their own, and editing one keeps the other."""
    survey = enter(client, survey_file() | {"planning": PLANNING})
    head = client.get(f"/api/surveys/{survey}").json()
    body = {name: head[name] for name in ("display_units", "survey", "settings", "instruments", "lenses")}
    assert client.put(f"/api/surveys/{survey}", json=body, headers=tag(1)).status_code == 200
    kept = client.get(f"/api/surveys/{survey}/planning").json()
    assert (kept["version"], kept["planning"]["allowance"]) == (1, PLANNING["allowance"])


def test_a_member_that_planning_names_stays(client: httpx.Client) -> None:
    """Planning facts of a member that is not there are refused."""
    survey = new_survey(client)
    url = f"/api/surveys/{survey}/planning"
    facts = [{"member": "SK9", "critical": True, "source": SOURCE}]
    refused = client.put(url, json=PLANNING | {"facts": facts}, headers=tag(0))
    assert refused.status_code == 422
    assert "SK9" in refused.json()["detail"]


@pytest.mark.parametrize(
    ("part", "chosen"),
    [
        ("planning", PLANNING | {"facts": [{"member": "RB1", "critical": True, "source": SOURCE}]}),
        ("planning", PLANNING | {"reinforcements": [REINFORCEMENT]}),
        ("decision", DECISION | {"actions": [{"id": "rib", "member": "RB1"}]}),
    ],
    ids=["facts", "reinforcements", "actions"],
)
def test_the_structure_keeps_what_plan_and_decision_name(
    client: httpx.Client, part: str, chosen: dict[str, Any]
) -> None:
    """The structure may not drop a member that facts, reinforcements or actions of a survey name."""
    survey = new_survey(client)
    kept = client.put(f"/api/surveys/{survey}/{part}", json=chosen, headers=tag(0))
    assert kept.status_code == 200, kept.text
    structure = client.get(f"/api/surveys/{survey}").json()["structure_id"]
    fewer = {"units": "mm", "structure": STRUCTURE | {"members": STRUCTURE["members"][:1]}}
    dropped = client.put(f"/api/structures/{structure}", json=fewer, headers=tag(1))
    assert dropped.status_code == 409
    assert "RB1" in dropped.json()["detail"]
    assert client.get(f"/api/surveys/{survey}/file").status_code == 200


@pytest.mark.parametrize("field", ["source", "edition", "paragraph"])
@pytest.mark.parametrize("missing", [True, False], ids=["left out", "blank"])
def test_a_rule_without_its_source_is_refused(client: httpx.Client, field: str, missing: bool) -> None:
    """No source, edition or paragraph, or a blank one: 422 with the field's path, and nothing stored."""
    survey = new_survey(client)
    rule = {name: value for name, value in RULE.items() if name != field}
    rule = rule if missing else RULE | {field: "  "}
    answer = client.put(f"/api/surveys/{survey}/rules", json={"rules": [rule]}, headers=tag(0))
    assert answer.status_code == 422
    assert any(fault["path"].endswith(field) for fault in answer.json()["errors"])
    assert client.get(f"/api/surveys/{survey}/rules").json()["version"] == 0


def test_rules_are_part_of_the_planning(client: httpx.Client) -> None:
    """Rules are edited alone, keep the rest of the planning, and share its version."""
    survey = enter(client, pitted())
    url = f"/api/surveys/{survey}/rules"
    made = client.put(url, json={"rules": [RULE]}, headers=tag(1)).json()
    assert [row["id"] for row in made["in_force"]] == ["one"]
    planning = client.get(f"/api/surveys/{survey}/planning").json()
    assert (planning["version"], planning["planning"]["allowance"]) == (2, PLANNING["allowance"])
    chosen = client.put(url, json={"rule_set": "example-empennage"}, headers=tag(2)).json()
    assert chosen["rules"] == []
    assert {row["source"] for row in chosen["in_force"]} == {"TM 1-1520-238-23"}
    both = {"rules": [RULE], "rule_set": "example-empennage"}
    assert client.put(url, json=both, headers=tag(3)).status_code == 422
    assert client.put(url, json={"rule_set": "none"}, headers=tag(3)).status_code == 422


def test_the_plan_states_its_figures(client: httpx.Client) -> None:
    """Pit 0.03, U 0.004, allowance 0.01: planned 0.044 mm; both ways of the ratio; limit 10 % of 1.02."""
    survey = enter(client, pitted())
    member = client.get(f"/api/surveys/{survey}/plan").json()["members"][0]
    (blend,) = member["blends"]
    assert blend["depth"]["value"] == pytest.approx(0.044)
    assert (blend["run_out"]["total"], blend["run_out"]["per_side"]) == (20.0, 10.0)
    assert blend["after"]["limit"]["value"] == pytest.approx(0.102)
    assert blend["verdict"] == "within"
    assert blend["footprint"]["type"] == "Polygon"
    assert blend["sites"][0]["finding"] == "pit-1"


def test_a_change_of_planning_changes_what_follows(client: httpx.Client) -> None:
    """A larger allowance makes the plan over its limit at once, and the ETag another one."""
    survey = enter(client, pitted())
    url = f"/api/surveys/{survey}/disposition"
    before = client.get(url)
    assert client.get(url, headers={"If-None-Match": before.headers["ETag"]}).status_code == 304
    assert before.json()["members"][0]["findings"][0]["action"] == "blend"
    body = PLANNING | {"allowance": {"depth": 0.2, "source": SOURCE}}
    client.put(f"/api/surveys/{survey}/planning", json=body, headers=tag(1))
    after = client.get(url, headers={"If-None-Match": before.headers["ETag"]})
    assert after.status_code == 200
    finding = after.json()["members"][0]["findings"][0]
    assert finding["action"] == "not determined"
    assert finding["reasons"]


def test_the_unseen_area_says_why_it_is_refused(client: httpx.Client) -> None:
    """One pit makes no statistics: every face is listed, each refusal with its reason."""
    survey = enter(client, pitted())
    faces = client.get(f"/api/surveys/{survey}/unseen").json()["faces"]
    assert [(one["member"], one["face"]) for one in faces] == [
        (member, face) for member in ("SK1", "RB1") for face in ("outer", "inner")
    ]
    assert all(one["median_mm"] is None and one["reason"] and one["words"] for one in faces)


def test_the_decision_compares_and_draws(client: httpx.Client) -> None:
    """Options, drivers, break-even and words come back; the same seed gives the same answer; plots draw."""
    survey = enter(client, pitted(decision=DECISION))
    url = f"/api/surveys/{survey}/decision"
    result = client.get(f"{url}/result").json()
    assert [option["id"] for option in result["options"]] == ["repair", "new"]
    assert 0.0 <= result["comparisons"][0]["repair_cheaper"]["value"] <= 1.0
    assert result["comparisons"][0]["break_even"] is not None
    assert result["drivers"]
    assert any("licensed person" in line for line in result["words"])
    for plot in ("money", "days", "drivers", "break-even"):
        drawn = client.get(f"{url}/plot.svg", params={"plot": plot})
        assert (drawn.status_code, drawn.headers["content-type"]) == (200, "image/svg+xml")
        assert "script" not in drawn.headers["content-security-policy"]


def test_a_plot_without_figures_says_so(client: httpx.Client) -> None:
    """Without rates the repair has no price: the break-even plot is refused with the reason, not drawn."""
    bare = DECISION | {"rates": {"currency": "EUR"}}
    survey = enter(client, pitted(decision=bare))
    answer = client.get(f"/api/surveys/{survey}/decision/plot.svg", params={"plot": "break-even"})
    assert answer.status_code == 422
    assert "not determined" in answer.json()["detail"]


def test_a_candidate_is_looked_up_by_its_survey(client: httpx.Client) -> None:
    """A second-hand part surveyed here counts its own unseen area; editing it changes the answer's tag."""
    part = enter(client, pitted())
    candidate = {"id": "used", "kind": "second-hand", "price": SPREAD, "days": SPREAD, "survey": part}
    hidden = dict.fromkeys(("hours", "money", "days"), SPREAD)
    survey = enter(client, pitted(decision=DECISION | {"candidates": [candidate], "hidden": hidden}))
    url = f"/api/surveys/{survey}/decision/result"
    first = client.get(url)
    used = first.json()["options"][1]
    assert used["money"] is not None, used["reasons"]
    head = client.get(f"/api/surveys/{part}").json()
    body = {name: head[name] for name in ("display_units", "survey", "settings", "instruments", "lenses")}
    client.put(f"/api/surveys/{part}", json=body | {"display_units": "mm"}, headers=tag(1))
    removal = {"id": "Z", "member": "SK1", "face": "outer", "depth": {"value": 0.01, "u": 0.001}}
    shape = {
        "footprint": {"type": "Circle", "center": [100, 100], "radius": 5},
        "measured_from": "original",
    }
    assert client.post(f"/api/surveys/{part}/removals", json=removal | shape).status_code == 201
    assert client.get(url).headers["ETag"] != first.headers["ETag"]


def test_a_candidate_that_is_not_here_is_said(client: httpx.Client) -> None:
    """A survey that is not in the service leaves the candidate not determined, with its reason."""
    candidate = {"id": "used", "kind": "second-hand", "price": SPREAD, "days": SPREAD, "survey": "nowhere"}
    survey = enter(client, pitted(decision=DECISION | {"candidates": [candidate]}))
    used = client.get(f"/api/surveys/{survey}/decision/result").json()["options"][1]
    assert used["money"] is None
    assert used["reasons"]


def test_cards_are_ticked_and_the_log_only_grows(client: httpx.Client) -> None:
    """Who, what and when are kept in order; no route changes or deletes a line."""
    survey = enter(client, pitted())
    url = f"/api/surveys/{survey}/worklist"
    first = client.get(url)
    (card,) = first.json()["cards"]
    assert (card["kind"], card["ticks"]) == ("blend", [])
    ticks = f"{url}/{card['id']}/ticks"
    moment = "2031-04-23T14:05:00+02:00"
    one = client.post(ticks, json={"who": "Inspector A", "what": "blended", "when": moment})
    assert one.status_code == 201, one.text
    assert datetime.fromisoformat(one.json()["when"]) == datetime(2031, 4, 23, 12, 5, tzinfo=UTC)
    client.post(ticks, json={"who": "Inspector B", "what": "re-measured", "note": "0.044, DG-2"})
    again = client.get(url, headers={"If-None-Match": first.headers["ETag"]})
    assert [line["what"] for line in again.json()["cards"][0]["ticks"]] == ["blended", "re-measured"]
    assert all(line["current"] for line in again.json()["cards"][0]["ticks"])
    for method in ("PUT", "PATCH", "DELETE"):
        assert client.request(method, ticks, json={}).status_code == 405


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"who": "A", "what": "faired"}, 422),
        ({"who": "  ", "what": "blended"}, 422),
        ({"what": "blended"}, 422),
        ({"who": "A", "what": "blended", "when": "2031-04-23T14:05:00"}, 422),
        ({"who": "A", "what": "stopped"}, 201),
    ],
)
def test_a_tick_names_a_step_a_person_and_a_time(
    client: httpx.Client, body: dict[str, Any], status: int
) -> None:
    """A step the card has not, nobody's name, a time without a zone are refused; stopping never is."""
    survey = enter(client, pitted())
    (card,) = client.get(f"/api/surveys/{survey}/worklist").json()["cards"]
    answer = client.post(f"/api/surveys/{survey}/worklist/{card['id']}/ticks", json=body)
    assert answer.status_code == status, answer.text


def test_a_held_card_cannot_be_blended(client: httpx.Client) -> None:
    """Over its limit, the card has no step to blend and no plan to keep."""
    over = PLANNING | {"allowance": {"depth": 0.2, "source": SOURCE}}
    survey = enter(client, pitted(planning=over))
    url = f"/api/surveys/{survey}/worklist"
    (card,) = client.get(url).json()["cards"]
    assert card["kind"] == "hold, do not blend"
    tick = client.post(f"{url}/{card['id']}/ticks", json={"who": "A", "what": "blended"})
    keep = client.post(f"{url}/{card['id']}/keep")
    assert (tick.status_code, keep.status_code) == (422, 422)
    assert client.post(f"{url}/nothing/ticks", json={"who": "A", "what": "note"}).status_code == 404


def test_ticks_of_another_task_are_told_apart(client: httpx.Client) -> None:
    """After the allowance changed the line is no longer current; it stays readable."""
    survey = enter(client, pitted())
    url = f"/api/surveys/{survey}/worklist"
    (card,) = client.get(url).json()["cards"]
    client.post(f"{url}/{card['id']}/ticks", json={"who": "A", "what": "recorded"})
    body = PLANNING | {"allowance": {"depth": 0.012, "source": SOURCE}}
    client.put(f"/api/surveys/{survey}/planning", json=body, headers=tag(1))
    (line,) = client.get(url).json()["cards"][0]["ticks"]
    assert (line["what"], line["current"]) == ("recorded", False)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_kept_plan_is_a_planned_removal(client: httpx.Client, units: str) -> None:
    """It is stored in the survey's own unit, counts in no sum, and is kept once."""
    k = 1.0 if units == "mm" else 1.0 / 25.4
    deep = {"value": 0.03 * k, "u": 0.002 * k, "method": "gauge"}
    document = pitted(units, planning=PLANNING | {"allowance": {"depth": 0.01 * k, "source": SOURCE}})
    document["photos"][0]["marks"] = [PIT | {"depths": [deep]}]
    survey = enter(client, document)
    url = f"/api/surveys/{survey}/worklist"
    (card,) = client.get(url).json()["cards"]
    kept = client.post(f"{url}/{card['id']}/keep")
    assert kept.status_code == 201, kept.text
    removal = kept.json()["removal"]
    assert (removal["id"], removal["origin"]) == (card["id"], "planned")
    assert removal["depth"]["value"] == pytest.approx(0.044 * k)
    assert client.post(f"{url}/{card['id']}/keep").status_code == 409
    assert client.get(url).json()["cards"][0]["kept"] is True
    assert client.get(f"/api/surveys/{survey}/assessment").json()["members"][0]["deepest"] is None


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_work_list_is_printed(client: httpx.Client, paper: str) -> None:
    """A PDF comes back on either paper, with the photo's crop once its picture is here."""
    survey = enter(client, pitted())
    url = f"/api/surveys/{survey}/worklist.pdf"
    bare = client.get(url, params={"paper": paper})
    assert (bare.status_code, bare.headers["content-type"]) == (200, "application/pdf")
    assert bare.content.startswith(b"%PDF-")
    upload(client, survey, ("f1.jpg", picture(77)))
    assert len(client.get(url, params={"paper": paper}).content) > len(bare.content)
    assert client.get(url, params={"paper": "a0"}).status_code == 422


@pytest.mark.parametrize(
    "path",
    ["planning", "decision", "rules", "plan", "disposition", "unseen", "decision/result", "worklist"],
)
def test_there_is_nothing_of_no_survey(client: httpx.Client, path: str) -> None:
    """A survey that is not there is 404 everywhere."""
    assert client.get(f"/api/surveys/nothing/{path}").status_code == 404
