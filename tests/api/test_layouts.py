"""A structure that does not hold together is refused when it comes in, not when someone relies on it."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from tests.api.samples import STRUCTURE, survey_file, tag

Change = Callable[[dict[str, Any]], None]
BOW_TIE = [[0, 0], [900, 400], [900, 0], [0, 400]]


def cross(member: dict[str, Any]) -> None:
    """Let the outline cross itself."""
    member["outline"] = BOW_TIE


def flatten(member: dict[str, Any]) -> None:
    """Give the outline no area."""
    member["outline"] = [[0, 0], [450, 0], [900, 0]]


def allow_all(member: dict[str, Any]) -> None:
    """Let the whole thickness be removed."""
    member["limit"] = {"depth": member["thickness"], "source": "Invented scheme RS-12"}


def allow_all_in_zone(member: dict[str, Any]) -> None:
    """Let more than the whole thickness be removed in the limit zone."""
    member["limit_zones"][0]["limit"] = {"depth": 1.5, "source": "Invented scheme RS-12"}


def move_zone_off(member: dict[str, Any]) -> None:
    """Put the limit zone beside the member."""
    member["limit_zones"][0]["outline"] = [[1000, 0], [1100, 0], [1100, 50]]


def thin_out(member: dict[str, Any]) -> None:
    """Give a pocket less metal than the member's depth limit."""
    member["limit"] = {"depth": 0.5, "source": "Invented scheme RS-12"}
    pocket = {"id": "pocket", "outline": [[100, 100], [200, 100], [200, 200]], "thickness": 0.4}
    member["thickness_zones"] = [pocket]


BROKEN = pytest.mark.parametrize(
    ("change", "words"),
    [
        (cross, ["outline", "Self-intersection"]),
        (flatten, ["outline"]),
        (allow_all, ["1.02 mm"]),
        (allow_all_in_zone, ["'row'", "1.5 mm", "1.02 mm"]),
        (move_zone_off, ["'row'", "lies off"]),
        (thin_out, ["0.5 mm", "0.4 mm"]),
    ],
)


def broken(change: Change, number: int = 0) -> dict[str, Any]:
    """Copy the structure with one member changed."""
    structure = copy.deepcopy(STRUCTURE)
    change(structure["members"][number])
    return structure


@BROKEN
def test_a_member_that_does_not_hold_is_refused(
    client: httpx.Client, change: Change, words: list[str]
) -> None:
    """POST is a 422 that names the member and the values, and nothing is stored."""
    before = client.get("/api/structures").json()
    answer = client.post("/api/structures", json={"units": "mm", "structure": broken(change)})
    assert answer.status_code == 422, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    (fault,) = answer.json()["errors"]
    assert (fault["path"], fault["value"]) == ("body.structure.members.0", "SK1")
    for word in ["member 'SK1'", *words]:
        assert word in fault["message"]
        assert word in answer.json()["detail"]
    assert client.get("/api/structures").json() == before


@BROKEN
def test_an_edit_cannot_break_a_member(client: httpx.Client, change: Change, words: list[str]) -> None:
    """PUT is refused the same way and leaves the stored structure and its version alone."""
    made = client.post("/api/structures", json={"units": "mm", "structure": STRUCTURE})
    body = {"units": "mm", "structure": broken(change)}
    answer = client.put(made.headers["Location"], json=body, headers=tag(1))
    assert answer.status_code == 422, answer.text
    assert answer.json()["errors"][0]["value"] == "SK1"
    assert client.get(made.headers["Location"]).json() == made.json()


def test_a_survey_file_cannot_bring_one_in(client: httpx.Client) -> None:
    """Importing a file whose structure does not hold stores neither structure nor survey."""
    before = (client.get("/api/structures").json(), client.get("/api/surveys").json())
    answer = client.post("/api/surveys/import", json=survey_file() | {"structure": broken(cross)})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "survey.structure.members.0"
    assert (client.get("/api/structures").json(), client.get("/api/surveys").json()) == before


def test_every_bad_member_is_listed(client: httpx.Client) -> None:
    """Two bad members are told at once, so that they can be corrected at once."""
    structure = broken(cross)
    flatten(structure["members"][1])
    answer = client.post("/api/structures", json={"units": "mm", "structure": structure})
    assert [fault["value"] for fault in answer.json()["errors"]] == ["SK1", "RB1"]


@pytest.mark.parametrize(("depth", "status"), [(0.039, 201), (0.040, 422), (1.02, 422)])
def test_inches_are_checked_as_inches(client: httpx.Client, depth: float, status: int) -> None:
    """A limit is compared with the thickness in one unit: 0.040 in of metal allow 0.039 in, not all."""
    structure = copy.deepcopy(STRUCTURE)
    structure["members"][0] |= {"thickness": 0.040, "limit_zones": []}
    structure["members"][0]["limit"] = {"depth": depth, "source": "Invented scheme RS-12"}
    answer = client.post("/api/structures", json={"units": "in", "structure": structure})
    assert answer.status_code == status, answer.text


@pytest.mark.parametrize(
    "zone",
    [
        [[900, -1e6], [0, 900], [-1e6, -1]],
        [[900, -1e6], [1e6, -1e6], [900, 1e6]],
        [[1e6, 900], [0, -1e6], [1e6, 1e6]],
    ],
)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_coordinates_at_their_bounds_are_no_failure_of_ours(
    client: httpx.Client, units: str, zone: list[list[float]]
) -> None:
    """Numbers as large as a survey may hold never give a 500; what is refused names the member."""
    structure = copy.deepcopy(STRUCTURE)
    member = structure["members"][0]
    member["outline"] = [[0, 0], [1e6, 0], [1e6, 1e6], [0, 1e6]]
    member["limit_zones"][0]["outline"] = zone
    answer = client.post("/api/structures", json={"units": units, "structure": structure})
    assert answer.status_code in {201, 422}, answer.text
    assert answer.status_code == 201 or "'SK1'" in answer.json()["detail"]
