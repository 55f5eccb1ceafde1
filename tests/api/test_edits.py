"""Structures, surveys, photos and entries: entering, editing, and two people at once."""

from __future__ import annotations

import copy
import threading
from typing import Any

import httpx
import pytest

from tests.api.samples import (
    LENS,
    MARKS,
    PLACEMENT,
    READING,
    REMOVAL,
    SCALE,
    STRUCTURE,
    new_photo,
    new_survey,
    tag,
)


def test_a_structure_comes_back_as_it_was_entered(client: httpx.Client) -> None:
    """A structure is returned with its unit, a version and an address."""
    made = client.post("/api/structures", json={"units": "in", "structure": STRUCTURE})
    read = client.get(made.headers["Location"])
    assert made.status_code == 201
    assert read.json() == made.json()
    assert (
        read.json()["structure"]["members"][0]["limit"]
        == {"depth": None} | STRUCTURE["members"][0]["limit"]
    )
    assert read.headers["ETag"] == '"1"'


def test_a_structure_edit_needs_the_current_version(client: httpx.Client) -> None:
    """The first of two edits of one version wins; the second is told and changes nothing."""
    made = client.post("/api/structures", json={"units": "mm", "structure": STRUCTURE})
    address = made.headers["Location"]
    first = {"units": "mm", "structure": STRUCTURE | {"name": "First"}}
    second = {"units": "mm", "structure": STRUCTURE | {"name": "Second"}}
    won = client.put(address, json=first, headers={"If-Match": made.headers["ETag"]})
    lost = client.put(address, json=second, headers={"If-Match": made.headers["ETag"]})
    assert (won.status_code, lost.status_code) == (200, 412)
    assert won.headers["ETag"] == '"2"'
    assert client.get(address).json()["structure"]["name"] == "First"


def test_a_member_in_use_cannot_be_dropped(client: httpx.Client) -> None:
    """A structure edit that drops a member some photo names is refused and names the member."""
    survey = new_survey(client)
    photo = new_photo(client, survey)
    client.patch(f"/api/photos/{photo['id']}", json={"member": "RB1"}, headers=tag(1))
    structure = client.get(f"/api/surveys/{survey}").json()["structure_id"]
    less = copy.deepcopy(STRUCTURE)
    less["members"].pop()
    answer = client.put(
        f"/api/structures/{structure}", json={"units": "mm", "structure": less}, headers=tag(1)
    )
    assert answer.status_code == 409
    assert "'RB1'" in answer.json()["detail"]


def test_the_unit_of_a_structure_stays(client: httpx.Client) -> None:
    """Changing the unit under the surveys' numbers is refused: every length would change its meaning."""
    made = client.post("/api/structures", json={"units": "mm", "structure": STRUCTURE})
    answer = client.put(
        made.headers["Location"], json={"units": "in", "structure": STRUCTURE}, headers=tag(1)
    )
    assert answer.status_code == 409


def test_a_survey_belongs_to_a_structure_that_exists(client: httpx.Client) -> None:
    """Opening a survey on an unknown structure names the path and the value."""
    answer = client.post("/api/surveys", json={"structure_id": "0" * 32})
    assert answer.status_code == 422
    assert answer.json()["errors"][0] == {
        "path": "body.structure_id",
        "message": f"there is no structure '{'0' * 32}'",
        "value": "0" * 32,
    }


def test_a_survey_head_is_edited_by_version(client: httpx.Client) -> None:
    """Instruments and settings of a survey are replaced under its own ETag."""
    survey = new_survey(client, survey={"name": "A"})
    head = {"survey": {"name": "B"}, "instruments": [{"id": "DG-2"}], "settings": {"mark_sigma_px": 1.5}}
    done = client.put(f"/api/surveys/{survey}", json=head, headers=tag(1))
    again = client.put(f"/api/surveys/{survey}", json=head, headers=tag(1))
    assert (done.status_code, again.status_code) == (200, 412)
    read = client.get(f"/api/surveys/{survey}").json()
    assert read["survey"]["name"] == "B"
    assert read["settings"]["mark_sigma_px"] == 1.5
    assert read["units"] == "mm"


def test_photo_edits_leave_the_survey_version_alone(client: httpx.Client) -> None:
    """Editing one photo's marks does not make another person's edit of the survey's head stale."""
    survey = new_survey(client)
    photo = new_photo(client, survey)
    client.put(f"/api/photos/{photo['id']}/marks", json=MARKS, headers=tag(1))
    assert client.get(f"/api/surveys/{survey}").headers["ETag"] == '"1"'


def test_a_lens_in_use_cannot_be_dropped(client: httpx.Client) -> None:
    """A survey edit that drops a lens profile some photo names is refused."""
    survey = new_survey(client, lenses=[LENS])
    photo = new_photo(client, survey)
    named = client.patch(f"/api/photos/{photo['id']}", json={"lens": "probe-1"}, headers=tag(1))
    dropped = client.put(f"/api/surveys/{survey}", json={"lenses": []}, headers=tag(1))
    assert (named.status_code, dropped.status_code) == (200, 409)
    assert "'probe-1'" in dropped.json()["detail"]


def test_tags_change_only_what_is_given(client: httpx.Client) -> None:
    """A PATCH changes the named tags, null clears one, the rest stays."""
    photo = new_photo(client)
    address = f"/api/photos/{photo['id']}"
    tags = {"member": "SK1", "face": "inner", "station": "340B+10.25", "distance": 180.5, "zone": "334"}
    first = client.patch(address, json=tags, headers=tag(1)).json()["photo"]
    second = client.patch(address, json={"face": None, "view": "borescope"}, headers=tag(2)).json()["photo"]
    assert (first["member"], first["station"]) == ("SK1", "340B+10.25")
    assert first["distance"] == {"value": 180.5, "u": 0.0}
    assert (second["member"], second["face"], second["view"]) == ("SK1", None, "borescope")


@pytest.mark.parametrize(
    ("part", "body"),
    [("scale", SCALE), ("placement", PLACEMENT), ("marks", MARKS)],
    ids=lambda x: str(x)[:9],
)
def test_a_part_of_a_photo_is_replaced_under_its_etag(client: httpx.Client, part: str, body: Any) -> None:
    """Scale, placement and marks are each replaced, need the photo's version, and raise it."""
    photo = new_photo(client)
    address = f"/api/photos/{photo['id']}/{part}"
    missing = client.put(address, json=body)
    done = client.put(address, json=body, headers=tag(1))
    stale = client.put(address, json=body, headers=tag(1))
    assert (missing.status_code, done.status_code, stale.status_code) == (428, 200, 412)
    assert done.headers["ETag"] == '"2"'
    assert done.json()["photo"][part]


def test_null_removes_scale_and_placement(client: httpx.Client) -> None:
    """Scale and placement can be taken away again."""
    photo = new_photo(client)
    address = f"/api/photos/{photo['id']}"
    client.put(f"{address}/scale", json=SCALE, headers=tag(1))
    gone = client.put(
        f"{address}/scale", content=b"null", headers=tag(2) | {"Content-Type": "application/json"}
    )
    assert gone.status_code == 200, gone.text
    assert gone.json()["photo"]["scale"] is None


def test_an_unknown_member_is_named(client: httpx.Client) -> None:
    """A reference to a member that does not exist names the path, the value and what there is."""
    photo = new_photo(client)
    answer = client.patch(f"/api/photos/{photo['id']}", json={"member": "SKX"}, headers=tag(1))
    fault = answer.json()["errors"][0]
    assert answer.status_code == 422
    assert (fault["path"], fault["value"]) == ("body.member", "SKX")
    assert "'RB1', 'SK1'" in fault["message"]


def test_two_marks_of_one_id_are_refused(client: httpx.Client) -> None:
    """A fault that only the whole photo shows is still reported as a 422 problem."""
    photo = new_photo(client)
    answer = client.put(f"/api/photos/{photo['id']}/marks", json=[MARKS[0], MARKS[0]], headers=tag(1))
    assert answer.status_code == 422
    assert "'P1'" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("noun", "body", "part"), [("removals", REMOVAL, "removal"), ("readings", READING, "reading")]
)
def test_entries_are_added_and_edited(
    client: httpx.Client, noun: str, body: dict[str, Any], part: str
) -> None:
    """Removals and readings are added once per id, edited by version, and keep their id."""
    survey = new_survey(client)
    made = client.post(f"/api/surveys/{survey}/{noun}", json=body)
    twice = client.post(f"/api/surveys/{survey}/{noun}", json=body)
    address = made.headers["Location"]
    edited = client.put(address, json=body | {"note": "checked"}, headers=tag(1))
    stale = client.put(address, json=body, headers=tag(1))
    renamed = client.put(address, json=body | {"id": "other"}, headers=tag(2))
    lost = client.post(f"/api/surveys/{survey}/{noun}", json=body | {"id": "X", "member": "SKX"})
    codes = [answer.status_code for answer in (made, twice, edited, stale, renamed, lost)]
    assert codes == [201, 409, 200, 412, 422, 422]
    listed = client.get(f"/api/surveys/{survey}/{noun}").json()
    assert [row[part]["note"] for row in listed] == ["checked"]
    assert client.get(address).headers["ETag"] == '"2"'


def test_of_many_edits_at_once_exactly_one_wins(client: httpx.Client) -> None:
    """Eight people save marks of one version at the same moment: one 200, seven 412, no mixture."""
    photo = new_photo(client)
    address = f"/api/photos/{photo['id']}/marks"
    codes: list[int] = []
    barrier = threading.Barrier(8)

    def save(number: int) -> None:
        marks = [MARKS[0] | {"id": f"M{number}"}]
        barrier.wait()
        answer = httpx.put(str(client.base_url) + address, json=marks, headers=tag(1), timeout=60)
        codes.append(answer.status_code)

    threads = [threading.Thread(target=save, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(codes) == [200] + [412] * 7
    now = client.get(f"/api/photos/{photo['id']}").json()
    assert now["version"] == 2
    assert len(now["photo"]["marks"]) == 1


def test_an_unchanged_photo_need_not_be_sent_again(client: httpx.Client) -> None:
    """If-None-Match with the current ETag is answered 304 without a body."""
    photo = new_photo(client)
    answer = client.get(f"/api/photos/{photo['id']}", headers={"If-None-Match": '"1"'})
    assert (answer.status_code, answer.content) == (304, b"")


def test_lists_are_paged_and_counted(client: httpx.Client) -> None:
    """The lists of structures and surveys give newest first, with counts, a page at a time."""
    survey = new_survey(client, survey={"name": "Newest"})
    new_photo(client, survey)
    listed = client.get("/api/surveys", params={"limit": 1}).json()
    structures = client.get("/api/structures", params={"limit": 1}).json()
    assert [(row["id"], row["name"], row["photos"], row["waiting"]) for row in listed] == [
        (survey, "Newest", 1, 0)
    ]
    assert (structures[0]["members"], structures[0]["surveys"]) == (2, 1)
    mine = client.get("/api/surveys", params={"structure_id": structures[0]["id"]}).json()
    assert [row["id"] for row in mine] == [survey]
