"""A photo of 12 megapixels: the small preview comes first, and work need not wait for the rest."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, Route, expect

from tests.api.samples import new_survey, tag, upload
from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import at_rest, click, ready, ring_of, saved, stored, target_picture

# 4000 x 3000 px.
TIMES = 10 / 3
CORNERS = [(1880.0, 1430.0), (2120.0, 1420.0), (2140.0, 1670.0), (1900.0, 1700.0)]


@pytest.fixture(scope="module")
def large(service: Service) -> str:
    """Give a photo of 12 MP, as large phones make them, without a scale."""
    data = target_picture(TIMES, kind="JPEG")
    made = upload(service.client, new_survey(service.client), ("large.jpg", data))
    return str(made[0]["photo"]["id"])


def _pictures(page: Page) -> list[str]:
    """Return what was asked for of the picture, in order."""
    names: list[str] = page.evaluate(
        "performance.getEntriesByType('resource').map(one => one.name.split('/').pop())"
    )
    return [name for name in names if name in {"preview", "picture", "original"}]


def test_the_preview_is_asked_for_first_and_is_enough_for_the_whole_picture(
    open_page: OpenPage, large: str
) -> None:
    """A 12 MP photo shown whole is its preview; its megabytes are not sent before they are needed."""
    page = open_page(f"/photos/{large}").page
    ready(page, TIMES)
    assert set(_pictures(page)) == {"preview"}


def test_drawing_does_not_wait_for_the_full_picture(
    service: Service, open_page: OpenPage, large: str
) -> None:
    """An outline drawn while the full picture is on its way is kept, and is where the pointer was."""
    watched = open_page(f"/photos/{large}")
    page = watched.page
    held: list[Route] = []
    page.route("**/api/photos/*/picture", lambda route: held.append(route))  # noqa: PLW0108
    seen = ready(page, TIMES)
    page.mouse.move(*seen.screen(2000, 1500))
    page.mouse.wheel(0, -240)
    expect(page.locator("#photo-pane")).to_have_attribute("data-picture", "loading")
    seen = at_rest(page, TIMES)
    page.get_by_role("tab", name="2 Marks").click()
    page.get_by_role("button", name="Pit", exact=True).click()
    under = []
    for corner in CORNERS:
        at = seen.screen(*corner)
        click(page, *at)
        under.append(seen.pixel(*at))
    page.get_by_role("button", name="Finish").click()
    saved(page)
    assert len(held) == 1
    for drawn, expected in zip(ring_of(stored(service.client, large)), under, strict=True):
        assert drawn == pytest.approx(expected, abs=0.15)
    # Lets the held request go, and those that follow.
    page.unroute("**/api/photos/*/picture")
    expect(page.locator("#photo-pane")).to_have_attribute("data-picture", "shown")
    service.client.put(
        f"/api/photos/{large}/marks", json=[], headers=tag(stored_version(service, large))
    ).raise_for_status()


def stored_version(service: Service, photo: str) -> int:
    """Version of a stored photo."""
    return int(service.client.get(f"/api/photos/{photo}").json()["version"])
