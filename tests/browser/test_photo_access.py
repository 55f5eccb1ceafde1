"""The photo page against WCAG 2.2 A and AA as far as axe-core checks it, each step, desk and phone."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import OpenPage
from tests.browser.drawing import saved
from tests.browser.test_accessibility import TOUCH_PX, faults
from tests.browser.test_photo_suggest import SEARCH_MS, corroded

__all__ = ["corroded"]


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_no_step_has_a_fault_that_axe_finds(open_page: OpenPage, corroded: str, *, phone: bool) -> None:
    """Scale, marks with suggestions waiting, place; light, dark: no fault, no side scroll, big targets."""
    page = open_page(f"/photos/{corroded}", phone=phone).page
    saved(page)
    for step in ("1 Scale", "2 Marks", "3 Place"):
        page.get_by_role("tab", name=step).click()
        if step == "2 Marks":
            page.get_by_text("Let the program suggest outlines").click()
            page.get_by_role("button", name="Sweep the whole picture").click()
            expect(page.locator("#suggest-accept")).to_be_visible(timeout=SEARCH_MS)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            assert faults(page) == [], (step, scheme)
        boxes = [one.bounding_box() for one in page.locator("main button:visible").all()]
        small = [box for box in boxes if box and min(box["width"], box["height"]) < TOUCH_PX]
        assert small == [], step
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), step
