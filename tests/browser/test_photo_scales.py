"""Scale references that the program finds, from the page: shown first, saved when a person uses them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Page, expect

from tests.api.test_find_scale import (
    FIRST,
    MIDDLE,
    PITCH,
    RADIUS,
    disc_picture,
    marker_picture,
    photo_of,
    rule_picture,
)
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import saved, stored
from tests.browser.hand import Hand

# The hand aims by whole pixels that the page names at two places a sixth of the canvas apart: half a pixel
# at each has grown to at most three pixels three such distances away.
HAND_PX = 3.0
# A search of the full picture may wait for other work of the machine.
SEARCH_MS = 60_000


def opened(
    service: Service, open_page: OpenPage, light: NDArray[np.float64], **how: bool
) -> tuple[str, Page]:
    """Open the page of a new photo of a picture."""
    photo = photo_of(service.client, light)
    page = open_page(f"/photos/{photo}", **how).page
    saved(page)
    return photo, page


def find(page: Page, words: str) -> None:
    """Press Find and wait for what it says."""
    page.get_by_role("button", name="Find it in the picture").click()
    expect(page.locator(".find")).to_contain_text(words, timeout=SEARCH_MS)


def scale_of(service: Service, photo: str) -> dict[str, object] | None:
    """Return the stored scale."""
    found: dict[str, object] | None = stored(service.client, photo)["scale"]
    return found


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_rule_is_drawn_found_and_used(service: Service, open_page: OpenPage, phone: bool) -> None:
    """A line along a rule and its tick distance are enough: its ticks come, and the pixel's size."""
    photo, page = opened(service, open_page, rule_picture(), phone=phone)
    hand = Hand(page, touch=phone)
    page.get_by_role("button", name="Rule", exact=True).click()
    hand.press((150, 100), counted=True)
    hand.press((800, 100), counted=False)
    expect(page.locator("#save-state")).to_contain_text("from one tick to the next")
    page.get_by_label("From one tick to the next (mm)").fill("0.5")
    page.keyboard.press("Tab")
    hand.save()
    find(page, "Nothing is saved yet")
    scale = scale_of(service, photo)
    assert scale is not None
    assert scale["ticks"] == []
    page.get_by_role("button", name="Use it").click()
    hand.save()
    scale = scale_of(service, photo)
    assert scale is not None
    ticks = scale["ticks"]
    assert isinstance(ticks, list)
    for tick in ticks:
        x = np.mean([point[0] for point in tick["points"]])
        off = (x - FIRST) / PITCH
        assert off == pytest.approx(round(off), abs=0.25 / PITCH)
    # 0.5 mm lie between two ticks 9.25 px apart.
    expect(page.locator("#panel")).to_contain_text("Size of one pixel")
    measured = service.client.get(f"/api/photos/{photo}/measures").json()["photos"][0]["scale"]
    assert measured["mm_per_px"]["value"] == pytest.approx(0.5 / PITCH, rel=0.002)


def test_moving_the_line_drops_the_ticks_that_were_found(service: Service, open_page: OpenPage) -> None:
    """Ticks of another line are not kept: they would measure by a place nobody looks at."""
    photo, page = opened(service, open_page, rule_picture())
    ready_scale = {"kind": "rule", "image": [[150, 100], [800, 100]], "tick": 0.5}
    found = service.client.post(f"/api/photos/{photo}/find-scale", json=ready_scale).json()["scale"]
    version = service.client.get(f"/api/photos/{photo}").json()["version"]
    service.client.put(
        f"/api/photos/{photo}/scale", json=found, headers={"If-Match": f'"{version}"'}
    ).raise_for_status()
    page.reload()
    saved(page)
    page.get_by_role("tab", name="1 Scale").click()
    expect(page.locator(".find")).to_contain_text("It was found")
    hand = Hand(page, touch=False)
    page.get_by_role("button", name="Rule: set again").click()
    hand.press((160, 110), counted=True)
    hand.press((790, 110), counted=False)
    expect(page.locator(".find")).to_contain_text("Not found yet")
    hand.save()
    scale = scale_of(service, photo)
    assert scale is not None
    assert (scale["ticks"], scale["tick"]) == ([], 0.5)


def test_a_coin_is_found_from_a_click_inside_by_keyboard(service: Service, open_page: OpenPage) -> None:
    """Without a pointer: click inside by the crosshair, choose the coin, find its rim, use it."""
    photo, page = opened(service, open_page, disc_picture())
    page.get_by_role("button", name="Coin or disc", exact=True).focus()
    page.keyboard.press("Enter")
    # The middle of the picture, (319.5, 239.5), is inside the disc.
    page.keyboard.press("Enter")
    page.get_by_label("Coin", exact=True).select_option("1 euro")
    expect(page.locator("#panel")).to_contain_text("23.250 mm across")
    expect(page.locator("#panel")).to_contain_text("Regulation (EC) No 975/98")
    page.get_by_label("Distance from the lens to the metal (mm)").fill("300")
    page.keyboard.press("Tab")
    saved(page)
    page.get_by_role("button", name="Find it in the picture").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Use it")).to_be_focused(timeout=SEARCH_MS)
    page.keyboard.press("Enter")
    expect(page.locator(".find")).to_contain_text("It was found")
    saved(page)
    scale = scale_of(service, photo)
    assert scale is not None
    assert scale["coin"] == "1 euro"
    assert scale["seed"] == pytest.approx((319.5, 239.5), abs=1)
    rim = scale["image"]
    assert isinstance(rim, list)
    for x, y in rim:
        assert math.hypot(x - MIDDLE[0], y - MIDDLE[1]) == pytest.approx(RADIUS, abs=0.5)
    # Diameter 23.25 mm over 2 x 118.5 px, seen 2.33 mm (the coin's thickness) nearer than the metal at
    # 300 mm, by similar triangles; the rim's softness leaves 0.3 px of it open on each side.
    measured = service.client.get(f"/api/photos/{photo}/measures").json()["photos"][0]["scale"]
    true = 23.25 / (2 * RADIUS) * 300 / (300 - 2.33)
    assert measured["mm_per_px"]["value"] == pytest.approx(true, rel=0.3 / RADIUS)


def test_a_dropped_find_leaves_the_photo_as_it_was(service: Service, open_page: OpenPage) -> None:
    """What was found and not wanted is gone without a trace, also from undo."""
    photo, page = opened(service, open_page, disc_picture())
    hand = Hand(page, touch=False)
    page.get_by_role("button", name="Coin or disc", exact=True).click()
    hand.press((300, 230), counted=False)
    page.get_by_label("Diameter (mm)", exact=True).fill("30")
    page.keyboard.press("Tab")
    hand.save()
    before = scale_of(service, photo)
    undo = page.locator("#undo").get_attribute("title")
    find(page, "Nothing is saved yet")
    page.get_by_role("button", name="Drop it").click()
    expect(page.locator(".find")).to_contain_text("Not found yet")
    assert page.locator("#undo").get_attribute("title") == undo
    assert scale_of(service, photo) == before


def test_a_plain_marker_is_found_without_drawing(service: Service, open_page: OpenPage) -> None:
    """A marker needs its side and family only; its four corners are then stored with its square."""
    photo, page = opened(service, open_page, marker_picture(7, 200, 150, 144))
    page.get_by_role("button", name="Printed target", exact=True).click()
    page.get_by_label("What was laid down").select_option("plain")
    page.get_by_label("Side of the black square (mm)").fill("18")
    page.keyboard.press("Tab")
    saved(page)
    find(page, "Found 1 square marker")
    page.get_by_role("button", name="Use it").click()
    expect(page.locator(".find")).to_contain_text("It was found")
    saved(page)
    scale = scale_of(service, photo)
    assert scale is not None
    assert (scale["dictionary"], scale["side"]) == ("4x4_50", 18)
    image = scale["image"]
    assert isinstance(image, list)
    assert image[0] == pytest.approx((199.5, 149.5), abs=0.3)
    assert image[2] == pytest.approx((343.5, 293.5), abs=0.3)


def test_a_sheet_that_is_not_there_is_not_found(service: Service, open_page: OpenPage) -> None:
    """A miss is said in words with what to try; the sheet's check bar need not be entered before."""
    watched = open_page(f"/photos/{photo_of(service.client, disc_picture())}")
    watched.expected = ("422",)
    page = watched.page
    saved(page)
    page.get_by_role("button", name="Printed target", exact=True).click()
    page.get_by_role("button", name="Find it in the picture").click()
    expect(page.locator(".find").get_by_role("alert")).to_contain_text("no printed sheet was found")
    expect(page.locator("#save-state")).to_contain_text("check bar across")


def test_points_round_the_rim_replace_the_search(service: Service, open_page: OpenPage) -> None:
    """Where the rim is not found, points set on it make the same reference, without a seed."""
    photo, page = opened(service, open_page, disc_picture())
    hand = Hand(page, touch=False)
    page.get_by_role("button", name="Coin or disc", exact=True).click()
    page.get_by_role("button", name="Points round its rim").click()
    rim = [
        (MIDDLE[0] + RADIUS * math.cos(t * math.pi / 4), MIDDLE[1] + RADIUS * math.sin(t * math.pi / 4))
        for t in range(8)
    ]
    hand.press(*rim)
    page.get_by_role("button", name="Finish").click()
    page.get_by_label("Diameter (mm)", exact=True).fill("30")
    page.keyboard.press("Tab")
    hand.save()
    expect(page.get_by_role("button", name="Find it in the picture")).to_have_count(0)
    scale = scale_of(service, photo)
    assert scale is not None
    assert scale["seed"] is None
    image = scale["image"]
    assert isinstance(image, list)
    assert len(image) == 8
    for drawn, true in zip(image, rim, strict=True):
        assert math.dist(drawn, true) < HAND_PX


def test_a_card_is_set_by_its_edges(service: Service, open_page: OpenPage) -> None:
    """Two points on each straight edge, going round, make a card whose corners nobody has to guess."""
    photo, page = opened(service, open_page, np.full((480, 640), 90.0))
    hand = Hand(page, touch=False)
    page.get_by_role("button", name="Card", exact=True).click()
    page.get_by_role("button", name="By its edges").click()
    edges = [
        [(180.0, 120.0), (420.0, 124.0)],
        [(450.0, 150.0), (446.0, 300.0)],
        [(420.0, 320.0), (180.0, 316.0)],
        [(150.0, 300.0), (154.0, 150.0)],
    ]
    points = [point for edge in edges for point in edge]
    hand.press(*points[:-1])
    hand.press(points[-1], counted=False)
    hand.save()
    scale = scale_of(service, photo)
    assert scale is not None
    assert scale["image"] is None
    stored_edges = scale["edges"]
    assert isinstance(stored_edges, list)
    assert [len(edge) for edge in stored_edges] == [2, 2, 2, 2]
    for drawn, true in zip([p for edge in stored_edges for p in edge], points, strict=True):
        assert math.dist(drawn, true) < HAND_PX


def test_readings_at_both_ends_go_together(service: Service, open_page: OpenPage) -> None:
    """One reading alone is kept as a draft and the page asks for the other; two are stored."""
    photo, page = opened(service, open_page, rule_picture())
    hand = Hand(page, touch=False)
    page.get_by_role("button", name="Rule", exact=True).click()
    hand.press((150, 100), counted=True)
    hand.press((800, 100), counted=False)
    page.get_by_label("From one tick to the next (mm)").fill("1")
    page.keyboard.press("Tab")
    page.get_by_label("At point 1 (mm)").fill("-5")
    page.keyboard.press("Tab")
    expect(page.locator("#save-state")).to_contain_text("reads at the other end")
    page.get_by_label("At point 2 (mm)").fill("65,3")
    page.keyboard.press("Tab")
    hand.save()
    scale = scale_of(service, photo)
    assert scale is not None
    assert scale["labels"] == [-5, 65.3]
