"""The history in plain words."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from api.history.chain import HistoryEntry
from api.history.diff import changes
from api.history.words import KINDS, say, subject
from api.routes.history import Kind
from tests.api.samples import MARKS, READING, REMOVAL, STRUCTURE

PHOTO: dict[str, Any] = {"key": "f3", "version": 1, "document": {"id": "f3", "marks": MARKS, "note": ""}}


def line(table: str, before: Any, after: Any, action: Any = "changed") -> HistoryEntry:
    """Make a line of a change between two rows."""
    old, new = changes(before or {}, after or {})
    moment = datetime(2031, 4, 17, tzinfo=UTC)
    return HistoryEntry(
        1, moment, "k", "A", "local", table, "r", "s", None, action,
        old if before else None, new if after else None, "", "",
    )  # fmt: skip


def photo(**changed: Any) -> dict[str, Any]:
    """Make the photo with some fields of its document changed."""
    return PHOTO | {"version": 2, "document": PHOTO["document"] | changed}


DEEPER = MARKS[0] | {"depths": [MARKS[0]["depths"][0] | {"value": 0.34}]}
MOVED = MARKS[0] | {"shape": {"type": "Polygon", "coordinates": [[[n, n * n / 7] for n in range(30)]]}}


@pytest.mark.parametrize(
    ("after", "headline", "details"),
    [
        (photo(marks=[DEEPER, MARKS[1]]), "Marks of photo f3 changed", ["P1 depth 0.31 → 0.34 mm"]),
        (photo(marks=MARKS[:1]), "Marks of photo f3 changed", ["B1 (blend-out) taken out"]),
        (
            photo(marks=[*MARKS, {"id": "P2", "kind": "pit"}]),
            "Marks of photo f3 changed",
            ["P2 (pit) added"],
        ),
        (photo(marks=[MOVED, MARKS[1]]), "Marks of photo f3 changed", ["P1 outline changed"]),
        (photo(marks=MARKS[::-1]), "Marks of photo f3 changed", ["order of marks changed"]),
        (photo(note="wet", marks=[]), "Marks and note of photo f3 changed", None),
        (photo(station="340B+10.25"), "Photo f3 changed", ["station 340B+10.25"]),
    ],
)
def test_changes_of_a_photo(after: Any, headline: str, details: list[str] | None) -> None:
    """The headline names the part and the photo, the details what became of each mark."""
    said = say(line("photos", PHOTO, after), "photo f3", "mm")
    assert said.headline == headline
    assert details is None or said.details == details


def test_other_rows() -> None:
    """Additions tell the few things one asks first; withdrawals and takeovers say what they are."""
    added = say(
        line("removals", None, {"key": "R1", "document": REMOVAL}, "added"), "rework entry R1", "mm"
    )
    assert added.headline == "Rework entry R1 added"
    assert added.details == ["member SK1", "date 2030-02-01", "depth 0.05 mm"]
    reading = {"key": "T1", "document": READING}
    found = say(line("readings", None, reading, "as found"), "thickness reading T1", "in")
    assert found.headline == "Thickness reading T1 was here when the history began"
    assert found.details == ["member SK1", "thickness 0.97 in"]
    gone = line("photos", PHOTO, PHOTO | {"withdrawn_at": "x", "withdrawn_reason": "blurred"}, "withdrawn")
    assert say(gone, "photo f3", "mm").headline == "Photo f3 withdrawn"
    structure = {"name": "Stabilizer", "document": STRUCTURE}
    members = [STRUCTURE["members"][0] | {"thickness": 1.0}, STRUCTURE["members"][1]]
    thinner = say(
        line("structures", structure, structure | {"document": STRUCTURE | {"members": members}}),
        "structure S",
        "mm",
    )
    assert (thinner.headline, thinner.details) == (
        "Members of structure S changed",
        ["SK1 thickness 1.02 → 1 mm"],
    )
    assert subject("photos", {"key": "f3"}) == "photo f3"


def test_rows_of_a_record() -> None:
    """A signature says who signed as what, a seal that it was sealed, a revision what it revises."""
    typed = {"name": "A. B.", "certificate_number": "7", "certificate_kind": "licence", "place": "Shop 2"}
    signed = say(line("signatures", None, {"role": "inspector", "document": typed}, "added"), "", "mm")
    assert signed.headline == "Signed by A. B. as inspector"
    assert signed.details == ["certificate licence 7", "at Shop 2"]
    assert say(line("seals", None, {"digest": "ab"}, "added"), "seal", "mm").headline == "Survey sealed"
    cited = {"kind": "revises", "cited_name": "First look", "cited_revision": 1, "reason": "wrong gauge"}
    opened = say(line("citations", None, cited, "added"), "", "mm")
    assert opened.headline == "Opened as a revision of First look, revision 1"
    assert opened.details == ["reason wrong gauge"]
    account = {"name": "ada", "disabled_at": None, "password_hash": {"sha256": "a"}}
    off = say(line("accounts", account, account | {"disabled_at": "2031"}), "account ada", "mm")
    assert off.headline == "Account ada disabled"
    new = say(line("accounts", account, account | {"password_hash": {"sha256": "b"}}), "account ada", "mm")
    assert (new.headline, new.details) == ("Account ada changed", ["password changed"])


def test_the_kinds_to_choose_from_are_the_api_s() -> None:
    """The page and the API narrow the history by the same kinds."""
    assert set(KINDS) == set(Kind.__args__)  # type: ignore[attr-defined]


def test_decisions_about_suggested_outlines() -> None:
    """A line says how an outline was found, and which mark it became or that it was dropped."""
    row = {"key": "S3", "photo_key": "f3", "kind": "pit", "state": "open", "asked": "sweep", "score": 0.5}
    name = subject("proposals", row)
    assert name == "suggested outline S3 of photo f3"
    assert say(line("proposals", None, row, "added"), name, "mm").details[:2] == [
        "kind pit",
        "found by a sweep",
    ]
    accepted = row | {"state": "accepted", "mark": "P1", "edited": True}
    said = say(line("proposals", row, accepted), name, "mm")
    assert said.headline == "Suggested outline S3 of photo f3 accepted as mark P1, edited"
    dropped = say(line("proposals", row, row | {"state": "dropped"}), name, "mm")
    assert dropped.headline == "Suggested outline S3 of photo f3 dropped"
