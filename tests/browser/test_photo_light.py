"""Depth by light, and how a photo was taken, entered on the photo page by hand."""

from __future__ import annotations

import math
import re

import pytest
from playwright.sync_api import expect

from tests.api.test_lenses import board_photos
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import CORNERS, saved, stored
from tests.browser.hand import Hand
from tests.browser.test_accessibility import faults

MM_PER_PX = 0.25
"""Of `drawing.BAR`: 50 mm over 200 px."""


def with_pit(service: Service, photo: str) -> None:
    """Give the photo one pit."""
    pit = {"id": "P1", "kind": "pit", "shape": {"type": "Polygon", "coordinates": [list(CORNERS)]}}
    version = service.client.get(f"/api/photos/{photo}").json()["version"]
    service.client.put(
        f"/api/photos/{photo}/marks", json=[pit], headers={"If-Match": f'"{version}"'}
    ).raise_for_status()


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_shadow_is_clicked_and_gives_an_indicative_depth(
    service: Service, open_page: OpenPage, scaled: str, phone: bool
) -> None:
    """A shadow of 40 px (10 mm) under a lamp at 20 degrees is 10 mm tan 20 deg deep; nothing is assumed."""
    with_pit(service, scaled)
    page = open_page(f"/photos/{scaled}", phone=phone).page
    saved(page)
    page.get_by_role("tab", name="2 Marks").click()
    page.get_by_role("button", name="P1 · Pit").click()
    page.get_by_text("Depth by light, where no gauge reaches").click()
    page.get_by_role("button", name="Add a shadow").click()
    hand = Hand(page, touch=phone)
    hand.press((590, 470), counted=True)
    hand.press((630, 470), counted=False)
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_text("a shadow of unknown light says nothing")).to_be_visible()
    page.get_by_label("The light", exact=True).select_option("lamp")
    page.get_by_label("Its angle above the surface (degrees)").fill("20")
    page.get_by_label("Uncertainty u of it (degrees)").fill("2")
    page.get_by_role("button", name="Add", exact=True).click()
    hand.save()
    (light,) = stored(service.client, scaled)["marks"][0]["light"]
    assert light["light"] == {"kind": "lamp", "elevation_deg": 20.0, "u_elevation_deg": 2.0}
    depth = service.client.get(f"/api/photos/{scaled}/measures").json()["photos"][0]["marks"][0]["depth"]
    length_px = math.dist(*light["image"])
    assert length_px == pytest.approx(40.0, abs=6.0)
    assert depth["value"] == pytest.approx(length_px * MM_PER_PX * math.tan(math.radians(20.0)), rel=1e-3)
    assert "indicative" in depth["flags"]
    expect(page.get_by_text("Read from light or focus").first).to_be_visible()


def test_lens_names_and_a_cylinder_are_stated(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Device, tip and focus bind a photo to its lens profile; a radius and a middle line make it a tube."""
    page = open_page(f"/photos/{scaled}").page
    saved(page)
    page.get_by_role("tab", name="1 Scale").click()
    page.get_by_text("How it was taken: lens, curved surface").click()
    page.get_by_label("Device", exact=True).fill("BX-4")
    page.keyboard.press("Tab")
    page.get_by_label("Outside radius of the tube or edge (mm)").fill("60")
    page.keyboard.press("Tab")
    page.get_by_label("The picture shows").select_option("inside")
    expect(page.get_by_label("Inside radius of the tube or curve (mm)")).to_have_value("60")
    page.get_by_role("button", name="Set the middle line").click()
    hand = Hand(page, touch=False)
    hand.press((500, 450), counted=True)
    hand.press((700, 450), counted=False)
    expect(page.get_by_role("button", name="Set the middle line again")).to_be_visible()
    photo = stored(service.client, scaled)
    assert photo["device"] == "BX-4"
    assert (photo["surface"]["radius"], photo["surface"]["seen_from"]) == (60.0, "inside")
    assert photo["surface"]["axis"][0] == pytest.approx([500, 450], abs=3)


def test_one_straight_edge_stands_in_for_a_board(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """Five clicks along an edge make a profile that the photo then names; its doubt is said."""
    page = open_page(f"/photos/{scaled}").page
    saved(page)
    page.get_by_role("tab", name="1 Scale").click()
    page.get_by_text("How it was taken: lens, curved surface").click()
    page.get_by_role("button", name="Straighten by an edge").click()
    hand = Hand(page, touch=False)
    hand.press(*((x, 700) for x in (300, 450, 600, 750, 900)), counted=True)
    page.locator("#finish").click()
    expect(page.get_by_label("Lens profile")).to_have_value(re.compile(r".+ edge"))
    lens = stored(service.client, scaled)["lens"]
    survey = service.client.get(f"/api/photos/{scaled}").json()["survey_id"]
    (profile,) = service.client.get(f"/api/surveys/{survey}").json()["lenses"]
    assert (profile["id"], profile["focal_known"]) == (lens, False)
    measures = service.client.get(f"/api/photos/{scaled}/measures").json()["photos"][0]
    assert "lens-from-edge" in measures["flags"]


def test_a_profile_is_made_from_boards_and_kept(service: Service, open_page: OpenPage, scaled: str) -> None:
    """On the lenses page pictures of a board become a profile: its fit is shown first, then it is kept."""
    survey = service.client.get(f"/api/photos/{scaled}").json()["survey_id"]
    watched = open_page(f"/surveys/{survey}/lenses", phone=True)
    page = watched.page
    for name, value in (("id", "probe"), ("columns", "9"), ("rows", "6"), ("square", "5")):
        page.locator(f'[name="{name}"]').fill(value)
    page.locator("#lens-go").click()
    expect(page.locator("#lens-error")).to_contain_text("“Pictures of the board” is missing")
    files = [
        {"name": f"{i}.png", "mimeType": "image/png", "buffer": b} for i, b in enumerate(board_photos())
    ]
    page.locator('[name="files"]').set_input_files(files)
    page.locator('[name="partial"]').check()
    page.locator("#lens-go").click()
    expect(page.locator("#lens-result")).to_contain_text("12 pictures, fisheye model", timeout=60_000)
    assert service.client.get(f"/api/surveys/{survey}").json()["lenses"] == []
    assert faults(page) == []
    page.locator("#lens-keep").click()
    expect(page.get_by_role("rowheader", name="probe")).to_be_visible()
