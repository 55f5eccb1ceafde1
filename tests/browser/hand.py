"""A hand on the marking page: it aims by what the page says is under the pointer, and waits for it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from playwright.sync_api import Page, expect

from tests.browser.drawing import pause

Px = tuple[float, float]
MOST_TRIES = 400
# Between the places that are aimed at first, as shares of the canvas.
NEAR, FAR = 0.42, 0.58


@dataclass
class Hand:
    """Clicks or taps on pixels of the picture."""

    page: Page
    touch: bool

    def save(self) -> None:
        """Wait until the page says that everything is saved."""
        expect(self.page.locator("#save-state")).to_have_text("✓ Saved")

    def zoom(self, times: int) -> None:
        """Zoom so many steps in (or out, below zero) from the whole picture, about its middle."""
        self.page.get_by_role("button", name="Show the whole picture").click()
        for _ in range(abs(times)):
            self.page.get_by_role("button", name="Zoom in" if times > 0 else "Zoom out").click()

    def press(self, *points: Px, counted: bool = True) -> None:
        """Click or tap pixels of the picture, each once the page has taken the one before."""
        expect(self.page.locator("#draw-bar")).to_be_visible()
        corner, origin, step = self._aim()
        for number, point in enumerate(points, 1):
            x, y = (round(o + (p - c) / step) for p, c, o in zip(point, corner, origin, strict=True))
            self._must_be_on_the_picture(x, y)
            if self.touch:
                self.page.touchscreen.tap(x, y)
            else:
                self.page.mouse.click(x, y)
            if counted:
                expect(self.page.locator("#step")).to_contain_text(f"{number} set.")

    def _aim(self) -> tuple[Px, Px, float]:
        """Return a pixel, where it is on the screen, and px per css px, once the picture is at rest."""
        box = self.page.locator("#canvas").bounding_box()
        for _ in range(MOST_TRIES):
            assert box is not None
            places = [
                (round(box["x"] + part * box["width"]), round(box["y"] + part * box["height"]))
                for part in (NEAR, FAR)
            ]
            read = [self._under(*place) for place in places]
            again, box = box, self.page.locator("#canvas").bounding_box()
            if again == box and read == [self._under(*place) for place in places]:
                return read[0], places[0], (read[1][0] - read[0][0]) / (places[1][0] - places[0][0])
        raise AssertionError("the picture does not come to rest")

    def _under(self, x: int, y: int) -> Px:
        self.page.mouse.move(x - 3, y)
        self.page.mouse.move(x, y)
        pause(self.page, 0)
        found = re.fullmatch(r"(-?\d+), (-?\d+) px", self.page.locator("#under").inner_text())
        return (float(found[1]), float(found[2])) if found else (-1.0, -1.0)

    def _must_be_on_the_picture(self, x: int, y: int) -> None:
        covered = self.page.evaluate(
            "([x, y]) => !document.elementFromPoint(x, y)?.closest('#canvas')", [x, y]
        )
        assert not covered, f"something covers the picture at {x}, {y}"
