"""The record as people meet it: sign, change, sign again, seal, correct; a sealed survey on its pages."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.api.samples import MARKS, tag
from tests.api.sealing.conftest import Case
from tests.browser.conftest import OpenPage, Service
from tests.browser.test_accessibility import faults, too_small


@pytest.fixture(scope="module")
def sealed(service: Service) -> Case:
    """Give a sealed survey."""
    return Case(service.client).sealed()


def sign(page: Page, subject: str, name: str) -> None:
    """Fill in a signature's form and send it."""
    page.locator(f"section:has(#{subject}-title) details.sign > summary").click()
    page.locator(f"#{subject}-name").fill(name)
    page.locator(f"#{subject}-place").fill("Shop 2")
    with page.expect_navigation():
        page.get_by_role("button", name=f"Sign the {subject}").click()
    expect(page.locator(f"#{subject}-title .badge")).to_have_text("✓ signed")


def test_from_open_to_sealed_and_corrected(open_page: OpenPage, service: Service) -> None:
    """Signing asks for what it needs; a change makes it void; the seal asks once more; a revision opens."""
    case = Case(service.client)
    page = open_page(f"/surveys/{case.id}/record").page
    expect(page.locator("h1 .standing")).to_have_text("Open")
    page.locator("section:has(#findings-title) details.sign > summary").click()
    page.get_by_role("button", name="Sign the findings").click()
    expect(page.get_by_role("alert")).to_have_text("Fill in “Name”.")
    expect(page.locator("#findings-name")).to_be_focused()
    page.reload()
    sign(page, "findings", "Inspector A")
    photo = case.photo()
    address = f"/api/photos/{photo['id']}/marks"
    service.client.put(address, json=MARKS[1:], headers=tag(photo["version"]))
    page.reload()
    expect(page.locator("#findings-title .badge")).to_have_text("! void")
    expect(page.get_by_text("changed after the inspector signed")).to_be_visible()
    sign(page, "findings", "Inspector A")
    page.get_by_label("Why there is no decision").fill("Only looked at.")
    page.get_by_role("button", name="Seal this survey").click()
    expect(page.get_by_role("alert").filter(has_text="cannot be undone")).to_be_visible()
    page.get_by_label("I know that a sealed survey").check()
    with page.expect_navigation():
        page.get_by_role("button", name="Seal this survey").click()
    expect(page.locator("p.sealed")).to_contain_text("Sealed by local user")
    assert case.record()["standing"] == "sealed"
    page.get_by_label("What is corrected, and why").fill("Wrong gauge")
    page.get_by_role("button", name="Open a revision").click()
    page.wait_for_url(re.compile(rf"/surveys/(?!{case.id})[0-9a-f]+/record"))
    expect(page.locator("#content")).to_contain_text("2, corrects First look: Wrong gauge")
    expect(page.locator("p.sealed")).to_have_count(0)


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_records_are_accessible(
    open_page: OpenPage, service: Service, sealed: Case, *, phone: bool
) -> None:
    """Open with its forms unfolded, and sealed: axe finds nothing, and nothing is wider than the screen."""
    for survey in (Case(service.client).id, sealed.id):
        page = open_page(f"/surveys/{survey}/record", phone=phone).page
        page.evaluate("document.querySelectorAll('#content details').forEach(one => { one.open = true; })")
        assert faults(page) == []
        assert not phone or too_small(page.locator("#content")) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]


def test_a_sealed_survey_offers_no_edits(open_page: OpenPage, sealed: Case) -> None:
    """Every page says that it is sealed; what would change it is not offered, and drawing does nothing."""
    offered = {
        "photos": "#drop, .pick",
        "rework": "[data-add], .row-actions",
        "worklist": "[data-tick]",
    }
    for path, controls in offered.items():
        page = open_page(f"/surveys/{sealed.id}/{path}").page
        expect(page.locator("p.sealed")).to_be_visible()
        page.locator(controls).first.wait_for(state="attached")
        for control in page.locator(controls).all():
            expect(control).to_be_hidden()
        page.close()
    photo = sealed.photo()
    page = open_page(f"/photos/{photo['id']}").page
    page.locator("#tab-marks").click()
    page.locator('[data-key="mark-P1"]').click()
    page.keyboard.press("Delete")
    expect(page.locator('[data-key="mark-P1"]')).to_be_visible()
    expect(page.locator('[data-key="draw-pit"]')).to_be_hidden()
    expect(page.locator("#panel").get_by_label("Depth (in)")).not_to_be_editable()
    assert sealed.photo()["version"] == photo["version"]


def test_a_sealed_photo_keeps_its_member(open_page: OpenPage, service: Service) -> None:
    """The member that a sealed photo shows is still offered and drawn after the structure has lost it."""
    case = Case(service.client).sealed()
    found = service.client.get(f"/api/structures/{case.structure}").json()
    found["structure"]["members"].pop(0)
    body = {"units": found["units"], "structure": found["structure"]}
    address = f"/api/structures/{case.structure}"
    assert service.client.put(address, json=body, headers=tag(found["version"])).status_code == 200
    page = open_page(f"/photos/{case.photo()['id']}").page
    page.locator("#tab-place").click()
    expect(page.locator("#panel option:checked").first).to_contain_text("SK1")
