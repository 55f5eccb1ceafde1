"""Suggested outlines on the photo page: nothing is a mark before a person accepts it."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from shapely.geometry import Point, Polygon

from tests.api.samples import new_survey, tag, upload
from tests.api.test_suggest import PITS, SAME, likeness, metal, truth
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import press, saved, stored
from tests.browser.hand import Hand

# A search of the full picture may wait for other work of the machine.
SEARCH_MS = 60_000
SCALE = {
    "kind": "bar",
    "image": [[50, 420], [250, 420]],
    "length": 20.0,
    "u_length": 0.1,
    "max_tilt_deg": 10,
}


@pytest.fixture
def corroded(service: Service) -> str:
    """Give a photo of primed metal with three pits and a scale."""
    return _photo(service, metal())


def _photo(service: Service, data: bytes) -> str:
    photo = str(upload(service.client, new_survey(service.client), ("metal.png", data))[0]["photo"]["id"])
    service.client.put(f"/api/photos/{photo}/scale", json=SCALE, headers=tag(1)).raise_for_status()
    return photo


def marks_of(service: Service, photo: str) -> list[dict[str, Any]]:
    """Return the stored marks."""
    marks: list[dict[str, Any]] = stored(service.client, photo)["marks"]
    return marks


def ready_to_suggest(page: Page) -> None:
    """Open the box of suggestions."""
    saved(page)
    page.get_by_text("Let the program suggest outlines").click()


def is_pit(mark: dict[str, Any], number: int) -> bool:
    """Whether a mark outlines a pit as it was drawn."""
    return likeness(Polygon(mark["shape"]["coordinates"][0]), truth()[number]) > SAME


def asked(page: Page) -> None:
    """Wait until a suggestion has to be decided on."""
    expect(page.locator("#step")).to_contain_text("is this the edge of a pit?", timeout=SEARCH_MS)


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_one_click_proposes_and_accept_makes_a_mark(
    service: Service, open_page: OpenPage, corroded: str, phone: bool
) -> None:
    """A click or tap in a pit proposes its edge; accepted it is a mark that says how it was found."""
    page = open_page(f"/photos/{corroded}", phone=phone).page
    ready_to_suggest(page)
    page.get_by_role("button", name="Suggest a pit").click()
    Hand(page, touch=phone).press((PITS[1][0], PITS[1][1]), counted=False)
    asked(page)
    assert marks_of(service, corroded) == []
    page.locator("#suggest-accept").click()
    expect(page.get_by_text("P1 · Pit")).to_be_visible()
    saved(page)
    (mark,) = marks_of(service, corroded)
    assert is_pit(mark, 1)
    assert (mark["id"], mark["kind"]) == ("P1", "pit")
    assert mark["note"].startswith("Outline suggested by ")
    assert "accepted as proposed" in mark["note"]
    assert "largest_px" in mark["note"]
    assert mark["u_edge_px"] >= 0.5


def test_the_keyboard_alone_suggests_and_decides(
    service: Service, open_page: OpenPage, corroded: str
) -> None:
    """Crosshair and Enter propose; X drops one, A accepts the next, without a pointer."""
    page = open_page(f"/photos/{corroded}").page
    saved(page)
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    page.get_by_text("Let the program suggest outlines").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Suggest a pit").focus()
    page.keyboard.press("Enter")
    # From the middle of the picture to its middle pit in steps of 24 css px: 600 px fill the canvas' height
    # times 4/3 but for the margins of 12 px, so the pit of 52 px across is two steps wide at least.
    css_per_px = min((box["width"] - 24) / 600, (box["height"] - 24) / 450)
    press(page, "ArrowRight", round((PITS[1][0] - 300) * css_per_px / 24))
    press(page, "ArrowDown", round((PITS[1][1] - 225) * css_per_px / 24))
    page.keyboard.press("Enter")
    asked(page)
    page.keyboard.press("x")
    expect(page.locator("#step")).to_contain_text("Click inside a pit")
    page.keyboard.press("Enter")
    asked(page)
    page.keyboard.press("a")
    expect(page.get_by_text("P1 · Pit")).to_be_visible()
    saved(page)
    (mark,) = marks_of(service, corroded)
    assert Polygon(mark["shape"]["coordinates"][0]).contains(Point(PITS[1][:2]))


def test_a_sweep_is_decided_one_by_one_or_at_once(
    service: Service, open_page: OpenPage, corroded: str
) -> None:
    """Proposals outlive a reload; one is dropped, the rest accepted in one step, undone in one."""
    page = open_page(f"/photos/{corroded}").page
    ready_to_suggest(page)
    page.get_by_role("button", name="Sweep the whole picture").click()
    asked(page)
    proposed = page.locator(".suggest .marks > li")
    expect(proposed.first).to_be_visible()
    count = proposed.count()
    assert count >= 2
    assert marks_of(service, corroded) == []
    page.reload()
    ready = page.get_by_text(f"Suggestions ({count})")
    expect(ready).to_be_visible()
    expect(proposed).to_have_count(count)
    page.get_by_role("button", name="Drop S1").click()
    expect(proposed).to_have_count(count - 1)
    if count > 2:
        page.get_by_role("button", name=f"Accept all {count - 1}").click()
    else:
        page.get_by_role("button", name="Accept S2").click()
    expect(proposed).to_have_count(0)
    saved(page)
    assert len(marks_of(service, corroded)) == count - 1
    page.locator("#undo").click()
    expect(page.get_by_text("P1 · Pit")).to_have_count(0)
    saved(page)
    assert marks_of(service, corroded) == []


def test_edit_takes_a_suggestion_in_hand(service: Service, open_page: OpenPage, corroded: str) -> None:
    """Edit makes the outline a mark that is selected, and its note says it was taken to be edited."""
    page = open_page(f"/photos/{corroded}").page
    ready_to_suggest(page)
    page.get_by_role("button", name="Suggest a pit").click()
    Hand(page, touch=False).press((PITS[1][0], PITS[1][1]), counted=False)
    asked(page)
    page.locator("#suggest-edit").click()
    expect(page.locator(".marks > li.selected")).to_contain_text("P1 · Pit")
    expect(page.get_by_label("Depth (mm)")).to_be_visible()
    saved(page)
    (mark,) = marks_of(service, corroded)
    assert "accepted to be edited" in mark["note"]


def test_nothing_found_is_said_and_is_no_proof(service: Service, open_page: OpenPage) -> None:
    """On plain metal a click and a sweep say that nothing was found, and that it proves nothing."""
    stream = io.BytesIO()
    Image.new("RGB", (600, 450), (120, 122, 124)).save(stream, "PNG")
    photo = _photo(service, stream.getvalue())
    watched = open_page(f"/photos/{photo}")
    watched.expected = ("422",)
    page = watched.page
    ready_to_suggest(page)
    page.get_by_role("button", name="Suggest a pit").click()
    Hand(page, touch=False).press((300, 200), counted=False)
    alert = page.locator(".suggest").get_by_role("alert")
    expect(alert).to_contain_text("No edge of a pit was found there", timeout=SEARCH_MS)
    expect(alert).to_contain_text("by hand")
    page.locator("#drop").click()
    page.get_by_role("button", name="Sweep the whole picture").click()
    expect(alert).to_contain_text("does not show the metal is clean", timeout=SEARCH_MS)
    assert marks_of(service, photo) == []
