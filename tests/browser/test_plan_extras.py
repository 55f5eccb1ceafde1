"""On the plan page: zones with their own limit, and reinforcements, tried and kept by hand."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Route, expect

from tests.browser.conftest import DESKTOP, OpenPage, Service
from tests.browser.test_accessibility import faults
from tests.browser.test_planning import kept, opened, survey

__all__ = ["survey"]

SOURCE = "Invented order 9, paragraph 1"


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_zone_gets_a_limit_of_its_own(
    open_page: OpenPage, service: Service, survey: str, phone: bool
) -> None:
    """A zone round the pit with a smaller limit turns the blend's verdict at once, and is kept as drawn."""
    page = opened(open_page, survey, "plan", phone=phone)
    first = page.locator("tr[data-blend='1']")
    expect(first).to_contain_text("within")
    page.get_by_text("Blend limits of the members").click()
    page.get_by_role("button", name="Add a zone with its own limit").first.click()
    zone = page.locator("[data-rows='limit_zones']").first.locator("> [data-row]").last
    zone.get_by_label("Corners (mm)").fill("400 100; 450 100")
    expect(page.locator("#trial-faults")).to_contain_text("three corners")
    zone.get_by_label("Corners (mm)").fill("380 80; 500 80; 500 180; 380 180")
    zone.get_by_label("or depth (mm)").fill("0.02")
    zone.get_by_label("Source").fill(SOURCE)
    expect(first).to_contain_text("over")
    page.get_by_role("button", name="Keep these values").click()
    expect(page.locator("#trial-said")).to_contain_text("Kept.")
    structure = service.client.get(f"/api/surveys/{survey}").json()["structure_id"]
    zones = service.client.get(f"/api/structures/{structure}").json()["structure"]["members"][0][
        "limit_zones"
    ]
    assert [one["id"] for one in zones] == ["row", "zone-2"]
    assert zones[1]["outline"] == [[380, 80], [500, 80], [500, 180], [380, 180]]
    assert zones[1]["limit"]["depth"] == 0.02
    assert zones[0]["outline"] == [[0, 0], [900, 0], [900, 20], [0, 20]]


def test_a_reinforcement_is_estimated_and_says_it_is_one(
    open_page: OpenPage, service: Service, survey: str
) -> None:
    """Width, length and fastener give a count by the published table, marked as no approved data."""
    page = opened(open_page, survey, "plan")
    page.get_by_text("Reinforcements to be estimated").click()
    page.get_by_role("button", name="Add a reinforcement").click()
    page.get_by_label("Damage across the load (mm)").fill("254")
    page.get_by_label("Damage along the load (mm)").fill("50")
    page.get_by_label("Reinforced with").select_option("1/8 rivet")
    table = page.get_by_role("region", name="Reinforcements").first
    expect(table).to_contain_text("AC 43.13-1B")
    expect(page.get_by_text("Estimate for planning, not approved data.")).to_be_visible()
    assert faults(page) == []
    page.get_by_role("button", name="Keep these values").click()
    expect(page.locator("#trial-said")).to_contain_text("Kept.")
    (one,) = kept(service, survey, "planning")["reinforcements"]
    assert (one["id"], one["width"], one["table"]) == ("R1", 254.0, None)


RULE_FILE = """
name = "shop"
title = "Invented shop rules"

[[rule]]
id = "light"
label = "Light corrosion"
action = "blend"
source = "Invented order 9"
edition = "Revision A"
paragraph = "2"
when = [{ quantity = "depth_share", op = "<", value = 0.1 }]
"""


def test_rules_come_from_a_file(open_page: OpenPage, service: Service, survey: str) -> None:
    """Rows of a TOML file fill the form and are kept on request; a file without sources is refused."""
    watched = open_page(f"/surveys/{survey}/rules")
    watched.expected = ("422",)
    page = watched.page
    expect(page.locator("#rules-file")).to_be_enabled()
    watched.settle()
    without = RULE_FILE.replace('source = "Invented order 9"\n', "")
    page.locator("#rules-file").set_input_files(
        {"name": "bad.toml", "mimeType": "text/plain", "buffer": without.encode()}
    )
    expect(page.locator("#rules-file-said")).to_contain_text("source")
    expect(page.locator("[data-rows='rules'] > [data-row]")).to_have_count(0)
    page.locator("#rules-file").set_input_files(
        {"name": "shop.toml", "mimeType": "text/plain", "buffer": RULE_FILE.encode()}
    )
    expect(page.locator("#rules-file-said")).to_contain_text("1 row of “Invented shop rules”")
    expect(page.locator("#results")).to_contain_text("Light corrosion")
    assert faults(page) == []
    page.get_by_role("button", name="Keep these values").click()
    expect(page.locator("#trial-said")).to_contain_text("Kept.")
    (row,) = kept(service, survey, "planning")["rules"]
    assert (row["id"], row["source"], row["when"][0]["value"]) == ("light", "Invented order 9", 0.1)


def test_nothing_is_typed_over_what_is_still_loading(
    open_page: OpenPage, browser: Browser, survey: str
) -> None:
    """Until what is kept stands in the form, it takes no typing that would then be lost."""
    held: list[Route] = []
    context = browser.new_context(viewport=DESKTOP, reduced_motion="reduce")
    context.route("**/api/surveys/*/planning", lambda route: held.append(route))  # noqa: PLW0108
    page = open_page(f"/surveys/{survey}/plan", context=context).page
    field = page.locator("[data-name='allowance.depth']")
    expect(field).to_be_disabled()
    expect(page.locator("#plan-whole")).to_be_enabled()
    held[0].continue_()
    expect(field).to_be_enabled()
    expect(field).to_have_value("0.02")
    context.close()
