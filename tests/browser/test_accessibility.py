"""Every page against WCAG 2.2 A and AA as far as axe-core checks it, narrow screens, and big targets."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.api.samples import PLACEMENT, picture, survey_file
from tests.browser.conftest import OpenPage, Service

pytest.importorskip("axe_playwright_python")
AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
NAMES = [
    "/",
    "/structures/new",
    "structure",
    "survey",
    "photos",
    "rework",
    "map",
    "findings",
    "/surveys/nothing",
]
# Targets of a gloved finger; WCAG 2.2, 2.5.8 asks for 24 px, 2.5.5 (AAA) for 44 px.
TOUCH_PX = 44
TARGETS = (
    "button:visible, a.button:visible, select:visible, input:visible, summary:visible, nav li a:visible"
)


@pytest.fixture(scope="module")
def survey(service: Service) -> str:
    """Give a survey that uses every part of a survey file."""
    document = survey_file()
    document["photos"][0] |= {"lens": None, "view": "daylight", "placement": PLACEMENT}
    made = service.client.post("/api/surveys/import", json=document).json()["survey"]["id"]
    service.client.post(f"/api/surveys/{made}/photos", files=[("files", ("f1.jpg", picture(95)))])
    return str(made)


def address(name: str, survey: str, service: Service) -> str:
    """Return the address of a page by its name."""
    if name == "structure":
        return f"/structures/{service.client.get(f'/api/surveys/{survey}').json()['structure_id']}"
    return {"survey": f"/surveys/{survey}"}.get(
        name, name if name[0] == "/" else f"/surveys/{survey}/{name}"
    )


def faults(page: Page) -> list[str]:
    """Run axe on a page; return what is wrong, with where."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    # Only what is wrong is told in full; every rule is run on everything all the same.
    options = "{runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']}"
    found: dict[str, Any] = page.evaluate(f"tags => axe.run(document, {options})", TAGS)
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in found["violations"]
        for node in one["nodes"]
    ]


def too_small(within: Locator) -> list[Any]:
    """Return the targets of a part of a page that are less than 44 px high."""
    found: list[Any] = within.locator(TARGETS).evaluate_all(
        """(all, least) => all.map(one => (one.closest("label.check, label.pick, .segments label") ?? one))
            .filter(one => !one.closest(".visually-hidden"))
            .map(one => [one.outerHTML.slice(0, 90), one.getBoundingClientRect().height])
            .filter(([, height]) => height > 1 && height < least)""",
        TOUCH_PX - 0.5,
    )
    return found


@pytest.mark.parametrize("name", NAMES)
def test_no_fault_that_axe_finds(open_page: OpenPage, service: Service, survey: str, name: str) -> None:
    """Contrast, names, roles, landmarks and labels hold on every page, light and dark."""
    watched = open_page(address(name, survey, service))
    watched.expected = ("404",)
    watched.settle()
    assert faults(watched.page) == []
    watched.page.emulate_media(color_scheme="dark")
    assert faults(watched.page) == []


@pytest.mark.parametrize("name", NAMES)
def test_a_narrow_phone_and_gloves_are_enough(
    open_page: OpenPage, service: Service, survey: str, name: str
) -> None:
    """At 360 px no page scrolls sideways (WCAG 2.2, 1.4.10 asks for 320 px; both are checked).

    On a phone of common size every button, field and menu is at least 44 px high.
    """
    watched = open_page(address(name, survey, service), phone=True)
    watched.expected = ("404",)
    watched.settle()
    assert too_small(watched.page.locator("html")) == []
    for width in (360, 320):
        watched.page.set_viewport_size({"width": width, "height": 740})
        assert watched.page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_skip_link_is_first_and_works(open_page: OpenPage) -> None:
    """The first Tab offers to skip the frame; Enter moves to the content."""
    page = open_page("/").page
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#content")).to_be_focused()


def test_the_focus_is_seen(open_page: OpenPage, survey: str) -> None:
    """Whatever has the focus by keyboard has an outline of at least 2 px."""
    page = open_page(f"/surveys/{survey}/findings").page
    # Until the table is there a link stands in its place, which takes the focus away with it.
    expect(page.locator("#findings")).to_be_visible()
    for _ in range(14):
        page.keyboard.press("Tab")
        width = page.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)")
        assert width >= 2, page.evaluate("document.activeElement.outerHTML")


@pytest.mark.parametrize("kind", ["removal", "reading", "instrument"])
def test_an_open_form_holds_to_the_same(
    open_page: OpenPage, browser: Browser, service: Service, survey: str, kind: str
) -> None:
    """Forms that open on the rework page: axe finds nothing, 320 px are enough, targets fit gloves."""
    context = browser.new_context(viewport={"width": 320, "height": 740}, has_touch=True)
    page = open_page(f"/surveys/{survey}/rework", context=context).page
    page.locator(f"[data-add='{kind}']").click()
    form = page.locator(f"#{kind}-form")
    form.get_by_label("Id", exact=False).first.fill("X 1")
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert too_small(form) == []
    context.close()
