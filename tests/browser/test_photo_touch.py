"""Fingers on the picture, as the browser's own touch events: pinch, freehand, and both at once."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from playwright.sync_api import CDPSession, Page, expect
from shapely.geometry import Point, Polygon

from tests.browser.conftest import OpenPage, Service
from tests.browser.drawing import at_rest, pause, ready, ring_of, saved, stored

Place = tuple[float, float]
STEPS = 20
# The first pinch event is only what later ones are compared with, and up to two more may pass before the
# drawing library takes the movement for one (its tolerance is 10 css px).
LOST = 3


class Fingers:
    """One or two fingers that move over a page."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._cdp: CDPSession = page.context.new_cdp_session(page)

    def put(self, *places: Place) -> None:
        """Put fingers down; those that are down already are named too."""
        self._send("touchStart", places)

    def move(self, *places: Place) -> None:
        """Move all fingers, one step of a frame."""
        self._send("touchMove", places)
        pause(self._page, 0)

    def lift(self) -> None:
        """Lift all fingers."""
        self._send("touchEnd", ())

    def _send(self, kind: str, places: Sequence[Place]) -> None:
        points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
        self._cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def spread(self, middle: Place, before: float, after: float) -> None:
        """Move two fingers, already `before` apart, level about `middle` until they are `after` apart."""
        for step in range(1, STEPS + 1):
            self.move(*pair(middle, before + (after - before) * step / STEPS))


def pair(middle: Place, apart: float) -> tuple[Place, Place]:
    """Two places level with each other."""
    x, y = middle
    return (x - apart / 2, y), (x + apart / 2, y)


def test_two_fingers_zoom_about_what_lies_between_them(open_page: OpenPage, scaled: str) -> None:
    """Fingers that move twice as far apart make the picture twice as large, and hold what is between."""
    page = open_page(f"/photos/{scaled}", phone=True).page
    seen = ready(page)
    middle = seen.screen(600, 450)
    held = seen.pixel(*middle)
    before, after = 60.0, 120.0
    fingers = Fingers(page)
    fingers.put(*pair(middle, before))
    fingers.spread(middle, before, after)
    fingers.lift()
    zoomed = at_rest(page)
    grown = seen.pixels_per_css / zoomed.pixels_per_css
    lost = LOST * (after - before) / STEPS
    assert after / (before + lost) <= grown * 1.01
    assert grown <= after / before * 1.01
    assert math.dist(zoomed.pixel(*middle), held) < 2 * zoomed.pixels_per_css


def test_a_finger_draws_freehand(service: Service, open_page: OpenPage, scaled: str) -> None:
    """An outline drawn by one finger without lifting stays within one css px of its way."""
    page = open_page(f"/photos/{scaled}", phone=True).page
    ready(page)
    page.get_by_role("radio", name="Freehand").check()
    page.get_by_role("button", name="Affected area").click()
    expect(page.locator("#draw-bar")).to_be_visible()
    seen = at_rest(page)
    x, y = seen.screen(600, 460)
    way = [(x + 40 * math.cos(t / 20 * math.pi), y + 30 * math.sin(t / 20 * math.pi)) for t in range(40)]
    fingers = Fingers(page)
    fingers.put(way[0])
    for place in way[1:]:
        fingers.move(place)
    fingers.lift()
    expect(page.get_by_text("A1 · Affected area")).to_be_visible()
    saved(page)
    ring = Polygon(ring_of(stored(service.client, scaled)))
    # Browsers hold back the first movement of a finger until it is no tap any more.
    begun = [place for place in way if math.dist(place, way[0]) > 16]
    assert len(begun) > len(way) / 2
    for place in begun:
        assert ring.exterior.distance(Point(seen.pixel(*place))) < seen.pixels_per_css


@pytest.mark.parametrize("drawn", [0, 6])
def test_a_second_finger_zooms_and_draws_nothing(
    service: Service, open_page: OpenPage, scaled: str, drawn: int
) -> None:
    """In freehand a second finger drops what the first began, and both zoom the picture."""
    page = open_page(f"/photos/{scaled}", phone=True).page
    ready(page)
    page.get_by_role("radio", name="Freehand").check()
    page.get_by_role("button", name="Affected area").click()
    expect(page.locator("#draw-bar")).to_be_visible()
    seen = at_rest(page)
    middle = seen.screen(600, 450)
    fingers = Fingers(page)
    left, right = pair(middle, 60)
    fingers.put(left)
    for step in range(drawn):
        fingers.move((left[0], left[1] + 4 * step))
    if drawn:
        fingers.move(left)
    fingers.put(left, right)
    fingers.spread(middle, 60, 120)
    fingers.lift()
    zoomed = at_rest(page)
    assert zoomed.pixels_per_css < 0.7 * seen.pixels_per_css
    expect(page.locator("#step")).to_contain_text("without lifting")
    assert stored(service.client, scaled)["marks"] == []
