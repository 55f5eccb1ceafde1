"""One survey from an empty store to a verdict, by mouse on a desk and by touch on a phone."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from api.pages.templating import bundle_is_built
from corrosion.demo import sample_folder
from tests.browser.conftest import OpenPage, Service
from tests.browser.hand import Hand
from tests.support import need

OUTER, INNER = "01_sk1_outer_rule", "04_sk1_inner_blends_disc"
SOURCE = "Invented scheme RS-12, paragraph 4, revision B"
MEMBERS = (
    {"Id": "SK1", "Kind": "skin", "Zone": "334", "Material": "2024-T3 clad", "Thickness, mm": "1.02",
     "Blend limit, % of thickness": "10", "Source of the limit": SOURCE,
     "Outline: one corner a line, station then offset": "0 0\n900 0\n900 400\n0 400"},
    {"Id": "RB9", "Kind": "rib", "Zone": "334", "Material": "7075-T6", "Thickness, mm": "0.81",
     "or as a depth, mm": "0.08", "Source of the limit": SOURCE,
     "Outline: one corner a line, station then offset": "0 0\n380 0\n380 110\n0 110"},
)  # fmt: skip


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """Give a running service of its own with an empty store."""
    need(bundle_is_built(), "the pages are not bundled: run 'node build.mjs' in api/web")
    made = Service(tmp_path)
    made.start()
    yield made
    made.close()


def truth(picture: str, dent: str) -> dict[str, Any]:
    """Return what the renderer knows of a dent in a picture."""
    found = json.loads((sample_folder() / "truth" / f"{picture}.json").read_text("utf-8"))
    return next(one for one in found["dents"] if one["id"] == dent)


def corners(picture: str, dent: str, count: int) -> list[tuple[float, float]]:
    """Return some corners of a dent's true outline, in pixels."""
    ring = truth(picture, dent)["outline_px"]
    return [(x, y) for x, y in ring[:: math.ceil(len(ring) / count)]]


def enter_structure(page: Page) -> None:
    """Enter a skin and a rib by hand, each with its limit and the limit's source."""
    with page.expect_navigation():
        page.get_by_role("link", name="Enter a structure").first.click()
    page.locator("#structure-name").fill("Left stabilizer, invented")
    page.get_by_role("button", name="Add a member").click()
    expect(page.locator(".member")).to_have_count(len(MEMBERS))
    for section, member in zip(page.locator(".member").all(), MEMBERS, strict=True):
        for label, text in member.items():
            section.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Keep this structure").click()
    page.wait_for_url(re.compile(r"/structures/[0-9a-f]{32}$"))


def go_to(page: Page, name: str) -> None:
    """Go to another page of the survey, and wait until it listens."""
    pages = page.get_by_role("navigation", name="Survey")
    fold = pages.locator("summary")
    if fold.is_visible():
        fold.click()
    with page.expect_navigation():
        pages.get_by_role("link", name=name).click()


def start_survey(page: Page) -> None:
    """Start a survey of it and go to its photos."""
    page.get_by_label("Name", exact=True).fill("First look")
    with page.expect_navigation():
        page.get_by_role("button", name="Start the survey").click()
    expect(page.get_by_role("heading", name="No photos yet")).to_be_visible()
    go_to(page, "Photos")


def bring_in_photos(page: Page) -> None:
    """Upload two photos and say which member and face each shows."""
    photos = sample_folder() / "photos"
    page.locator("#choose").set_input_files([photos / f"{name}.jpg" for name in (OUTER, INNER)])
    expect(page.locator(".photo-card")).to_have_count(2)
    for name, face in ((OUTER, "outer"), (INNER, "inner")):
        page.get_by_role("button", name="Choose none").click()
        page.get_by_label(f"Choose {name}.jpg").check()
        page.locator("#b-member").select_option("SK1")
        page.locator("#b-face").select_option(face)
        page.get_by_role("button", name="Tag", exact=True).click()
        card = page.locator(".photo-card", has_text=name)
        expect(card).to_contain_text(f"SK1, {face}, zone 334")


def open_photo(page: Page, name: str, *, touch: bool) -> Hand:
    """Open a photo of the list."""
    go_to(page, "Photos")
    page.get_by_role("link", name=f"{name}.jpg").click()
    page.wait_for_url(re.compile(r"/photos/[0-9a-f]{32}$"))
    hand = Hand(page, touch)
    hand.save()
    return hand


def set_scale(hand: Hand, ends: tuple[tuple[float, float], ...], length: str) -> None:
    """Set a scale reference by two points a known distance apart."""
    page = hand.page
    # Zoomed out: both references reach to where buttons and the bar with the next step cover the picture.
    hand.zoom(-1)
    page.get_by_role("button", name="Two points").click()
    hand.press(*ends, counted=False)
    page.get_by_label("Distance (mm)", exact=True).fill(length)
    page.get_by_label("Largest slant of the view (degrees)").fill("15")
    page.keyboard.press("Tab")
    hand.save()


def outline(hand: Hand, kind: str, ring: list[tuple[float, float]]) -> None:
    """Draw an outline corner by corner, zoomed in so that the corners are a finger apart."""
    page = hand.page
    page.get_by_role("tab", name="2 Marks").click()
    page.get_by_role("button", name=kind, exact=True).click()
    hand.press(*ring)
    page.get_by_role("button", name="Finish").click()
    hand.save()


def add_depth(page: Page, value: str, *, measured_from: str = "") -> None:
    """Enter a depth read by a gauge, and for a blend-out what it was measured from."""
    page.get_by_label("Depth (mm)", exact=True).fill(value)
    page.get_by_label("Uncertainty u (mm)").fill("0.003")
    page.get_by_label("Read by").select_option("gauge")
    if measured_from:
        page.get_by_label(re.compile(measured_from)).check()
    page.get_by_role("button", name="Add reading").click()
    expect(page.locator(".readings")).to_contain_text(value)


def place(hand: Hand, pairs: dict[tuple[float, float], tuple[float, float]]) -> None:
    """Pair points of the photo with the layout: one clicked or tapped, one typed."""
    page = hand.page
    page.get_by_role("tab", name="3 Place").click()
    hand.zoom(0)
    for index, (point, (station, offset)) in enumerate(pairs.items()):
        page.get_by_role("button", name="Add a point pair").click()
        hand.press(point, counted=False)
        row = page.locator(".pairs > li").nth(index)
        row.get_by_label("Station (mm)").fill(f"{station:g}")
        row.get_by_label("Offset (mm)").fill(f"{offset:g}")
        page.keyboard.press("Tab")
    hand.save()


def mark_pit(page: Page, *, touch: bool) -> None:
    """Scale the outer photo by its rule, outline pit P3 and place the photo by two rivets and crosses."""
    hand = open_photo(page, OUTER, touch=touch)
    set_scale(hand, ((239.85, 356.53), (1535.2, 259.39)), "100")
    hand.zoom(2)
    outline(hand, "Pit", corners(OUTER, "P3", 4))
    add_depth(page, "0.118")
    place(hand, {(1070.49, 718.53): (450, 56), (289.31, 1128.67): (390, 28)})


def mark_blend_out(page: Page, *, touch: bool) -> None:
    """Scale the inner photo by the disc, outline blend-out B1, enter its depth, and place the photo."""
    hand = open_photo(page, INNER, touch=touch)
    set_scale(hand, ((790.75, 822.45), (780.25, 1126.94)), "22")
    hand.zoom(1)
    outline(hand, "Blend-out", corners(INNER, "B1", 8))
    add_depth(page, "0.060", measured_from="Original contour")
    place(hand, {(1326.8, 461.05): (610, 172), (290.77, 431.25): (690, 172)})


def nearest_dent(picture: str, station: float, offset: float) -> str:
    """Return the dent of a picture whose true middle is nearest to a place on the layout."""
    found = json.loads((sample_folder() / "truth" / f"{picture}.json").read_text("utf-8"))
    middles: dict[str, tuple[float, float]] = {one["id"]: one["layout_centre_mm"] for one in found["dents"]}
    return min(middles, key=lambda name: math.dist(middles[name], (station, offset)))


def see_findings(page: Page) -> None:
    """Find both marks in the table, at their true places, the blend-out with its verdict."""
    go_to(page, "Findings")
    blend = page.locator("#findings tbody tr[data-kind='blend-out']")
    pit = page.locator("#findings tbody tr[data-kind='pit']")
    expect(blend.locator(".verdict")).to_have_text("✓ within limit")
    expect(blend).to_contain_text(re.compile(r"0\.060 ± 0\.006"))
    expect(pit).to_contain_text("pit, not blended; blending it away would go over the limit")
    for row, picture, dent in ((pit, OUTER, "P3"), (blend, INNER, "B1")):
        station, offset = (
            float(str(row.locator(f"[data-label^='{name}']").get_attribute("data-sort")))
            for name in ("Station", "Offset")
        )
        assert nearest_dent(picture, station, offset) == dent


def see_map(page: Page) -> None:
    """Follow the blend-out to the map: its ledger there, the member's verdict, the rest not seen."""
    row = page.locator("#findings tbody tr[data-kind='blend-out']")
    row.get_by_role("link", name=re.compile("^map")).click()
    spot = page.locator("#spot")
    expect(spot.locator(".verdict")).to_have_text("✓ within limit")
    expect(spot).to_contain_text("0.102 mm")
    expect(spot).to_contain_text(SOURCE)
    expect(page.locator("#member-title .verdict")).to_have_text("✓ within limit")
    expect(page.locator("#legend")).to_contain_text(re.compile(r"inner face not seen \(\d+ % of it seen\)"))


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_survey_from_nothing_to_its_verdict(open_page: OpenPage, service: Service, phone: bool) -> None:
    """Everything a survey needs can be entered on the pages alone, and the verdict stands at its end.

    A blend-out of 0.060 mm against 10 % of 1.02 mm is within; a pit of 0.118 mm is judged once it is
    blended. The places are those of the renderer's truth. No page complains or asks another host.
    """
    page = open_page("/", phone=phone).page
    expect(page.get_by_role("heading", name="Nothing is open yet")).to_be_visible()
    enter_structure(page)
    start_survey(page)
    bring_in_photos(page)
    mark_pit(page, touch=phone)
    mark_blend_out(page, touch=phone)
    see_findings(page)
    see_map(page)
    assert [one["photos"] for one in service.client.get("/api/surveys").json()] == [2]
