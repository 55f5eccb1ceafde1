"""The photo page as a person uses it: what is drawn, entered, undone, lost and found again."""

from __future__ import annotations

import io
import math
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from shapely.geometry import Point, Polygon

from tests.api.samples import new_survey, tag, upload
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import ScreenMap, click, saved, screen_map, stored, target_picture

BAR = {
    "kind": "bar",
    "image": [[420, 620], [620, 620]],
    "length": 50.0,
    "u_length": 0.1,
    "max_tilt_deg": 10,
}
# Outline in picture pixels; convex, inside the picture, away from the bars of the page.
CORNERS = [(560.0, 430.0), (640.0, 425.0), (650.0, 500.0), (570.0, 510.0)]


@pytest.fixture
def photo(service: Service) -> str:
    """Give a new photo of a survey of its own, without a scale."""
    survey = new_survey(service.client, instruments=[{"id": "DG-2", "kind": "depth gauge"}])
    made = upload(service.client, survey, ("target.png", target_picture()))
    return str(made[0]["photo"]["id"])


@pytest.fixture
def scaled(service: Service, photo: str) -> str:
    """Give a photo whose scale reference is set: 200 px are 50 mm."""
    answer = service.client.put(f"/api/photos/{photo}/scale", json=BAR, headers=tag(1))
    assert answer.status_code == 200, answer.text
    return photo


def ready(page: Page) -> ScreenMap:
    """Wait for the picture; return where it is on the screen."""
    saved(page)
    page.wait_for_timeout(700)
    return screen_map(page)


def draw_pit(page: Page, seen: ScreenMap, *, touch: bool = False) -> list[tuple[float, float]]:
    """Outline a pit by clicks; return the picture pixels that were under them."""
    page.get_by_role("button", name="Pit", exact=True).click()
    page.wait_for_timeout(150)
    seen = screen_map(page) if touch else seen
    under = []
    for corner in CORNERS:
        at = seen.screen(*corner)
        click(page, *at, touch=touch)
        under.append(seen.pixel(*at))
    page.get_by_role("button", name="Finish").click()
    return under


def ring_of(photo: dict[str, Any], index: int = -1) -> list[list[float]]:
    """Return the outline of a stored mark."""
    ring: list[list[float]] = photo["marks"][index]["shape"]["coordinates"][0]
    return ring


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


@pytest.mark.parametrize("presses", [0, 2, 3])
def test_drawn_corners_are_where_the_pointer_was(
    service: Service, open_page: OpenPage, scaled: str, presses: int
) -> None:
    """At any zoom a drawn corner is stored within 0.05 px of the picture's pixel under the pointer."""
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    # The wheel keeps the place under the pointer: all three spots stay on the screen.
    middle = screen_map(page).screen(600, 450)
    page.mouse.move(*middle)
    for _ in range(presses):
        page.mouse.wheel(0, -120)
        page.wait_for_timeout(350)
    page.wait_for_timeout(600)
    seen = screen_map(page)
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


def test_undo_and_redo(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Undo takes the mark away from the service too, redo brings the same outline back."""
    page = open_page(f"/photos/{scaled}").page
    draw_pit(page, ready(page))
    saved(page)
    drawn = ring_of(stored(service.client, scaled))
    page.get_by_role("button", name="Undo: draw P1").click()
    expect(page.get_by_text("P1 · Pit")).to_have_count(0)
    page.wait_for_timeout(700)
    saved(page)
    assert stored(service.client, scaled)["marks"] == []
    page.locator("#canvas").focus()
    page.keyboard.press("Control+y")
    page.wait_for_timeout(700)
    saved(page)
    assert ring_of(stored(service.client, scaled)) == drawn


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
    page.unroute("**/api/photos/*/marks")
    page.reload()
    expect(page.locator("#notices")).to_contain_text("was brought back")
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
    page.get_by_role("button", name="Try again now").click()
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
    page.get_by_text("Kind, feature, date, note").click()
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
    page.locator("#undo").click()
    page.wait_for_timeout(700)
    saved(page)
    back = {mark["id"]: mark for mark in stored(service.client, scaled)["marks"]}
    assert back["P1"]["note"] == ("their note" if choice == "mine" else "my note")


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
    start, stop = seen.screen(*CORNERS[2]), seen.screen(690, 530)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move((start[0] + stop[0]) / 2, (start[1] + stop[1]) / 2, steps=4)
    page.mouse.move(*stop, steps=4)
    page.mouse.up()
    page.wait_for_timeout(700)
    saved(page)
    after = ring_of(stored(service.client, scaled))
    assert after[2] == pytest.approx(seen.pixel(*stop), abs=0.6)
    assert [after[i] for i in (0, 1, 3)] == [before[i] for i in (0, 1, 3)]


def test_place_on_the_layout(service: Service, open_page: OpenPage, scaled: str) -> None:
    """Two point pairs, typed and clicked, put the photo on its member."""
    page = open_page(f"/photos/{scaled}").page
    ready(page)
    page.get_by_role("tab", name="3 Place").click()
    page.get_by_label("Member", exact=True).select_option("SK1")
    page.get_by_label("Face", exact=True).select_option("outer")
    expect(page.locator("#layout canvas").first).to_be_visible()
    page.wait_for_timeout(500)
    seen = screen_map(page)
    for letter, (point, station) in enumerate((((500, 400), "400"), ((700, 400), "450"))):
        page.get_by_role("button", name="Add a point pair").click()
        click(page, *seen.screen(*point))
        pair = page.locator(".pairs > li").nth(letter)
        pair.get_by_label("Station (mm)").fill(station)
        pair.get_by_label("Offset (mm)").fill("120")
        page.keyboard.press("Tab")
        page.wait_for_timeout(100)
    saved(page)
    kept = stored(service.client, scaled)
    assert (kept["member"], kept["face"]) == ("SK1", "outer")
    assert kept["placement"]["layout"] == [[400, 120], [450, 120]]


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
    ready(page)
    preview = screen_map(page)
    page.mouse.move(*preview.screen(600, 450))
    for _ in range(3):
        page.mouse.wheel(0, -120)
        page.wait_for_timeout(350)
    expect(page.locator("#photo-pane")).to_have_attribute("data-picture", "shown")
    page.wait_for_timeout(600)
    under = draw_pit(page, screen_map(page))
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
        page.wait_for_timeout(40)
    page.mouse.up()
    expect(page.get_by_text("A1 · Affected area")).to_be_visible()
    saved(page)
    ring = Polygon(ring_of(stored(service.client, scaled)))
    for step in way:
        assert ring.exterior.distance(Point(seen.pixel(*step))) < seen.pixels_per_css


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
    page.wait_for_timeout(300)
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
