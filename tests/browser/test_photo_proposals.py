"""Suggested outlines are kept by the service: on every device the same ones are open."""

from __future__ import annotations

import re
from typing import Any

from playwright.sync_api import Page, expect

from tests.api.test_suggest import PITS
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import saved
from tests.browser.test_photo_suggest import asked, corroded, marks_of, ready_to_suggest

__all__ = ["corroded"]


def proposals_of(service: Service, photo: str) -> dict[str, tuple[str, str | None]]:
    """Read state and mark of every proposal of a photo, by its name."""
    found: list[dict[str, Any]] = service.client.get(
        f"/api/photos/{photo}/proposals", params={"state": "all"}
    ).json()
    return {one["name"]: (one["state"], (one["decision"] or {}).get("mark")) for one in found}


def told(way: str) -> re.Pattern[str]:
    """Address at which the service is told of a decision."""
    return re.compile(rf"/api/proposals/\w+/{way}$")


def rows(page: Page) -> Any:
    """Rows of open suggestions."""
    return page.locator(".suggest .marks > li")


def test_two_people_see_what_is_open_and_decide(
    service: Service, open_page: OpenPage, corroded: str
) -> None:
    """What is open here is open there, and a mark made there is here; of two decisions the mark stays."""
    here = open_page(f"/photos/{corroded}").page
    ready_to_suggest(here)
    here.get_by_role("button", name="Sweep the whole picture").click()
    asked(here)
    count = len(proposals_of(service, corroded))
    assert count >= 2
    expect(rows(here)).to_have_count(count)
    survey = service.client.get(f"/api/photos/{corroded}").json()["survey_id"]
    assert f"{count} suggestions open" in service.client.get(f"/surveys/{survey}/photos").text
    there = open_page(f"/photos/{corroded}", phone=True).page
    expect(there.get_by_text(f"Suggestions ({count})")).to_be_visible()
    with there.expect_response(told("accept")):
        there.get_by_role("button", name="Accept S1").click()
    saved(there)
    here.reload()
    expect(rows(here)).to_have_count(count - 1)
    expect(here.get_by_text("P1 · Pit")).to_be_visible()
    with here.expect_response(told("drop")):
        here.get_by_role("button", name="Drop S2").click()
    # The other page has not heard of it.
    with there.expect_response(told("accept")) as answer:
        there.get_by_role("button", name="Accept S2").click()
    assert answer.value.ok
    expect(there.get_by_text("P2 · Pit")).to_be_visible()
    saved(there)
    here.reload()
    expect(here.get_by_text("P2 · Pit")).to_be_visible()
    expect(rows(here)).to_have_count(count - 2)
    states = proposals_of(service, corroded)
    assert (states["S1"], states["S2"]) == (("accepted", "P1"), ("accepted", "P2"))
    assert [mark["id"] for mark in marks_of(service, corroded)] == ["P1", "P2"]


def test_decisions_made_without_a_connection_arrive_later(
    service: Service, open_page: OpenPage, corroded: str
) -> None:
    """Offline an accepted outline is a mark at once; decisions are sent when the connection is back."""
    for x, y, _ in PITS:
        service.client.post(f"/api/photos/{corroded}/suggest", json={"kind": "pit", "at": [x, y]})
    watched = open_page(f"/photos/{corroded}")
    watched.expected = ("ERR_INTERNET_DISCONNECTED",)
    page = watched.page
    expect(rows(page)).to_have_count(len(PITS))
    saved(page)
    page.context.set_offline(True)
    page.get_by_role("button", name="Drop S2").click()
    page.get_by_role("button", name="Accept S1").click()
    expect(page.get_by_text("P1 · Pit")).to_be_visible()
    expect(rows(page)).to_have_count(1)
    assert {state for state, _ in proposals_of(service, corroded).values()} == {"open"}
    with page.expect_response(told("accept")), page.expect_response(told("drop")):
        page.context.set_offline(False)
    saved(page)
    page.reload()
    expect(rows(page)).to_have_count(1)
    states = proposals_of(service, corroded)
    assert states == {"S1": ("accepted", "P1"), "S2": ("dropped", None), "S3": ("open", None)}
