"""The search and retention pages: by keyboard, with gloves on a phone, and for everyone."""

from __future__ import annotations

import re
import time

import pytest
from playwright.sync_api import Browser, expect

from tests.api.samples import picture, survey_file
from tests.browser.conftest import OpenPage, Service
from tests.browser.test_accessibility import faults, too_small

FOUND = "/search?text=quokka"


@pytest.fixture(scope="module")
def survey(service: Service) -> str:
    """Give a survey whose words no other one has, with a retention label."""
    document = survey_file()
    document["structure"] = document["structure"] | {"name": "Quokka stabilizer"}
    document["survey"] = document["survey"] | {"name": "Quokka look"}
    made = str(service.client.post("/api/surveys/import", json=document).json()["survey"]["id"])
    service.client.post(f"/api/surveys/{made}/photos", files=[("files", ("f1.jpg", picture(195)))])
    source = {"document": "Invented manual", "paragraph": "7.2"}
    label = {"name": "Shop rule", "keep_months": 6, "source": source}
    identifier = service.client.post("/api/retention/labels", json=label).json()["id"]
    service.client.post(f"/api/surveys/{made}/retention", json={"label_id": identifier})
    search = {"name": "Quokkas", "search": {"text": "quokka"}}
    service.client.post("/api/search/saved", json=search)
    # The first search after a change may not wait for a slow machine.
    while service.client.get("/api/search?text=quokka").json()["indexing"] > 0:
        time.sleep(0.05)
    return made


def test_from_any_page_to_a_finding_by_keyboard_alone(open_page: OpenPage, survey: str) -> None:
    """The header's link, the box, the arrows, Enter: no pointer is needed."""
    page = open_page(f"/surveys/{survey}/photos").page
    page.get_by_role("link", name="Search", exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/search")
    expect(page.get_by_label("Look for")).to_be_focused()
    page.keyboard.type("quokka drain")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("text="))
    assert "zone" not in page.url
    expect(page.locator("mark", has_text="drain").first).to_be_visible()
    page.keyboard.press("/")
    expect(page.get_by_label("Look for")).to_be_focused()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    second = page.locator(".hit > .hit-link").nth(1)
    expect(second).to_be_focused()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    expect(page.get_by_label("Look for")).to_be_focused()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/findings"))


def test_search_and_retention_are_accessible_on_desk_and_phone(
    open_page: OpenPage, browser: Browser, survey: str
) -> None:
    """Axe finds nothing in light and dark; nothing is wider than 320 px; every target fits a glove."""
    pages = [FOUND, "/search?depth_from=x", f"/retention?survey={survey}"]
    for path in pages:
        page = open_page(path).page
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            assert faults(page) == [], (path, scheme)
    context = browser.new_context(viewport={"width": 320, "height": 740}, has_touch=True)
    for path in pages:
        page = open_page(path, context=context).page
        page.evaluate("for (const one of document.querySelectorAll('main details')) one.open = true")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
        assert too_small(page.locator("html")) == [], path
        links = page.locator(".hit").evaluate_all(
            "all => all.map(one => one.getBoundingClientRect().height)"
        )
        assert all(height >= 44 for height in links)
    context.close()
