"""Planning pages: values tried and kept, reasons that follow, named ticks, rules with their source."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.api.samples import MARKS, PLACEMENT, picture, survey_file
from tests.browser.conftest import OpenPage, Service
from tests.browser.test_accessibility import faults, too_small

PAGES = ["plan", "decision", "worklist", "rules"]
SHOP = "Invented instruction SI-3, paragraph 2"
READ, U_READ, U_GAUGE, ALLOWANCE = 0.03, 0.01, 0.005, 0.02
# Depth read, plus U (k = 2) of reading and gauge, plus the allowance.
PLANNED = READ + 2 * math.hypot(U_READ, U_GAUGE) + ALLOWANCE
LIMIT = 0.1 * 1.02


def sure(value: float) -> dict[str, float]:
    """Give a spread without doubt."""
    return {"low": value, "likely": value, "high": value}


PLANNING: dict[str, Any] = {
    "allowance": {"depth": ALLOWANCE, "source": SHOP},
    "run_out": {"ratio": {"total": 20}, "source": "AC 43.13-1B, para 6-115c"},
}
# 10 hours at 50 and 100 of material: 600 in all; nothing is expected to hide.
DECISION: dict[str, Any] = {
    "rates": {"currency": "EUR", "hour": sure(50)},
    "actions": [
        {"id": "A1", "name": "Blend", "member": "SK1"}
        | {"hours": sure(10), "money": sure(100), "days": sure(3)}
    ],
    "hidden": {"hours": sure(0), "money": sure(0), "days": sure(0), "findings": sure(0)},
    "candidates": [
        {"id": "C1", "kind": "new", "name": "New one", "price": sure(1000), "days": sure(9), "actions": []}
    ],
    "draws": 1000,
}


@pytest.fixture
def survey(service: Service) -> str:
    """Give a survey of one pit, 0.03 mm deep, on a skin with a limit of 0.102 mm, and its planning."""
    document = survey_file() | {"removals": [], "thickness_readings": [], "display_units": "mm"}
    pit = MARKS[0] | {"depths": [MARKS[0]["depths"][0] | {"value": READ, "u": U_READ}]}
    document["photos"][0] |= {"lens": None, "view": "daylight", "placement": PLACEMENT, "marks": [pit]}
    made = str(service.client.post("/api/surveys/import", json=document).json()["survey"]["id"])
    service.client.post(f"/api/surveys/{made}/photos", files=[("files", ("f1.jpg", picture(95)))])
    put(service, made, "planning", PLANNING)
    return made


def put(service: Service, survey: str, part: str, body: Any) -> None:
    """Store a survey's planning, decision or rules."""
    address = f"/api/surveys/{survey}/{part}"
    tag = service.client.get(address).headers["ETag"]
    answer = service.client.put(address, json=body, headers={"If-Match": tag})
    assert answer.status_code == 200, answer.text


def kept(service: Service, survey: str, part: str) -> Any:
    """Read a survey's planning or decision."""
    return service.client.get(f"/api/surveys/{survey}/{part}").json()[part]


def opened(open_page: OpenPage, survey: str, name: str, **options: Any) -> Page:
    """Open a planning page and wait until its form holds what is kept."""
    watched = open_page(f"/surveys/{survey}/{name}", **options)
    expect(watched.page.locator("fieldset[data-waits]:disabled")).to_have_count(0)
    watched.settle()
    return watched.page


def allowance(page: Page) -> Any:
    """Find the field of the clean-up allowance."""
    return page.locator("[data-name='allowance.depth']")


def said(page: Page) -> Any:
    """Find the line that says whether the figures are kept."""
    return page.locator("#trial-said")


def test_the_plan_follows_the_allowance(open_page: OpenPage, service: Service, survey: str) -> None:
    """0.05 mm of allowance take the plan over 0.102 mm at once; stored is it only once it is kept."""
    page = opened(open_page, survey, "plan")
    row = page.locator("tr[data-member='SK1'][data-blend='1']")
    expect(row).to_contain_text(f"{PLANNED:.3f}")
    expect(row).to_contain_text("within limit")
    allowance(page).fill("0.05")
    expect(row).to_contain_text("over limit")
    expect(row).to_contain_text(f"{PLANNED - ALLOWANCE + 0.05:.3f}")
    expect(said(page)).to_contain_text("Tried out, not kept")
    assert kept(service, survey, "planning")["allowance"]["depth"] == ALLOWANCE
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    assert kept(service, survey, "planning")["allowance"] == {"depth": 0.05, "source": SHOP}


def test_what_was_tried_can_be_let_go(open_page: OpenPage, service: Service, survey: str) -> None:
    """Going back shows field and figures as they are kept."""
    page = opened(open_page, survey, "plan")
    allowance(page).fill("0.05")
    expect(page.locator("tr[data-blend='1']")).to_contain_text("over limit")
    page.get_by_role("button", name="Go back to what is kept").click()
    expect(page.locator("tr[data-blend='1']")).to_contain_text("within limit")
    expect(allowance(page)).to_have_value("0.02")
    assert kept(service, survey, "planning")["allowance"]["depth"] == ALLOWANCE


def test_a_ratio_is_stated_both_ways(open_page: OpenPage, service: Service, survey: str) -> None:
    """15 on each side shows 30 in all, and it is stored the way it was typed."""
    page = opened(open_page, survey, "plan")
    expect(page.locator("[data-name='run_out.ratio.per_side']")).to_have_value("10")
    page.locator("[data-name='run_out.ratio.per_side']").fill("15")
    expect(page.locator("[data-name='run_out.ratio.total']")).to_have_value("30")
    expect(page.locator("[data-part='both-ways']")).to_have_text("30:1 in all, which is 15:1 on each side.")
    expect(page.locator(".rests")).to_contain_text("30:1 total length to depth, which is 15:1 on each side")
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    ratio = kept(service, survey, "planning")["run_out"]["ratio"]
    assert (ratio["total"], ratio["per_side"]) == (None, 15)


def test_a_figure_needs_its_source(open_page: OpenPage, service: Service, survey: str) -> None:
    """An allowance without its source is not kept; the page says which source is missing and goes there."""
    page = opened(open_page, survey, "plan")
    page.locator("[data-name='allowance.source']").fill("")
    expect(said(page)).to_contain_text("Clean-up allowance: Source is missing.")
    page.get_by_role("button", name="Keep these values").click()
    expect(page.locator("#trial-faults")).to_contain_text("Clean-up allowance: Source is missing.")
    expect(page.locator("[data-name='allowance.source']")).to_be_focused()
    assert kept(service, survey, "planning")["allowance"]["source"] == SHOP


def test_nothing_stated_says_what_to_do(open_page: OpenPage, service: Service, survey: str) -> None:
    """Without allowance and ratio nothing is planned, and the page asks for both with their sources."""
    put(service, survey, "planning", {})
    page = opened(open_page, survey, "plan")
    expect(page.locator("#results")).to_contain_text("Nothing can be planned yet.")
    expect(page.locator("#results")).to_contain_text("no clean-up allowance is set")


def test_inches_are_shown_and_millimetres_kept(open_page: OpenPage, service: Service, survey: str) -> None:
    """The plan reads in inches; a value nobody touched stays in mm as it was, bit for bit."""
    page = opened(open_page, survey, "plan")
    page.locator(".display-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="inches (in)").click()
    expect(page.locator("tr[data-blend='1']")).to_contain_text(f"{PLANNED / 25.4:.4f}")
    page.locator("[data-name='allowance.source']").fill("Another paragraph")
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    assert kept(service, survey, "planning")["allowance"] == {
        "depth": ALLOWANCE,
        "source": "Another paragraph",
    }


def test_two_people_change_the_planning(open_page: OpenPage, service: Service, survey: str) -> None:
    """The second is shown both versions, and nothing is kept before a choice."""
    watched = open_page(f"/surveys/{survey}/plan")
    watched.expected = ("412",)
    page = watched.page
    expect(allowance(page)).to_have_value("0.02")
    put(service, survey, "planning", PLANNING | {"allowance": {"depth": 0.03, "source": "Theirs"}})
    allowance(page).fill("0.04")
    page.get_by_role("button", name="Keep these values").click()
    conflict = page.locator("#trial-conflict")
    expect(conflict).to_contain_text("Someone else changed what the plan rests on")
    expect(conflict.get_by_role("row", name=re.compile("depth"))).to_contain_text("0.030.04")
    assert kept(service, survey, "planning")["allowance"]["depth"] == 0.03
    page.get_by_role("button", name="Save mine over it").click()
    expect(said(page)).to_contain_text("Kept.")
    assert kept(service, survey, "planning")["allowance"] == {"depth": 0.04, "source": SHOP}


def test_a_limit_moves_the_reasons(open_page: OpenPage, service: Service, survey: str) -> None:
    """With 5 % instead of 10 % the chain of reasons names the new limit, and no limit is stored yet."""
    page = opened(open_page, survey, "decision")
    chain = page.locator(".disposition[data-member='SK1'] details .chain").first
    expect(chain).to_contain_text(f"limit {LIMIT:.3f} mm")
    page.get_by_text("Blend limits of the members").click()
    page.locator("#limits-form [data-name='fraction']").first.fill("5")
    expect(chain).to_contain_text(f"limit {0.05 * 1.02:.3f} mm")
    expect(page.locator(".disposition[data-member='SK1'] h3")).to_contain_text("not determined")
    structure = service.client.get(f"/api/surveys/{survey}").json()["structure_id"]
    address = f"/api/structures/{structure}"
    assert service.client.get(address).json()["structure"]["members"][0]["limit"]["fraction"] == 0.1
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    members = service.client.get(address).json()["structure"]["members"]
    assert [one["limit"] and one["limit"]["fraction"] for one in members] == [0.05, None]
    assert members[0]["limit_zones"][0]["id"] == "row"


def test_a_limit_needs_its_source(open_page: OpenPage, survey: str) -> None:
    """A limit without its source is not tried; the page says whose source is missing."""
    page = opened(open_page, survey, "plan")
    page.get_by_text("Blend limits of the members").click()
    page.locator("#limits-form [data-name='source']").first.fill("")
    expect(said(page)).to_contain_text("Limit of SK1: Source is missing.")
    page.locator("#limits-form [data-name='fraction']").first.fill("")
    expect(page.locator("tr[data-blend='1']")).to_contain_text("no limit set")
    expect(page.locator("#results")).to_contain_text("not determined")


def test_a_print_of_tried_values_says_so(open_page: OpenPage, survey: str) -> None:
    """What is printed while values are only tried carries that they are not kept."""
    page = opened(open_page, survey, "plan")
    words = "getComputedStyle(document.querySelector('#results'), '::before').content"
    assert page.evaluate(words) == "none"
    allowance(page).fill("0.05")
    expect(said(page)).to_contain_text("Tried out")
    page.emulate_media(media="print")
    assert "not kept" in page.evaluate(words)
    expect(page.locator(".plan-settings")).to_be_hidden()
    page.emulate_media(media="screen")
    page.get_by_role("button", name="Go back to what is kept").click()
    expect(said(page)).to_have_text("The figures are those that are kept.")
    assert page.evaluate(words) == "none"


def test_a_price_moves_the_decision(open_page: OpenPage, service: Service, survey: str) -> None:
    """A repair of 600 against 1000 is cheaper, against 500 it is not; the break-even price is 600."""
    put(service, survey, "decision", DECISION)
    page = opened(open_page, survey, "decision")
    numbers = page.locator(".big-numbers")
    expect(numbers).to_contain_text("over 99 %repair is cheaper than New one")
    expect(numbers).to_contain_text("600 EURbreak-even price")
    page.locator("#decision-form").get_by_text("New one, price 1000").click()
    for part in ("low", "likely", "high"):
        page.locator(f"[data-name='price.{part}']").fill("500")
    expect(numbers).to_contain_text("under 1 %repair is cheaper than New one")
    expect(numbers).to_contain_text("600 EURbreak-even price")
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    stored = kept(service, survey, "decision")
    assert stored["candidates"][0]["price"] == sure(500)
    assert stored["actions"][0]["hours"] == sure(10)
    assert stored["draws"] == 1000


def test_a_decision_is_entered_from_nothing(open_page: OpenPage, service: Service, survey: str) -> None:
    """Currency, one piece of work and one replacement can be typed in; what is blank is not stated."""
    page = opened(open_page, survey, "decision")
    expect(page.locator("#results")).to_contain_text("Nothing is stated to compare yet.")
    page.locator("[data-name='rates.currency']").fill("EUR")
    page.get_by_role("button", name="Add work to the repair").click()
    page.locator("[data-rows='actions'] [data-name='name']").fill("Blend")
    page.get_by_role("button", name="Add a replacement").click()
    page.locator("[data-rows='candidates'] > [data-row] [data-name='name']").first.fill("New one")
    expect(page.locator("#results")).to_contain_text("states no hours")
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    stored = kept(service, survey, "decision")
    assert [(one["id"], one["name"], one["hours"]) for one in stored["actions"]] == [("A1", "Blend", None)]
    assert [(one["id"], one["kind"], one["price"]) for one in stored["candidates"]] == [("C1", "new", None)]


def test_every_plot_is_said_in_words(open_page: OpenPage, service: Service, survey: str) -> None:
    """Plots are pictures that load, and each has a text that names its figures."""
    put(service, survey, "decision", DECISION)
    page = opened(open_page, survey, "decision")
    pictures = page.locator(".plots img")
    expect(pictures.first).to_be_visible()
    for one in pictures.all():
        expect(one).to_have_js_property("complete", value=True)
    assert pictures.evaluate_all("all => all.every(one => one.naturalWidth > 0)")
    assert "Repair: 600 EUR" in str(pictures.first.get_attribute("alt"))


def test_a_rule_without_a_source_is_refused(open_page: OpenPage, service: Service, survey: str) -> None:
    """The page says that a rule needs source, edition and paragraph; with them it is kept."""
    page = opened(open_page, survey, "rules")
    page.get_by_role("button", name="Add a rule").click()
    form = page.locator("#rules-form")
    form.locator("[data-name='label']").fill("light")
    form.get_by_role("button", name="Add a condition").click()
    form.locator("[data-name='share']").fill("10")
    page.get_by_role("button", name="Keep these values").click()
    expect(page.locator("#trial-faults")).to_contain_text(
        "A rule without its source, edition and paragraph"
    )
    expect(form.locator("[data-name='source']")).to_be_focused()
    assert service.client.get(f"/api/surveys/{survey}/rules").json()["rules"] == []
    for name, words in (("source", "Invented manual"), ("edition", "rev 3"), ("paragraph", "4-1")):
        form.locator(f"[data-name='{name}']").fill(words)
    page.locator("#rules-form [data-name='action']").select_option("blend")
    expect(page.locator("#results")).to_contain_text("Invented manual, rev 3, 4-1")
    expect(page.locator("#results")).to_contain_text("gap: no rule covers it")
    page.get_by_role("button", name="Keep these values").click()
    expect(said(page)).to_contain_text("Kept.")
    (rule,) = service.client.get(f"/api/surveys/{survey}/rules").json()["rules"]
    assert rule["when"] == [{"quantity": "depth_share", "op": "<", "value": 0.1}]
    assert kept(service, survey, "planning")["allowance"]["source"] == SHOP


def test_the_example_names_its_gaps(open_page: OpenPage, survey: str) -> None:
    """TM 1-1520-238-23, p. 2-372, has no answer for exactly 20 % of a skin; the page says so."""
    page = opened(open_page, survey, "rules")
    page.locator("[data-name='rule_set']").select_option("example-empennage")
    expect(page.locator("#results .gaps")).to_contain_text("exactly 20 %")
    expect(page.locator("#results .gaps")).to_contain_text("inner conflict")
    expect(page.locator("#own-rows")).to_be_hidden()


def test_a_step_is_ticked_with_name_and_time(open_page: OpenPage, service: Service, survey: str) -> None:
    """Without a name nothing is logged; with one the step stands ticked, on the page and in the service."""
    page = opened(open_page, survey, "worklist")
    card = page.locator(".bench-card").first
    expect(card).to_contain_text("Blend to")
    card.get_by_role("button", name=re.compile("Tick off recorded")).click()
    dialog = page.locator("#tick")
    dialog.get_by_role("button", name="Tick off").click()
    expect(dialog.locator(".error")).to_contain_text("Write your name")
    page.get_by_label("Your name").fill("Fitter B")
    dialog.get_by_role("button", name="Tick off").click()
    expect(page.locator("#page-said")).to_have_text("Logged: recorded, Fitter B.")
    expect(card.locator(".step.ticked")).to_contain_text("recorded by Fitter B")
    (first, *_) = service.client.get(f"/api/surveys/{survey}/worklist").json()["cards"]
    assert [(one["who"], one["what"]) for one in first["ticks"]] == [("Fitter B", "recorded")]
    card.get_by_role("button", name=re.compile("Tick off blended")).click()
    expect(page.get_by_label("Your name")).to_have_value("Fitter B")


def test_cautions_stand_before_the_cards(open_page: OpenPage, survey: str) -> None:
    """The cautions for the material, and that approved data govern, come before any card."""
    page = opened(open_page, survey, "worklist")
    expect(page.locator(".bench-card").first).to_be_visible()
    text = page.locator("main").inner_text()
    assert text.index("Approved data govern") < text.index("Card 1")
    assert text.index("Before anyone grinds") < text.index("Card 1")


def test_the_plan_is_drawn(open_page: OpenPage, survey: str) -> None:
    """A click on a row brings its blend to the map; the map is a canvas with the member on it."""
    page = opened(open_page, survey, "plan")
    expect(page.locator("#plan-map canvas").first).to_be_visible()
    page.locator("#plan-whole").click()
    page.locator("tr[data-blend='1'] td").nth(2).click()
    expect(page.locator("#plan-map .ol-scale-line-inner")).to_contain_text("mm")


def whole(page: Page) -> None:
    """Open everything that folds, as a reader may."""
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    page.evaluate("document.querySelectorAll('details.menu').forEach(one => { one.open = false })")


@pytest.mark.parametrize("name", PAGES)
def test_no_fault_that_axe_finds(open_page: OpenPage, service: Service, survey: str, name: str) -> None:
    """Contrast, names, roles, landmarks and labels hold on every planning page, all of it unfolded."""
    put(service, survey, "decision", DECISION)
    page = opened(open_page, survey, name)
    whole(page)
    assert faults(page) == []
    page.emulate_media(color_scheme="dark")
    assert faults(page) == []


@pytest.mark.parametrize("name", PAGES)
def test_it_fits_a_narrow_phone_and_a_glove(
    open_page: OpenPage, service: Service, survey: str, name: str
) -> None:
    """At 360 and 320 px nothing scrolls sideways, and every target is at least 44 px high."""
    put(service, survey, "decision", DECISION)
    page = opened(open_page, survey, name, phone=True)
    whole(page)
    for width in (360, 320):
        page.set_viewport_size({"width": width, "height": 740})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert too_small(page.locator("html")) == []
