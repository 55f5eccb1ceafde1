"""The comparison in a browser: rows by kind, two photos of one place by keyboard and by touch."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.api.test_compare import enter
from tests.browser.conftest import OpenPage, Service
from tests.compare.plates import CORNERS_NOW, CORNERS_THEN, NOW, THEN, survey, take


@pytest.fixture(scope="module")
def pair(service: Service) -> tuple[str, str]:
    """Give the ids of a later and an earlier survey of one plate."""
    then = enter(service.client, survey("2041-04-17", CORNERS_THEN, THEN), take(CORNERS_THEN, THEN))
    now = enter(service.client, survey("2043-04-17", CORNERS_NOW, NOW), take(CORNERS_NOW, NOW, light=180))
    return now, then


def clean(page: Page) -> None:
    """Check the page with axe."""
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_from_the_choice_to_both_photos(open_page: OpenPage, pair: tuple[str, str]) -> None:
    """On a desk: kinds are hidden and counted, a row leads to its photos, arrow keys move the edge."""
    now, then = pair
    page = open_page(f"/surveys/{now}/compare?with={then}").page
    rows = page.locator("#compare tbody tr:visible")
    expect(rows).to_have_count(5)
    page.get_by_label("= unchanged: 1").uncheck()
    expect(rows).to_have_count(4)
    expect(page.locator("#shown")).to_have_text("4 of 5 findings shown")
    clean(page)
    with page.expect_navigation():
        page.get_by_role("link", name="both photos of later:f1/Q1").click()
    expect(page.locator("#comparer img")).to_have_count(2)
    page.get_by_label("swipe", exact=True).check()
    slider = page.get_by_role("slider", name="How much of the later photo shows")
    slider.press("Home")
    expect(slider).to_have_attribute("aria-valuetext", "0 % of the later photo")
    slider.press("ArrowRight")
    expect(slider).to_have_attribute("aria-valuetext", "1 % of the later photo")
    assert page.locator("#comparer").evaluate("e => e.style.getPropertyValue('--shown')") == "1"
    clean(page)


def test_a_finger_moves_the_edge_on_a_phone(open_page: OpenPage, pair: tuple[str, str]) -> None:
    """On a phone nothing runs off the side, and a touch on the picture brings the edge there."""
    now, then = pair
    watched = open_page(f"/surveys/{now}/compare/{then}/look?row=later:f1/Q1", phone=True)
    page = watched.page
    page.get_by_label("swipe", exact=True).check()
    box = page.locator("#comparer .earlier .frame").bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"])
    expect(page.get_by_role("slider")).to_have_value("25")
    page.get_by_label("fade", exact=True).check()
    expect(page.locator(".later .frame")).to_have_css("opacity", "0.25")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    clean(page)
