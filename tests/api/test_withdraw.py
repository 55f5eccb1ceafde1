"""What was entered wrongly is withdrawn: out of everything the survey says, and never lost."""

from __future__ import annotations

import copy
import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from tests.api.samples import (
    MARKS,
    READING,
    REMOVAL,
    STRUCTURE,
    new_photo,
    new_survey,
    picture,
    tag,
    upload,
)

ENTRIES = pytest.mark.parametrize(
    ("noun", "part", "body"), [("removals", "removal", REMOVAL), ("readings", "reading", READING)]
)
RIB_SPOT = {"type": "Circle", "center": [200, 60], "radius": 12.0}
LISTED_AS = {"removals": "removals", "readings": "thickness_readings", "photos": "photos"}


def entered(client: httpx.Client, noun: str, body: dict[str, Any]) -> tuple[str, str]:
    """Enter a removal or reading into a new survey; return the survey and the entry's address."""
    survey = new_survey(client)
    made = client.post(f"/api/surveys/{survey}/{noun}", json=body)
    assert made.status_code == 201, made.text
    return survey, made.headers["Location"]


def exported(client: httpx.Client, survey: str, noun: str) -> list[Any]:
    """Read a list of the exported file."""
    found: list[Any] = client.get(f"/api/surveys/{survey}/file").json().get(LISTED_AS[noun], [])
    return found


@ENTRIES
def test_a_withdrawn_entry_is_out_of_lists_and_export(
    client: httpx.Client, noun: str, part: str, body: dict[str, Any]
) -> None:
    """After a withdrawal neither the list nor the exported file has the entry; its address is 410."""
    survey, address = entered(client, noun, body)
    before = (len(client.get(f"/api/surveys/{survey}/{noun}").json()), len(exported(client, survey, noun)))
    gone = client.delete(address, headers=tag(1))
    after = (client.get(f"/api/surveys/{survey}/{noun}").json(), exported(client, survey, noun))
    assert before == (1, 1)
    assert (gone.status_code, gone.content) == (204, b"")
    assert after == ([], [])
    assert client.get(address).status_code == 410


@ENTRIES
def test_a_withdrawn_entry_is_kept_with_time_and_reason(
    client: httpx.Client, noun: str, part: str, body: dict[str, Any]
) -> None:
    """Nothing is deleted: the whole entry stays readable, with when (UTC) and why it was taken back."""
    survey, address = entered(client, noun, body)
    stored = client.get(address).json()[part]
    reason = "Falsche Stelle; gehört zu RB1 — ½ bay off"
    started = datetime.now(UTC)
    client.delete(address, headers=tag(1), params={"reason": reason})
    (kept,) = client.get(f"/api/surveys/{survey}/withdrawn").json()
    assert kept["part"] == stored
    assert (kept["kind"], kept["reason"], kept["survey_id"]) == (part, reason, survey)
    assert address.endswith(kept["id"])
    at = datetime.fromisoformat(kept["withdrawn_at"])
    assert at.utcoffset() == timedelta(0)
    assert started <= at <= datetime.now(UTC)
    assert reason in client.get(address).json()["detail"]


@ENTRIES
def test_the_id_of_a_withdrawn_entry_is_free_again(
    client: httpx.Client, noun: str, part: str, body: dict[str, Any]
) -> None:
    """The right entry may take the wrong one's id, be withdrawn too, and both are kept."""
    survey, address = entered(client, noun, body)
    taken = client.post(f"/api/surveys/{survey}/{noun}", json=body)
    client.delete(address, headers=tag(1), params={"reason": "first"})
    right = client.post(f"/api/surveys/{survey}/{noun}", json=body | {"note": "right"})
    assert (taken.status_code, right.status_code) == (409, 201)
    assert [row["note"] for row in exported(client, survey, noun)] == ["right"]
    assert client.post(f"/api/surveys/{survey}/{noun}", json=body).status_code == 409
    client.delete(right.headers["Location"], headers=tag(1), params={"reason": "second"})
    kept = client.get(f"/api/surveys/{survey}/withdrawn").json()
    assert [(row["part"]["id"], row["reason"]) for row in kept] == [
        (body["id"], "second"),
        (body["id"], "first"),
    ]


@pytest.mark.parametrize("noun", ["removals", "readings", "photos"])
def test_a_withdrawal_needs_the_current_version(client: httpx.Client, noun: str) -> None:
    """Without If-Match 428, with an old one 412, of what is not there 404, a second time 410."""
    if noun == "photos":
        address = f"/api/photos/{new_photo(client)['id']}"
        edited = client.patch(address, json={"note": "checked"}, headers=tag(1))
    else:
        body = REMOVAL if noun == "removals" else READING
        _, address = entered(client, noun, body)
        edited = client.put(address, json=body | {"note": "checked"}, headers=tag(1))
    assert edited.status_code == 200
    answers = [
        client.delete(address),
        client.delete(address, headers={"If-Match": "*"}),
        client.delete(address, headers=tag(1)),
        client.delete(address, headers=tag(2), params={"reason": "x" * 401}),
        client.delete(f"/api/{noun}/{'0' * 32}", headers=tag(1)),
    ]
    assert [answer.status_code for answer in answers] == [428, 428, 412, 422, 404]
    assert client.get(address).status_code == 200
    last = [client.delete(address, headers=tag(version)).status_code for version in (2, 2, 3)]
    assert last == [204, 410, 410]


def test_a_withdrawn_entry_cannot_be_edited(client: httpx.Client) -> None:
    """An edit that was on its way when the entry was withdrawn is refused, with the reason."""
    _, address = entered(client, "removals", REMOVAL)
    client.delete(address, headers=tag(1), params={"reason": "other side"})
    answers = [client.put(address, json=REMOVAL, headers=tag(version)) for version in (1, 2)]
    assert [answer.status_code for answer in answers] == [410, 410]
    assert answers[0].headers["Content-Type"] == "application/problem+json"
    assert "other side" in answers[0].json()["detail"]


def test_the_sum_is_counted_again_without_it(client: httpx.Client) -> None:
    """What is removed at the spot falls from the entry's depth to nothing, also in kept results."""
    survey, address = entered(client, "removals", REMOVAL)
    at: dict[str, str | int] = {"member": "SK1", "station": "412", "offset": 130}
    tags, sums = [], []
    for _ in range(2):
        tags.append(client.get(f"/api/surveys/{survey}/assessment").headers["ETag"])
        sums.append(client.get(f"/api/surveys/{survey}/spot", params=at).json()["spot"]["removed"]["value"])
        client.delete(address, headers=tag(1))
    assert sums == [pytest.approx(REMOVAL["depth"]["value"], rel=1e-9), 0.0]
    assert tags[0] != tags[1]


def test_a_withdrawn_reading_governs_nothing(client: httpx.Client) -> None:
    """A reading of much less metal than the entries tell makes the spot worse only until withdrawn."""
    survey, address = entered(client, "readings", READING | {"value": 0.5})
    whole = client.get(f"/api/surveys/{survey}/assessment").json()
    client.delete(address, headers=tag(1))
    without = client.get(f"/api/surveys/{survey}/assessment").json()
    empty = client.get(f"/api/surveys/{new_survey(client)}/assessment").json()
    assert whole["members"] != without["members"]
    assert without["members"] == empty["members"]


def test_a_withdrawn_photo_is_out_and_its_original_stays(client: httpx.Client) -> None:
    """A photo uploaded by mistake leaves lists, counts, export and assessment; its bytes stay stored."""
    survey, other = new_survey(client), new_survey(client)
    data = picture(60)
    photo = upload(client, survey, ("a.jpg", data), member="RB1")[0]["photo"]
    twin = upload(client, other, ("a.jpg", data))[0]["photo"]
    address = f"/api/photos/{photo['id']}"
    client.put(f"{address}/marks", json=MARKS, headers=tag(1))
    gone = client.delete(address, headers=tag(2), params={"reason": "my thumb"})
    assert gone.status_code == 204
    assert client.get(f"/api/surveys/{survey}/photos").json() == []
    assert exported(client, survey, "photos") == []
    listed = {row["id"]: row["photos"] for row in client.get("/api/surveys").json()}
    assert (listed[survey], listed[other]) == (0, 1)
    assert client.get(f"/api/surveys/{survey}/assessment").json()["photos"] == []
    for kind in ("", "/original", "/picture", "/preview", "/thumbnail", "/measures"):
        assert client.get(address + kind).status_code == 410, kind
    assert client.get(twin["picture"]["original"]).content == data
    (kept,) = client.get(f"/api/surveys/{survey}/withdrawn").json()
    assert (kept["kind"], kept["part"]["sha256"]) == ("photo", photo["picture"]["sha256"])
    assert [mark["id"] for mark in kept["part"]["marks"]] == [mark["id"] for mark in MARKS]


def test_the_same_file_may_be_uploaded_again(client: httpx.Client) -> None:
    """After a withdrawal the same bytes are a new photo with the same id and no marks, not a duplicate."""
    survey = new_survey(client)
    files = ("a.jpg", picture(61))
    first = upload(client, survey, files)[0]["photo"]
    client.put(f"/api/photos/{first['id']}/marks", json=MARKS, headers=tag(1))
    client.delete(f"/api/photos/{first['id']}", headers=tag(2))
    again, twice = upload(client, survey, files)[0], upload(client, survey, files)[0]
    assert (again["status"], twice["status"]) == ("stored", "duplicate")
    assert again["photo"]["id"] != first["id"]
    assert again["photo"]["photo"]["id"] == first["photo"]["id"]
    assert again["photo"]["photo"]["marks"] == []
    assert client.get(again["photo"]["picture"]["original"]).content == picture(61)


def test_a_withdrawn_photo_waits_for_no_picture(client: httpx.Client) -> None:
    """A photo of an imported file is no longer waited for once withdrawn: the picture is a new photo."""
    document = {
        "format": "corrosion-survey",
        "version": 1,
        "units": "mm",
        "structure": STRUCTURE,
        "photos": [{"id": "f1", "file": "photos/f1.jpg"}, {"id": "f2", "file": "photos/f2.jpg"}],
    }
    survey = client.post("/api/surveys/import", json=document).json()["survey"]["id"]
    one, _ = client.get(f"/api/surveys/{survey}/photos").json()
    client.delete(f"/api/photos/{one['id']}", headers=tag(1))
    (summary,) = [row for row in client.get("/api/surveys").json() if row["id"] == survey]
    assert (summary["photos"], summary["waiting"]) == (1, 1)
    taken = upload(client, survey, ("f1.jpg", picture(62)), ("f2.jpg", picture(63)))
    assert [row["status"] for row in taken] == ["stored", "matched"]


def test_a_member_that_only_withdrawn_entries_name_may_go(client: httpx.Client) -> None:
    """What was withdrawn holds no member of the structure in place; it stays readable all the same."""
    survey, address = entered(client, "removals", REMOVAL | {"member": "RB1", "footprint": RIB_SPOT})
    structure = client.get(f"/api/surveys/{survey}").json()["structure_id"]
    less = copy.deepcopy(STRUCTURE)
    less["members"].pop()
    body = {"units": "mm", "structure": less}
    held = client.put(f"/api/structures/{structure}", json=body, headers=tag(1))
    client.delete(address, headers=tag(1))
    free = client.put(f"/api/structures/{structure}", json=body, headers=tag(1))
    assert (held.status_code, free.status_code) == (409, 200)
    assert client.get(f"/api/surveys/{survey}/withdrawn").json()[0]["part"]["member"] == "RB1"
    assert client.get(f"/api/surveys/{survey}/file").status_code == 200


def test_of_an_edit_and_withdrawals_at_once_exactly_one_wins(client: httpx.Client) -> None:
    """Six withdrawals and an edit of one version at the same moment: one succeeds, the rest are told."""
    survey, address = entered(client, "removals", REMOVAL)
    barrier = threading.Barrier(7)
    codes: list[int] = []

    def send(*, edits: bool) -> None:
        url = str(client.base_url) + address
        barrier.wait()
        if edits:
            answer = httpx.put(url, json=REMOVAL | {"note": "x"}, headers=tag(1), timeout=60)
        else:
            answer = httpx.delete(url, headers=tag(1), timeout=60)
        codes.append(answer.status_code)

    threads = [threading.Thread(target=send, kwargs={"edits": n == 3}) for n in range(7)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    edited = 200 in codes
    assert sorted(codes) == ([200] + [412] * 6 if edited else [204] + [410] * 6)
    assert len(client.get(f"/api/surveys/{survey}/removals").json()) == int(edited)


def test_another_site_cannot_withdraw(client: httpx.Client) -> None:
    """A DELETE that a page of another site sends is refused, and nothing is withdrawn."""
    _, address = entered(client, "removals", REMOVAL)
    foreign = tag(1) | {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": "cross-site"}
    assert client.delete(address, headers=foreign).status_code == 403
    assert client.get(address).status_code == 200
