"""Work on a photo is never lost: undo, drafts, lost connections, two people at once."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from tests.api.samples import new_survey, tag, upload
from tests.browser.conftest import DESKTOP, OpenPage, Service
from tests.browser.drawing import (
    BAR,
    CORNERS,
    click,
    draw_pit,
    ready,
    ring_of,
    saved,
    stored,
    target_picture,
)


def test_undo_and_redo(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Undo takes the mark away from the service too, redo brings the same outline back."""
    page = open_page(f"/photos/{scaled}").page
    draw_pit(page, ready(page))
    saved(page)
    drawn = ring_of(stored(service.client, scaled))
    page.get_by_role("button", name="Undo: draw P1").click()
    expect(page.get_by_text("P1 · Pit")).to_have_count(0)
    saved(page)
    assert stored(service.client, scaled)["marks"] == []
    page.locator("#canvas").focus()
    page.keyboard.press("Control+y")
    expect(page.get_by_text("P1 · Pit")).to_be_visible()
    saved(page)
    assert ring_of(stored(service.client, scaled)) == drawn


def test_lost_connection_and_reload_keep_the_work(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """With the service gone the page says so; a reload brings the unsaved mark back and saves it."""
    watched = open_page(f"/photos/{scaled}")
    watched.expected = ("ERR_FAILED", "ERR_CONNECTION_REFUSED", "ERR_INTERNET_DISCONNECTED")
    page = watched.page
    seen = ready(page)
    page.route("**/api/photos/*/marks", lambda route: route.abort("connectionrefused"))
    draw_pit(page, seen)
    expect(page.locator("#save-state")).to_have_text("⚠ Not saved: no connection")
    expect(page.get_by_role("alert")).to_contain_text("kept on this device")
    assert stored(service.client, scaled)["marks"] == []
    page.reload()
    expect(page.locator("#notices")).to_contain_text("was brought back")
    page.unroute("**/api/photos/*/marks")
    saved(page)
    assert len(stored(service.client, scaled)["marks"]) == 1


def test_the_connection_coming_back_saves_by_itself(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """When the service answers again, pressing Try again (or waiting) saves the mark."""
    watched = open_page(f"/photos/{scaled}")
    watched.expected = ("ERR_FAILED", "ERR_CONNECTION_REFUSED")
    page = watched.page
    seen = ready(page)
    page.route("**/api/photos/*/marks", lambda route: route.abort("connectionrefused"))
    draw_pit(page, seen)
    expect(page.locator("#save-state")).to_have_text("⚠ Not saved: no connection")
    page.unroute("**/api/photos/*/marks")
    # By script: on a slow machine the page has tried by itself before, and the button is gone.
    page.evaluate("document.querySelector('[data-key=retry]')?.click()")
    saved(page)
    assert len(stored(service.client, scaled)["marks"]) == 1


def _other_person_edits(service: Service, photo: str, note: str) -> None:
    record = service.client.get(f"/api/photos/{photo}").json()
    marks = record["photo"]["marks"]
    marks[0]["note"] = note
    extra = {
        "id": "P9",
        "kind": "pit",
        "shape": {"type": "Circle", "center": [100, 100], "radius": 5},
    }
    answer = service.client.put(
        f"/api/photos/{photo}/marks", json=[*marks, extra], headers=tag(record["version"])
    )
    assert answer.status_code == 200, answer.text


@pytest.mark.parametrize("choice", ["mine", "theirs"])
def test_a_conflict_is_decided_by_a_person(
    service: Service, open_page: OpenPage, scaled: str, choice: str
) -> None:
    """Two people change one mark: the page asks, keeps the choice, and takes in what only they did."""
    watched = open_page(f"/photos/{scaled}")
    watched.expected = ("412",)
    page = watched.page
    draw_pit(page, ready(page))
    saved(page)
    _other_person_edits(service, scaled, "their note")
    page.get_by_text("Kind, name, feature, date, note").click()
    page.get_by_label("Note", exact=True).fill("my note")
    page.keyboard.press("Tab")
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("my note")
    expect(dialog).to_contain_text("their note")
    name = "Keep mine" if choice == "mine" else "Take theirs"
    dialog.get_by_role("button", name=name).click()
    saved(page)
    kept = {mark["id"]: mark for mark in stored(service.client, scaled)["marks"]}
    assert kept["P1"]["note"] == ("my note" if choice == "mine" else "their note")
    assert "P9" in kept
    # The version that lost is one undo away.
    undo = page.locator("#undo")
    step = str(undo.get_attribute("title"))
    undo.click()
    expect(undo).not_to_have_attribute("title", step)
    saved(page)
    back = {mark["id"]: mark for mark in stored(service.client, scaled)["marks"]}
    assert back["P1"]["note"] == ("their note" if choice == "mine" else "my note")


def test_points_set_so_far_survive_a_reload(open_page: OpenPage, scaled: str) -> None:
    """An outline that is not finished is still there after a reload, with its tool."""
    page = open_page(f"/photos/{scaled}").page
    seen = ready(page)
    page.get_by_role("button", name="Pit", exact=True).click()
    for corner in CORNERS[:3]:
        click(page, *seen.screen(*corner))
    page.reload()
    expect(page.locator("#step")).to_contain_text("3 set.")
    page.get_by_role("button", name="Finish").click()
    saved(page)
    expect(page.get_by_text("P1 · Pit")).to_be_visible()


def test_a_scale_that_lacks_something_waits_and_says_what(
    service: Service, open_page: OpenPage, photo: str
) -> None:
    """A bar without its length is kept as a draft, not sent; the page says what is missing."""
    page = open_page(f"/photos/{photo}").page
    seen = ready(page)
    page.get_by_role("button", name="Two points").click()
    click(page, *seen.screen(500, 600))
    click(page, *seen.screen(700, 600))
    expect(page.locator("#save-state")).to_contain_text("enter the distance")
    expect(page.locator("#panel")).to_contain_text("enter the distance")
    assert stored(service.client, photo)["scale"] is None
    page.reload()
    expect(page.locator("#panel")).to_contain_text("enter the distance")
    page.get_by_role("tab", name="1 Scale").click()
    page.get_by_label("Distance (mm)", exact=True).fill("50 mm")
    page.keyboard.press("Tab")
    expect(page.get_by_role("alert")).to_contain_text("is not a number")
    page.get_by_label("Distance (mm)", exact=True).fill("50")
    page.keyboard.press("Tab")
    saved(page)
    assert stored(service.client, photo)["scale"]["length"] == 50


def test_ctrl_z_takes_points_back_before_steps(open_page: OpenPage, scaled: str) -> None:
    """While an outline is drawn, undo takes its last corner back and leaves finished marks alone."""
    page = open_page(f"/photos/{scaled}").page
    seen = ready(page)
    draw_pit(page, seen)
    page.get_by_role("button", name="Pit", exact=True).click()
    click(page, *seen.screen(700, 600))
    click(page, *seen.screen(740, 600))
    page.keyboard.press("Control+z")
    expect(page.locator("#step")).to_contain_text("1 set.")
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    expect(page.locator("#draw-bar")).to_be_hidden()
    expect(page.get_by_text("P1 · Pit")).to_be_visible()


def test_a_stopped_service_loses_nothing(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The service goes away while someone draws and comes back: the page saves by itself."""
    own = Service(tmp_path_factory.mktemp("own"))
    own.start()
    try:
        made = upload(own.client, new_survey(own.client), ("target.png", target_picture()))
        photo = made[0]["photo"]["id"]
        own.client.put(f"/api/photos/{photo}/scale", json=BAR, headers=tag(1))
        context = browser.new_context(viewport=DESKTOP, reduced_motion="reduce")
        page = context.new_page()
        page.goto(f"{own.url}/photos/{photo}")
        seen = ready(page)
        own.stop()
        draw_pit(page, seen)
        expect(page.locator("#save-state")).to_have_text("⚠ Not saved: no connection")
        own.start()
        saved(page)
        assert len(stored(own.client, photo)["marks"]) == 1
        context.close()
    finally:
        own.close()
