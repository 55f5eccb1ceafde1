"""The history page in a browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from tests.api.samples import MARKS, new_photo, new_survey, tag
from tests.browser.conftest import OpenPage, Service
from tests.browser.test_accessibility import faults, too_small


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_history_reads_and_narrows_on_a_phone(
    open_page: OpenPage, browser: Browser, service: Service, scheme: str
) -> None:
    """Folded details open, a kind shows only its own; axe finds nothing and 320 px are enough."""
    survey = new_survey(service.client)
    photo = new_photo(service.client, survey)
    marks = [MARKS[0] | {"id": f"P{n}"} for n in range(9)]
    for version, kept in ((1, marks), (2, marks[:1])):
        answer = service.client.put(f"/api/photos/{photo['id']}/marks", json=kept, headers=tag(version))
        assert answer.status_code == 200
    context = browser.new_context(
        viewport={"width": 320, "height": 740},
        has_touch=True,
        color_scheme="dark" if scheme == "dark" else "light",
    )
    page = open_page(f"/surveys/{survey}/history", context=context).page
    newest = page.locator(".history > li").first
    expect(newest).to_contain_text("Marks of photo IMG_0000 changed")
    newest.get_by_text("3 more").click()
    expect(newest.get_by_text("P8 (pit) taken out")).to_be_visible()
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert too_small(page.locator("main")) == []
    page.get_by_label("Show", exact=True).select_option("structure")
    with page.expect_navigation():
        page.get_by_role("button", name="Show").click()
    expect(page.locator(".history-headline")).to_have_text("Structure Stabilizer, left added")
    context.close()
