"""Signatures are bound to the state they were given on; a seal takes them, and every picture."""

from __future__ import annotations

import hashlib

import httpx
import pytest

from api.sealing.statements import DEFAULT_STATEMENTS
from tests.api.samples import MARKS, picture, tag
from tests.api.sealing.conftest import Case


def test_a_signature_is_kept_as_typed(case: Case) -> None:
    """Name, certificate, statement, place and date stand in the record exactly as the person typed them."""
    case.sign("findings")
    (given,) = case.record()["signatures"]
    assert given["valid"]
    typed = ("name", "certificate_number", "certificate_kind", "statement", "place", "date", "role")
    assert [given[name] for name in typed] == [
        "Inspector A", "INV-0042", "invented licence", "I looked at it and this is what I found.",
        "Shop 2", "2031-04-24", "inspector",
    ]  # fmt: skip
    assert case.record()["standing"] == "signed"


def change_a_mark(case: Case) -> httpx.Response:
    """Move a depth by a hundredth of a millimetre."""
    photo = case.photo()
    marks = [MARKS[0], MARKS[1] | {"depths": [MARKS[1]["depths"][0] | {"value": 0.07}]}]
    url = f"/api/photos/{photo['id']}/marks"
    return case.client.put(url, json=marks, headers=tag(photo["version"]))


def change_the_limit(case: Case) -> httpx.Response:
    """Halve a member's limit."""
    found = case.client.get(f"/api/structures/{case.structure}").json()
    found["structure"]["members"][0]["limit"] = {"fraction": 0.05, "source": "Invented scheme RS-13"}
    body = {"units": found["units"], "structure": found["structure"]}
    return case.client.put(f"/api/structures/{case.structure}", json=body, headers=tag(found["version"]))


def tick_a_card(case: Case) -> httpx.Response:
    """Log a note on the first bench card."""
    card = case.get("/worklist")["cards"][0]["id"]
    body = {"who": "Bench B", "what": "note", "note": "chips under the rib"}
    return case.client.post(f"{case.url}/worklist/{card}/ticks", json=body)


def state_the_allowance(case: Case) -> httpx.Response:
    """Choose something of the planning."""
    body = {"allowance": {"depth": 0.03, "source": "Shop instruction SI-3"}}
    return case.client.put(f"{case.url}/planning", json=body, headers=tag(0))


@pytest.mark.parametrize(
    "change", [change_a_mark, change_the_limit, tick_a_card, state_the_allowance], ids=lambda f: f.__name__
)
def test_any_later_change_makes_a_signature_void(case: Case, change: object) -> None:
    """Marks, limits, the bench log and planning are all signed for; the void signature is kept as void."""
    case.sign("findings")
    assert callable(change)
    answer = change(case)
    assert answer.is_success, answer.text
    record = case.record()
    assert [one["valid"] for one in record["signatures"]] == [False]
    assert record["standing"] == "open"
    assert any("changed after the inspector signed" in words for words in record["missing"])
    assert case.seal("nothing to decide").status_code == 409
    assert case.sign("findings").status_code == 201
    assert [one["valid"] for one in case.record()["signatures"]] == [False, True]


def test_what_was_not_seen_is_not_signed(case: Case) -> None:
    """A signature that names an earlier state is refused (412) and leaves nothing behind."""
    seen = case.record()["digest"]
    assert change_a_mark(case).is_success
    assert case.sign("findings", digest=seen).status_code == 412
    assert case.record()["signatures"] == []


def test_the_same_content_has_the_same_digest(client: httpx.Client) -> None:
    """Two imports of one survey are signed for the same bytes; another depth gives other ones."""
    first, second = Case(client), Case(client)
    assert first.record()["digest"] == second.record()["digest"]
    assert change_a_mark(second).is_success
    assert first.record()["digest"] != second.record()["digest"]


def test_a_signature_needs_its_words(case: Case) -> None:
    """Without name, statement, place or date nothing is signed, and the field is named."""
    for name in ("name", "statement", "place", "date"):
        answer = case.sign("findings", **{name: "  "})
        assert answer.status_code == 422, name
        assert any(fault["path"].endswith(name) for fault in answer.json()["errors"])


def test_nobody_signs_airworthiness_here(case: Case) -> None:
    """The default texts say that this is an attachment; a statement of airworthiness is refused.

    Source: 14 CFR 43.9(a) and 43.11(a): such a statement belongs into the maintenance entry.
    """
    for words in DEFAULT_STATEMENTS.values():
        assert "airworth" not in words.lower()
        assert "attachment" in words
        assert "not the maintenance entry" in words
    for words in ("The part is airworthy.", "UNAIRWORTHY", "air-worthy"):
        answer = case.sign("findings", statement=words)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["path"] == "body.statement"


def test_a_seal_needs_every_picture(client: httpx.Client) -> None:
    """A survey whose picture is missing is not sealed; the photo is named."""
    case = Case(client, with_picture=False)
    case.sign("findings")
    refused = case.seal("nothing to decide yet")
    assert refused.status_code == 409
    assert "f1" in refused.json()["detail"]
    client.post(f"{case.url}/photos", files=[("files", ("f1.jpg", picture(7)))])
    case.sign("findings")
    assert case.seal("nothing to decide yet").status_code == 201


def test_a_seal_needs_both_signatures_or_a_reason(case: Case) -> None:
    """The inspector alone is enough only with the reason why there is no decision, which is kept."""
    assert case.seal("no need").status_code == 409
    case.sign("findings")
    assert case.seal().status_code == 409
    done = case.seal("Only looked at; the owner decides later.")
    assert done.status_code == 201
    assert done.json()["seal"]["no_decision"] == "Only looked at; the owner decides later."


def test_a_stated_decision_has_to_be_signed(case: Case) -> None:
    """Where the survey states a decision, a reason for having none is no substitute for the signature."""
    decision = {"rates": {"currency": "EUR", "hour": {"low": 80, "likely": 90, "high": 110}}}
    assert case.client.put(f"{case.url}/decision", json=decision, headers=tag(0)).is_success
    case.sign("findings")
    assert case.seal("there is none").status_code == 409
    case.sign("decision", name="Planner B")
    assert case.seal().status_code == 201


def test_the_seal_is_on_the_file_that_is_exported(sealed: Case) -> None:
    """The digest of the seal is the SHA-256 of the survey file as anybody can export it (FIPS 180-4)."""
    exported = sealed.client.get(f"{sealed.url}/file").content
    assert hashlib.sha256(exported).hexdigest() == sealed.record()["seal"]["digest"]
    assert b'"sha256"' in exported
    assert sealed.record()["missing"] == []


def test_a_reason_of_nothing_visible_is_none(case: Case) -> None:
    """Blanks and characters that a database cannot hold are no reason to seal without a decision."""
    case.sign("findings")
    assert case.seal(" \u0000 ").status_code == 409
    done = case.seal("because\u0000 of that")
    assert done.json()["seal"]["no_decision"] == "because of that"
