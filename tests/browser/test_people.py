"""Signing in and managing people in a browser: by keyboard, by gloved finger, without a fault axe finds."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from api.actor import Role
from api.app import open_database
from api.people.accounts import Details
from api.people.service import open_people
from api.settings import Settings
from tests.api.samples import new_survey
from tests.browser.conftest import DESKTOP, PHONE, Service, Watched, watch
from tests.browser.test_accessibility import faults, too_small
from tests.support import need

PASSWORD = "seven yellow rivets in a row"  # noqa: S105 - opens nothing but these tests
FRESH = "nine green washers on a string"
LEAST_WIDTH = 320


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Give a running service with an administrator, and an inspector with a first password."""
    from api.pages.templating import bundle_is_built  # noqa: PLC0415

    need(bundle_is_built(), "the pages are not bundled: run 'node build.mjs' in api/web")
    folder: Path = tmp_path_factory.mktemp("guarded")
    # While there are no accounts anybody on this machine may enter a survey.
    open_to_all = Service(folder)
    open_to_all.start()
    new_survey(open_to_all.client)
    open_to_all.close()
    settings = Settings(data_dir=folder)
    database = open_database(settings)
    accounts = open_people(database, settings).accounts
    accounts.add("ada", Details("Ada Kivi", frozenset({Role.ADMINISTRATOR})), PASSWORD, must_change=False)
    inspector = Details("Inga Mäkelä-Östergård", frozenset({Role.INSPECTOR}), "NDT-0417", "Visual, level 2")
    accounts.add("inga", inspector, PASSWORD, must_change=True)
    accounts.add("paul", Details("Paul Sand", frozenset({Role.PLANNER})), PASSWORD, must_change=False)
    database.close()
    service = Service(folder)
    service.start()
    yield service
    service.close()


def fit(page: Page) -> None:
    """Check a page: no fault that axe finds, nothing wider than a narrow phone, big targets."""
    assert faults(page) == [], page.url
    assert too_small(page.locator("html")) == [], page.url
    assert page.evaluate("document.documentElement.scrollWidth") <= (page.viewport_size or PHONE)["width"]


def opened(browser: Browser, service: Service, *, width: int = 0, dark: bool = False) -> Watched:
    """Open a browser of its own at the start page."""
    context = browser.new_context(
        viewport={"width": width, "height": 740} if width else DESKTOP,
        has_touch=bool(width),
        color_scheme="dark" if dark else "light",
        reduced_motion="reduce",
    )
    watched = watch(context.new_page(), service.url)
    watched.expected = ("401", "403")
    watched.page.goto(service.url + "/structures/new")
    return watched


def test_an_administrator_works_by_keyboard(browser: Browser, guarded: Service) -> None:
    """Sign in with Enter, come to the page asked for, make a token, add a person, sign out."""
    watched = opened(browser, guarded, dark=True)
    page = watched.page
    expect(page.get_by_label("Name")).to_be_focused()
    fit(page)
    page.keyboard.type("ADA")
    page.keyboard.press("Tab")
    page.keyboard.type("a wrong guess")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("do not belong together")
    expect(page.get_by_label("Password", exact=True)).to_be_focused()
    fit(page)
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/structures/new")

    page.goto(guarded.url + "/account")
    fit(page)
    page.get_by_label("What uses it").fill("Nightly export")
    with page.expect_navigation():
        page.get_by_role("button", name="Make a token").click()
    token = page.locator("#token").inner_text()
    fit(page)
    answer = guarded.client.get("/api/me", headers={"Authorization": f"Bearer {token}"})
    assert answer.json()["via"] == "token"

    page.locator(".person-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("link", name="People").click()
    fit(page)
    page.get_by_label("Name to sign in with").fill("eino")
    page.get_by_label("Name as records show it").fill("Eino Laine")
    page.get_by_label("planner").check()
    with page.expect_navigation():
        page.get_by_role("button", name="Add and show").click()
    expect(page.locator("#first-password")).to_be_visible()
    fit(page)

    page.goto(guarded.url + "/people")
    page.locator(".person-menu summary").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Sign out", exact=True).click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.go_back()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    watched.check()
    page.context.close()


def test_an_inspector_comes_in_on_a_phone(browser: Browser, guarded: Service) -> None:
    """At 320 px: see what is typed, change the first password, go on; the administrator's page says no."""
    watched = opened(browser, guarded, width=LEAST_WIDTH)
    page = watched.page
    fit(page)
    page.get_by_label("Name").fill("inga")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Show the password").click()
    expect(page.locator("#password")).to_have_attribute("type", "text")
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text("Choose one of your own")
    fit(page)
    page.get_by_label("Present password").fill(PASSWORD)
    page.get_by_label("New password", exact=True).fill(FRESH)
    page.get_by_label("New password once more").fill(FRESH)
    with page.expect_navigation():
        page.get_by_role("button", name="Change the password").click()
    expect(page.get_by_role("status")).to_contain_text("The password is changed")
    expect(page.locator("#certificate_number")).to_have_value("NDT-0417")
    fit(page)
    page.goto(guarded.url + "/people")
    expect(page.locator("main")).to_contain_text("it takes the role administrator")
    fit(page)
    page.goto(guarded.url + "/")
    expect(page.locator(".person-name")).to_have_text("Inga Mäkelä-Östergård")
    watched.check()
    page.context.close()


def test_pages_say_beforehand_whose_role_a_change_takes(browser: Browser, guarded: Service) -> None:
    """A planner is not offered an inspector's controls, is told the role, and keeps what is a planner's."""
    watched = opened(browser, guarded)
    page = watched.page
    page.get_by_label("Name").fill("paul")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_role("button", name="Keep this structure")).to_be_disabled()
    expect(page.get_by_role("note")).to_contain_text("takes the role inspector")
    page.goto(guarded.url + "/")
    expect(page.locator("main")).to_contain_text("waits for the inspector to sign")
    expect(page.get_by_role("link", name="Enter a structure")).to_have_count(0)
    survey = guarded.url + str(page.locator("a[href^='/surveys/']").first.get_attribute("href"))
    page.goto(f"{survey}/photos")
    expect(page.get_by_role("note")).to_contain_text("Keeping a change takes the role inspector")
    expect(page.locator("#drop")).to_be_hidden()
    fit(page)
    page.goto(f"{survey}/plan?wait=1")
    expect(page.get_by_role("note")).to_have_count(0)
    page.get_by_label("Below the deepest corrosion").fill("0.01")
    expect(page.get_by_role("button", name="Keep these values")).to_be_visible()
    page.get_by_text("Blend limits of the members").click()
    page.locator("#limits-form").get_by_label("or depth").first.fill("0.05")
    expect(page.get_by_role("button", name="Keep these values")).to_be_hidden()
    expect(page.locator("#limits-form")).to_contain_text("Keeping one takes the role inspector")
    page.get_by_role("button", name="Go back to what is kept").click()
    expect(page.locator("#trial-said")).to_have_text("The figures are those that are kept.")
    watched.check()
    page.context.close()
