"""The map as a person reads it: the ledger of a spot, by mouse and by keys, for both faces."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.api.samples import STRUCTURE, new_survey
from tests.browser.conftest import DESKTOP, OpenPage, Service
from tests.browser.drawing import pause

# Middle of the 900 x 400 mm skin: what the crosshair points at when the whole member is shown.
MIDDLE = [450, 200]


def record(identifier: str, face: str, depth: float, measured_from: str, date: str) -> dict[str, Any]:
    """Make a flat, round removal in the middle of the skin."""
    return {
        "id": identifier,
        "member": "SK1",
        "face": face,
        "footprint": {"type": "Circle", "center": MIDDLE, "radius": 60},
        "depth": {"value": depth, "u": 0.001},
        "measured_from": measured_from,
        "date": date,
    }


@pytest.fixture
def survey(service: Service) -> str:
    """Give a survey with 0.04 mm off outside and 0.05 mm off inside, in the middle of a skin."""
    made = new_survey(service.client, survey={"name": "Sums"})
    for one in (
        record("OUT1", "outer", 0.04, "original", "2030-01-01"),
        record("IN1", "inner", 0.05, "current", "2030-02-01"),
    ):
        assert service.client.post(f"/api/surveys/{made}/removals", json=one).status_code == 201
    return made


def opened(open_page: OpenPage, survey: str, **options: Any) -> Page:
    """Open the map and wait until its sums are drawn."""
    page: Page = open_page(f"/surveys/{survey}/map?member=SK1", **options).page
    drawn(page)
    return page


def drawn(page: Page) -> None:
    """Wait until the sums are there and drawn: what is on the screen can be clicked."""
    expect(page.locator("#legend li").first).to_be_visible()
    pause(page, 0)


def click_middle(page: Page) -> None:
    """Click where the whole member's middle is: the view's padding shifts it from the box's middle."""
    box = page.locator("#map").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2 + 20, box["y"] + box["height"] / 2)


def test_a_click_gives_the_ledger(open_page: OpenPage, survey: str) -> None:
    """0.04 mm outside and 0.05 mm inside are 0.090 mm against 10 % of 1.02 mm; margin 0.012 mm."""
    page = opened(open_page, survey)
    click_middle(page)
    spot = page.locator("#spot")
    expect(spot).to_contain_text("0.090 ± 0.003 mm")
    expect(spot.get_by_text("0.102 mm")).to_be_visible()
    expect(spot).to_contain_text("Invented scheme RS-12, paragraph 4, revision B")
    expect(spot.get_by_text("0.012 mm")).to_be_visible()
    expect(spot.locator(".verdict")).to_have_text("✓ within limit")
    rows = spot.locator("tbody tr")
    expect(rows).to_have_count(2)
    expect(rows.nth(0)).to_contain_text(re.compile(r"OUT1.*earlier, 2030-01-01, from original.*outer"))
    expect(rows.nth(1)).to_contain_text(re.compile(r"IN1.*from current.*inner.*0\.050.*0\.050.*0\.050"))


def test_the_crosshair_gives_the_same_ledger_by_keys(open_page: OpenPage, survey: str) -> None:
    """Enter asks for the spot under the crosshair; arrows move it off the removal."""
    page = opened(open_page, survey)
    page.locator("#map").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#spot")).to_contain_text("0.090 ± 0.003 mm")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
        pause(page)
    page.keyboard.press("Enter")
    expect(page.locator("#spot")).to_contain_text("No entry reaches this spot")


def test_one_removal_more_tips_the_verdict(open_page: OpenPage, service: Service, survey: str) -> None:
    """Another 0.03 mm from the current surface makes 0.120 mm, over 0.102 mm, in words and symbol."""
    more = record("IN2", "inner", 0.03, "current", "2030-03-01")
    assert service.client.post(f"/api/surveys/{survey}/removals", json=more).status_code == 201
    page = opened(open_page, survey)
    click_middle(page)
    expect(page.locator("#spot .verdict")).to_have_text("✗ over limit")
    expect(page.locator("#spot tbody tr").nth(2)).to_contain_text(re.compile(r"IN2.*0\.030.*0\.080"))
    expect(page.locator("#member-title .verdict")).to_have_text("✗ over limit")


def test_faces_are_summed_or_shown_alone(open_page: OpenPage, survey: str) -> None:
    """The read-out under the pointer follows the face: 0.090, 0.040 or 0.050 mm."""
    page = opened(open_page, survey)
    for face, shown in (("outer", "0.040 mm"), ("inner", "0.050 mm"), ("both, sum", "0.090 mm")):
        with page.expect_response(re.compile("/map/grid")):
            page.get_by_label(face, exact=True).check(force=True)
        box = page.locator("#map").bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2 + 20, box["y"] + box["height"] / 2
        page.mouse.move(x - 5, y)
        page.mouse.move(x, y)
        expect(page.locator("#under")).to_contain_text(f"{shown} removed")


def test_the_margin_has_its_own_legend(open_page: OpenPage, survey: str) -> None:
    """The ramp of the margin ends at the limit, 0.102 mm."""
    page = opened(open_page, survey)
    page.get_by_label("margin left").check(force=True)
    expect(page.locator("#ramp")).to_contain_text("how much more may come off")
    expect(page.locator("#ramp .ends")).to_contain_text("0.102 mm")


def test_inches_are_shown_when_chosen(open_page: OpenPage, survey: str) -> None:
    """0.090 mm is 0.0035 in (25.4 mm to the inch), on the map, its scale bar and its ledger."""
    page = opened(open_page, survey)
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="inches (in)").click()
    drawn(page)
    click_middle(page)
    expect(page.locator("#spot")).to_contain_text("0.0035 ± 0.0002 in")
    expect(page.locator(".ol-scale-line")).to_contain_text("in")


def test_a_disagreeing_reading_is_not_hidden_by_the_sum(
    open_page: OpenPage, service: Service, survey: str
) -> None:
    """Where a reading shows 0.22 mm gone, the ledger does not call the smaller sum within."""
    reading = {"id": "T1", "member": "SK1", "at": MIDDLE, "value": 0.80, "u": 0.002}
    assert service.client.post(f"/api/surveys/{survey}/readings", json=reading).status_code == 201
    page = opened(open_page, survey)
    page.locator("#map").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#spot")).to_contain_text("the larger removal governs")
    expect(page.locator("#spot .verdict")).to_have_text("✗ over limit")


def test_off_the_member_there_is_no_metal(open_page: OpenPage, survey: str) -> None:
    """A click beside the member says so instead of giving a number."""
    watched = open_page(f"/surveys/{survey}/map?member=SK1")
    watched.expected = ("422",)
    page = watched.page
    drawn(page)
    box = page.locator("#map").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] - 8, box["y"] + 8)
    expect(page.locator("#spot")).to_contain_text("lies off member")


def test_not_photographed_is_not_seen(open_page: OpenPage, survey: str) -> None:
    """Without photos the legend says that nothing of either face was seen."""
    page = opened(open_page, survey)
    for face in ("outer", "inner"):
        expect(page.locator("#legend")).to_contain_text(
            re.compile(rf"{face} face not seen \((0 %|nothing)")
        )


def test_a_member_without_limit_is_not_determined(open_page: OpenPage, service: Service) -> None:
    """Metal off a rib that has no limit is never within."""
    survey = new_survey(service.client)
    body = record("R", "outer", 0.01, "original", "2030-01-01") | {
        "member": "RB1",
        "footprint": {"type": "Circle", "center": [200, 60], "radius": 20},
    }
    assert service.client.post(f"/api/surveys/{survey}/removals", json=body).status_code == 201
    page = open_page(f"/surveys/{survey}/map?member=RB1").page
    page.locator("#map").focus()
    drawn(page)
    page.keyboard.press("Enter")
    expect(page.locator("#spot .verdict")).to_have_text("? not determined")
    expect(page.locator("#spot")).to_contain_text("no limit is set here")


def test_the_map_works_on_a_phone(open_page: OpenPage, survey: str) -> None:
    """A tap gives the ledger and brings it into sight."""
    page = opened(open_page, survey, phone=True)
    box = page.locator("#map").bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] / 2 + 20, box["y"] + box["height"] / 2)
    expect(page.locator("#spot")).to_contain_text("0.090")
    expect(page.locator("#spot-title")).to_be_in_viewport()


def test_map_and_legend_share_a_phones_screen(open_page: OpenPage, survey: str) -> None:
    """On a phone the whole map and what its colours mean are in sight together, without scrolling."""
    page = opened(open_page, survey, phone=True)
    for part in ("#map", "#ramp", "#legend li >> nth=0"):
        expect(page.locator(part)).to_be_in_viewport(ratio=1)


def test_the_legend_names_only_what_is_there(open_page: OpenPage, survey: str) -> None:
    """Two earlier removals, no pit and no reading: the legend speaks of the first alone."""
    legend = opened(open_page, survey).locator("#legend")
    expect(legend).to_contain_text("earlier rework on record")
    expect(legend).not_to_contain_text(re.compile("pit|thickness reading"))
    expect(legend).to_contain_text("over the limit")


def test_the_reasons_are_in_the_unit_that_is_chosen(open_page: OpenPage, survey: str) -> None:
    """0.090 mm of 0.102 mm is 0.0035 in of 0.0040 in, in the words of the verdict too."""
    page = opened(open_page, survey)
    expect(page.locator("#member-body")).to_contain_text("0.090 mm removed is within the limit of 0.102 mm")
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="inches (in)").click()
    expect(page.locator("#member-body")).to_contain_text(
        "0.0035 in removed is within the limit of 0.0040 in"
    )


def test_a_print_is_light_whatever_the_theme(open_page: OpenPage, survey: str) -> None:
    """Before a print the map is drawn in light colours, afterwards in the chosen ones again."""
    page = opened(open_page, survey)
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="dark", exact=True).click()
    drawn(page)
    theme = "document.documentElement.dataset.theme"
    assert page.evaluate(f"(dispatchEvent(new Event('beforeprint')), {theme})") == "light"
    assert page.evaluate(f"(dispatchEvent(new Event('afterprint')), {theme})") == "dark"


def test_every_member_can_be_chosen(open_page: OpenPage, survey: str) -> None:
    """Choosing another member shows that member."""
    page = opened(open_page, survey)
    page.locator("#member").select_option("RB1")
    page.wait_for_url(re.compile("member=RB1"))
    expect(page.locator("#map")).to_have_attribute("data-member", "RB1")
    expect(page.locator("#member option")).to_have_count(len(STRUCTURE["members"]))


def test_a_tap_before_the_sums_are_there_is_answered(
    open_page: OpenPage, browser: Browser, survey: str
) -> None:
    """Whoever taps the layout while the sums are still made gets the ledger of that spot, unasked."""
    held: list[Route] = []
    context = browser.new_context(viewport=DESKTOP, reduced_motion="reduce")
    context.route("**/map/data?**", lambda route: held.append(route))  # noqa: PLW0108
    page: Page = open_page(f"/surveys/{survey}/map?member=SK1", context=context).page
    pause(page)
    click_middle(page)
    expect(page.locator("#spot")).to_contain_text("the ledger comes when the sums are made")
    held[0].continue_()
    expect(page.locator("#spot")).to_contain_text("0.090 ± 0.003 mm")
    expect(page.locator("#spot .verdict")).to_have_text("✓ within limit")
    context.close()
