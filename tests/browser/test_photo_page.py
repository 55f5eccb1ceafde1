"""Working on a photo: scale, outlines, depths, place, by pointer, touch and keyboard."""

from __future__ import annotations

import io
import math
import re

import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from shapely.geometry import Point, Polygon

from tests.api.samples import new_survey, tag, upload
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import (
    BAR,
    CORNERS,
    ScreenMap,
    at_rest,
    click,
    draw_pit,
    pause,
    press,
    ready,
    ring_of,
    saved,
    stored,
    target_picture,
)


def test_scale_pit_depth_and_measure_end_to_end(service: Service, open_page: OpenPage, photo: str) -> None:
    """From a bare photo to a measured pit with a depth: every step is saved and the area is right."""
    page = open_page(f"/photos/{photo}").page
    seen = ready(page)
    page.get_by_role("button", name="Two points").click()
    for end in ((500, 400), (700, 400)):
        click(page, *seen.screen(*end))
    page.get_by_label("Distance (mm)", exact=True).fill("50")
    page.get_by_label("Largest slant of the view (degrees)").fill("10")
    page.keyboard.press("Tab")
    saved(page)
    page.get_by_role("tab", name="2 Marks").click()
    under = draw_pit(page, seen)
    saved(page)
    page.get_by_label("Depth (mm)").fill("0,31")
    page.get_by_label("Uncertainty u (mm)").fill("0.01")
    page.get_by_label("Read by").select_option("gauge")
    page.get_by_label("Instrument").fill("DG-2")
    page.get_by_role("button", name="Add reading").click()
    saved(page)
    expect(page.get_by_role("definition").first).to_contain_text("mm²")
    kept = stored(service.client, photo)
    assert kept["scale"]["length"] == 50
    reading = kept["marks"][0]["depths"][0]
    assert (reading["value"], reading["u"], reading["instrument"]) == (0.31, 0.01, "DG-2")
    measured = service.client.get(f"/api/photos/{photo}/measures").json()["photos"][0]["marks"][0]
    (x0, y0), (x1, y1) = kept["scale"]["image"]
    mm_per_px = 50 / ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    shoelace = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(under, under[1:] + under[:1], strict=True))
    # Shoelace formula times the bar's scale squared; corners agree to 0.05 px, sides are 80 px.
    assert measured["quantities"]["area"]["value"] == pytest.approx(
        abs(shoelace) / 2 * mm_per_px**2, rel=0.003
    )


def zoomed_in(page: Page, seen: ScreenMap, turns: int) -> ScreenMap:
    """Turn the wheel over the picture's middle; return where the picture is afterwards."""
    page.mouse.move(*seen.screen(600, 450))
    for _ in range(turns):
        page.mouse.wheel(0, -120)
        pause(page)
        seen = at_rest(page)
    return seen


@pytest.mark.parametrize("presses", [0, 2, 3])
def test_drawn_corners_are_where_the_pointer_was(
    service: Service, open_page: OpenPage, scaled: str, presses: int
) -> None:
    """At any zoom a drawn corner is stored within 0.05 px of the picture's pixel under the pointer."""
    page = open_page(f"/photos/{scaled}").page
    # The wheel keeps the place under the pointer: all three spots stay on the screen.
    seen = zoomed_in(page, ready(page), presses)
    under = draw_pit(page, seen)
    saved(page)
    for drawn, expected in zip(ring_of(stored(service.client, scaled)), under, strict=True):
        assert drawn == pytest.approx(expected, abs=0.05)


def test_touch_draws_on_a_phone(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Taps on a phone draw the same outline, and the controls are at least 44 px large."""
    page = open_page(f"/photos/{scaled}", phone=True).page
    under = draw_pit(page, ready(page), touch=True)
    saved(page)
    for drawn, expected in zip(ring_of(stored(service.client, scaled)), under, strict=True):
        assert drawn == pytest.approx(expected, abs=0.15)
    small = [
        box
        for box in (one.bounding_box() for one in page.locator("main button:visible").all())
        if box and (box["width"] < 44 or box["height"] < 44)
    ]
    assert small == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_keyboard_alone_draws_an_outline(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Arrows, Enter and F outline a pit under the crosshair without a pointer."""
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.get_by_role("button", name="Pit", exact=True).focus()
    page.keyboard.press("Enter")
    # The picture has the focus now.
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        page.keyboard.press("Enter")
        for _ in range(2):
            page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.keyboard.press("f")
    saved(page)
    expect(page.get_by_text("P1 · Pit")).to_be_visible()
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = ring_of(stored(service.client, scaled))
    assert bx - ax == pytest.approx(cx - dx, abs=1e-6)
    assert cy - by == pytest.approx(dy - ay, abs=1e-6)
    assert bx > ax
    assert cy > by


def test_ellipse_is_stored_as_an_ellipse(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Three clicks give an ellipse whose first axis joins the first two."""
    page = open_page(f"/photos/{scaled}").page
    seen = ready(page)
    page.get_by_role("radio", name="Ellipse").check()
    page.get_by_role("button", name="Blend-out", exact=True).click()
    under = []
    for point in ((540, 470), (660, 470), (600, 500)):
        at = seen.screen(*point)
        click(page, *at)
        under.append(seen.pixel(*at))
    saved(page)
    shape = stored(service.client, scaled)["marks"][0]["shape"]
    assert shape["type"] == "Ellipse"
    assert shape["center"] == pytest.approx(
        ((under[0][0] + under[1][0]) / 2, (under[0][1] + under[1][1]) / 2), abs=0.05
    )
    assert shape["semi_axes"] == pytest.approx(
        ((under[1][0] - under[0][0]) / 2, under[2][1] - shape["center"][1]), abs=0.05
    )


def test_a_corner_is_dragged(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Dragging one corner moves that corner to the pointer and leaves the others exactly alone."""
    page = open_page(f"/photos/{scaled}").page
    seen = ready(page)
    draw_pit(page, seen)
    saved(page)
    before = ring_of(stored(service.client, scaled))
    drawn = str(page.locator("#undo").get_attribute("title"))
    start, stop = seen.screen(*CORNERS[2]), seen.screen(690, 530)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move((start[0] + stop[0]) / 2, (start[1] + stop[1]) / 2, steps=4)
    page.mouse.move(*stop, steps=4)
    page.mouse.up()
    expect(page.locator("#undo")).not_to_have_attribute("title", drawn)
    saved(page)
    after = ring_of(stored(service.client, scaled))
    assert after[2] == pytest.approx(seen.pixel(*stop), abs=0.6)
    assert [after[i] for i in (0, 1, 3)] == [before[i] for i in (0, 1, 3)]


def test_a_turned_photo_is_marked_upright(service: Service, open_page: OpenPage) -> None:
    """A photo stored on its side (EXIF orientation 6) reads back upright, preview and original."""
    upright = Image.open(io.BytesIO(target_picture()))
    exif = Image.Exif()
    exif[0x0112] = 6
    stream = io.BytesIO()
    # Orientation 6: to be turned 90 degrees clockwise for display, so it is stored turned the other way.
    upright.transpose(Image.Transpose.ROTATE_90).save(stream, "JPEG", quality=95, exif=exif)
    made = upload(service.client, new_survey(service.client), ("turned.jpg", stream.getvalue()))
    photo = made[0]["photo"]["id"]
    service.client.put(f"/api/photos/{photo}/scale", json=BAR, headers=tag(1))
    page = open_page(f"/photos/{photo}").page
    zoomed_in(page, ready(page), 3)
    expect(page.locator("#photo-pane")).to_have_attribute("data-picture", "shown")
    under = draw_pit(page, at_rest(page))
    saved(page)
    for drawn, expected in zip(ring_of(stored(service.client, photo)), under, strict=True):
        assert drawn == pytest.approx(expected, abs=0.05)


def test_freehand_follows_the_hand(service: Service, open_page: OpenPage, scaled: str) -> None:
    """A freehand outline stays within one css px of the way the pointer went."""
    page = open_page(f"/photos/{scaled}").page
    seen = ready(page)
    page.get_by_role("radio", name="Freehand").check()
    page.get_by_role("button", name="Affected area").click()
    way = [
        seen.screen(600 + 60 * math.cos(t / 20 * math.pi), 470 + 40 * math.sin(t / 20 * math.pi))
        for t in range(40)
    ]
    page.mouse.move(*way[0])
    page.mouse.down()
    for step in way[1:]:
        page.mouse.move(*step)
        # Browsers hand on one move per frame; a hand is slower than a script.
        pause(page, 0)
    page.mouse.up()
    expect(page.get_by_text("A1 · Affected area")).to_be_visible()
    saved(page)
    ring = Polygon(ring_of(stored(service.client, scaled)))
    for step in way:
        assert ring.exterior.distance(Point(seen.pixel(*step))) < seen.pixels_per_css


def test_a_card_is_set_by_its_corners(service: Service, open_page: OpenPage, photo: str) -> None:
    """Four corners in order make a card, an ID-1 card where no size is given."""
    page = open_page(f"/photos/{photo}").page
    seen = ready(page)
    page.get_by_role("button", name="Card", exact=True).click()
    corners = ((500, 380), (720, 390), (715, 530), (498, 522))
    for corner in corners:
        click(page, *seen.screen(*corner))
    saved(page)
    scale = stored(service.client, photo)["scale"]
    assert (scale["kind"], scale["size"]) == ("card", None)
    for drawn, corner in zip(scale["image"], corners, strict=True):
        assert drawn == pytest.approx(corner, abs=seen.pixels_per_css)


def test_a_blend_out_says_what_it_was_measured_from(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """The depth of a blend-out is not taken before it is said what it was measured from."""
    page = open_page(f"/photos/{scaled}").page
    seen = ready(page)
    page.get_by_role("button", name="Blend-out", exact=True).click()
    for corner in CORNERS:
        click(page, *seen.screen(*corner))
    page.get_by_role("button", name="Finish").click()
    page.get_by_label("Depth (mm)").fill("0.06")
    page.get_by_label("Uncertainty u (mm)").fill("0.004")
    page.get_by_label("Read by").select_option("gauge")
    page.get_by_role("button", name="Add reading").click()
    expect(page.get_by_role("alert").filter(has_text="measured from")).to_be_visible()
    page.get_by_role("radio", name="Original contour").check()
    page.get_by_role("button", name="Add reading").click()
    expect(page.locator(".readings")).to_contain_text("0.060 mm, u 0.004 mm")
    saved(page)
    page.get_by_role("radio", name="Faired").check()
    page.get_by_label("Run-out, total length to depth").fill("20")
    page.keyboard.press("Tab")
    saved(page)
    mark = stored(service.client, scaled)["marks"][0]
    assert (mark["measured_from"], mark["depths"][0]["value"]) == ("original", 0.06)
    assert (mark["profile"], mark["run_out"]["total"]) == ("faired", 20)


def test_inches_are_shown_and_stored_in_the_structures_unit(
    service: Service, open_page: OpenPage, scaled: str
) -> None:
    """With the display in inches a depth of 0.0100 in is stored as 0.254 mm (1 in is 25.4 mm exactly)."""
    page = open_page(f"/photos/{scaled}").page
    draw_pit(page, ready(page))
    saved(page)
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="inches (in)").click()
    ready(page)
    page.get_by_text("P1 · Pit").click()
    page.get_by_label("Depth (in)").fill("0.0100")
    page.get_by_label("Uncertainty u (in)").fill("0.0005")
    page.get_by_label("Read by").select_option("gauge")
    page.get_by_role("button", name="Add reading").click()
    expect(page.locator(".readings")).to_contain_text("0.0100 in")
    saved(page)
    reading = stored(service.client, scaled)["marks"][0]["depths"][0]
    assert reading["value"] == pytest.approx(0.254, rel=1e-12)
    assert reading["u"] == pytest.approx(0.0127, rel=1e-12)


def test_the_keyboard_moves_copies_and_deletes(service: Service, open_page: OpenPage, scaled: str) -> None:
    """A corner is picked up and put down, a mark copied and deleted, all without a pointer."""
    ring = [[560, 430], [640, 430], [640, 500], [560, 500]]
    mark = {"id": "P1", "kind": "pit", "shape": {"type": "Polygon", "coordinates": [ring]}}
    service.client.put(f"/api/photos/{scaled}/marks", json=[mark], headers=tag(2))
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.locator("#canvas").focus()
    page.keyboard.press("n")
    expect(page.locator(".marks > li.selected")).to_contain_text("P1")
    pause(page)
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) > 500
    # The selected mark is shown in the middle, no larger than 4 css px per picture pixel: a press of an
    # arrow, 24 css px, is 6 px. From its middle (600, 465) the corner (640, 500) is about 7 and 6 presses.
    across, down = 7, 6
    press(page, "ArrowRight", across)
    press(page, "ArrowDown", down)
    page.keyboard.press("Enter")
    expect(page.locator("#notices")).to_contain_text("Corner picked up")
    press(page, "ArrowRight", 2)
    page.keyboard.press("Enter")
    expect(page.locator("#undo")).to_have_attribute("title", "Undo: reshape P1")
    saved(page)
    moved = ring_of(stored(service.client, scaled))
    assert moved[:2] + moved[3:] == [ring[0], ring[1], ring[3]]
    assert moved[2] == pytest.approx((600 + 6 * (across + 2), 465 + 6 * down), abs=0.05)
    page.keyboard.press("d")
    expect(page.get_by_text("P2 · Pit")).to_be_visible()
    page.keyboard.press("Delete")
    expect(page.get_by_text("P2 · Pit")).to_have_count(0)
    saved(page)
    assert [one["id"] for one in stored(service.client, scaled)["marks"]] == ["P1"]


def test_help_lists_the_keys(open_page: OpenPage, scaled: str) -> None:
    """The question mark opens the help, Escape closes it, and focus goes back."""
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.locator("#canvas").focus()
    page.keyboard.press("?")
    dialog = page.get_by_role("dialog", name="How to work on a photo")
    expect(dialog).to_contain_text("pick up the nearest corner")
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    expect(page.locator("#canvas")).to_be_focused()


def test_a_mark_is_renamed(service: Service, open_page: OpenPage, scaled: str) -> None:
    """A mark takes another name, keeps its outline, and is refused a name that is taken."""
    shape = {"type": "Circle", "center": [600, 450], "radius": 20}
    marks = [{"id": name, "kind": "pit", "shape": shape, "note": name} for name in ("P1", "P2")]
    service.client.put(f"/api/photos/{scaled}/marks", json=marks, headers=tag(2)).raise_for_status()
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.get_by_text("P2 · Pit").click()
    page.get_by_text("Kind, name, feature, date, note").click()
    name = page.get_by_label("Name", exact=True)
    name.fill("P1")
    page.keyboard.press("Tab")
    expect(page.get_by_role("alert").filter(has_text="There is a mark P1 already")).to_be_visible()
    name.fill("S-17 left")
    page.keyboard.press("Tab")
    expect(page.locator(".marks > li.selected")).to_contain_text("S-17 left · Pit")
    saved(page)
    kept = [(mark["id"], mark["note"]) for mark in stored(service.client, scaled)["marks"]]
    assert kept == [("P1", "P1"), ("S-17 left", "P2")]
    page.locator("#undo").click()
    expect(page.locator(".marks")).to_contain_text("P2 · Pit")
    saved(page)
    assert [mark["id"] for mark in stored(service.client, scaled)["marks"]] == ["P1", "P2"]


def test_an_outline_of_many_corners_gets_fewer(service: Service, open_page: OpenPage, scaled: str) -> None:
    """An ellipse of 180 corners keeps its area within half a percent with a number a hand can drag."""
    turn = [math.radians(2.0 * k) for k in range(180)]
    ring = [[600 + 60 * math.cos(t), 450 + 40 * math.sin(t)] for t in turn]
    pit = {"id": "P1", "kind": "pit", "shape": {"type": "Polygon", "coordinates": [ring]}}
    version = service.client.get(f"/api/photos/{scaled}").json()["version"]
    headers = {"If-Match": f'"{version}"'}
    service.client.put(f"/api/photos/{scaled}/marks", json=[pit], headers=headers).raise_for_status()
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.get_by_role("tab", name="2 Marks").click()
    page.get_by_role("button", name="P1 · Pit").click()
    page.get_by_role("button", name="Fewer corners").click()
    expect(page.get_by_role("button", name="Fewer corners")).to_have_count(0)
    expect(page.locator("#undo")).to_have_attribute("title", re.compile("simplify P1"))
    saved(page)
    fewer = ring_of(stored(service.client, scaled))
    assert 12 <= len(fewer) <= 60
    # The ellipse's own area is 2400 pi; its 180 corners have it to 0.02 %.
    assert Polygon(fewer).area == pytest.approx(2400 * math.pi, rel=0.006)
