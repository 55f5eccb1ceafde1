"""What follows on a sealed survey: a revision that corrects it, the next survey that goes on from it."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

from tests.api.samples import MARKS, tag
from tests.api.sealing.conftest import Case


def survey_of(case: Case) -> dict[str, Any]:
    """Read a survey as a file, with all hashes and sizes."""
    return case.get("/file?hashes=true")


def follow(case: Case, what: str, **body: str) -> Case:
    """Open a revision or the next survey and return it."""
    answer = case.client.post(f"{case.url}/{what}", json=body)
    assert answer.status_code == 201, answer.text
    after = Case.__new__(Case)
    after.client, after.id = case.client, answer.json()["survey"]["id"]
    after.structure = answer.json()["survey"]["structure_id"]
    return after


def test_a_revision_is_a_full_copy_that_cites(client: httpx.Client) -> None:
    """It holds all that the sealed file holds, shares the stored pictures, and names what it corrects."""
    case = Case(client)
    card = case.get("/worklist")["cards"][0]["id"]
    note = {"who": "Bench B", "what": "note", "note": "chips"}
    client.post(f"{case.url}/worklist/{card}/ticks", json=note)
    sealed = case.sealed()
    digest = sealed.record()["seal"]["digest"]
    revision = follow(sealed, "revisions", reason="Depth of B1 read with the wrong gauge")
    theirs, ours = survey_of(sealed), survey_of(revision)
    assert ours.pop("survey") == theirs.pop("survey") | {"name": "First look (revision 2)"}
    assert ours == theirs
    photo = revision.photo()
    assert photo["picture"]["sha256"] == sealed.photo()["picture"]["sha256"]
    assert client.get(f"/api/photos/{photo['id']}/original").status_code == 200
    (tick,) = [one for card in revision.get("/worklist")["cards"] for one in card["ticks"]]
    assert tick["note"] == "chips"
    record = revision.record()
    assert (record["revision"], record["standing"], record["signatures"]) == (2, "open", [])
    assert record["revises"] == {
        "survey_id": sealed.id,
        "name": "First look",
        "revision": 1,
        "digest": digest,
        "reason": "Depth of B1 read with the wrong gauge",
    }


def test_the_old_one_is_superseded_by_the_sealed_revision(client: httpx.Client) -> None:
    """It points on from the start, counts as superseded once the revision is sealed, and stays readable."""
    first = Case(client).sealed()
    before = client.get(f"{first.url}/file").content
    second = follow(first, "revisions", reason="typing error")
    assert (first.record()["standing"], first.record()["revised_by"]) == ("sealed", second.id)
    refused = client.put(first.url, json={"survey": {"name": "x"}}, headers=tag(1)).json()
    assert second.id in refused["remedy"]
    photo = second.photo()
    marks = client.put(f"/api/photos/{photo['id']}/marks", json=MARKS[1:], headers=tag(photo["version"]))
    assert marks.status_code == 200
    second.sealed()
    assert first.record()["standing"] == "superseded"
    third = follow(second, "revisions", reason="another")
    assert third.record()["revision"] == 3
    assert third.get("")["survey"]["name"] == "First look (revision 3)"
    assert client.get(f"{first.url}/file").content == before


@pytest.mark.parametrize("what", ["revisions", "next"])
def test_only_a_sealed_survey_that_nothing_revises_is_followed(client: httpx.Client, what: str) -> None:
    """An open survey is corrected as it is; a revised one is followed from its revision."""
    case = Case(client)
    body = {"reason": "because"} if what == "revisions" else {}
    assert case.client.post(f"{case.url}/{what}", json=body).status_code == 409
    case.sealed()
    second = follow(case, "revisions", reason="typing error")
    refused = case.client.post(f"{case.url}/{what}", json=body)
    assert refused.status_code == 409
    assert second.id in refused.json()["detail"]


def test_the_next_survey_goes_on_with_the_sum(client: httpx.Client) -> None:
    """At the blend-out's middle the new survey starts with what the old one ended with, as earlier rework.

    The place is worked out by hand from the photo's two point pairs: 200 px are 50 mm, so the mark's
    centre, (200, 150) px, lies 25 mm on and 12.5 mm beside the first pair at (400, 120) mm; from inside, a
    picture's y runs with the offset.
    """
    photo = {"face": "inner", "lens": None}
    (first,) = [dict(one) for one in _file_photos()]
    case = Case(client, photos=[first | photo], thickness_readings=[]).sealed()
    after = follow(case, "next", name="Two years on")
    places = [(425.0, 132.5), (412.0, 130.0), (700.0, 300.0)]
    sums = []
    for one in (case, after):
        asked = [f"/spot?member=SK1&station={s}&offset={o}" for s, o in places]
        sums.append([one.get(path)["spot"]["removed"]["value"] for path in asked])
    assert sums[0] == pytest.approx(sums[1], abs=1e-9)
    assert sums[0][0] > 0.05
    assert sums[0][2] == 0
    entries = client.get(f"{after.url}/removals").json()
    assert [one["removal"]["origin"] for one in entries] == ["earlier", "earlier"]
    assert any("photo f1, mark B1" in one["removal"]["note"] for one in entries)
    assert client.get(f"{after.url}/photos").json() == []
    record = after.record()
    assert record["revision"] == 1
    assert record["carried_from"]["survey_id"] == case.id
    assert record["carried_from"]["digest"] == case.record()["seal"]["digest"]
    assert case.record()["carried_to"] == [after.id]
    assert case.record()["standing"] == "sealed"


def _file_photos() -> list[dict[str, Any]]:
    from tests.api.samples import survey_file  # noqa: PLC0415

    photos: list[dict[str, Any]] = survey_file()["photos"]
    return photos
