"""Where things of a picture are on the screen, found in a screenshot and not asked of the page."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Page, expect

SIZE = (1200, 900)
# Centres (pixel convention: the centre of the top-left pixel is (0, 0)) of red, green and blue squares.
SQUARES = {0: (500.0, 400.0), 1: (700.0, 400.0), 2: (500.0, 550.0)}
HALF = 10


def target_picture() -> bytes:
    """Make a black picture with three squares of one pure colour each, 21 px wide."""
    pixels = np.zeros((SIZE[1], SIZE[0], 3), dtype=np.uint8)
    for channel, (x, y) in SQUARES.items():
        rows = slice(int(y) - HALF, int(y) + HALF + 1)
        columns = slice(int(x) - HALF, int(x) + HALF + 1)
        pixels[rows, columns, channel] = 255
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG")
    return stream.getvalue()


@dataclass(frozen=True)
class ScreenMap:
    """Affine map from screen (css px) to picture pixels, from three squares seen in a screenshot."""

    matrix: NDArray[np.float64]

    def pixel(self, x: float, y: float) -> tuple[float, float]:
        """Picture pixel under a place on the screen."""
        found = self.matrix @ np.array([x, y, 1.0])
        return float(found[0]), float(found[1])

    def screen(self, x: float, y: float) -> tuple[int, int]:
        """Whole css px nearest to a picture pixel."""
        found = np.linalg.solve(self.matrix[:, :2], np.array([x, y]) - self.matrix[:, 2])
        return round(float(found[0])), round(float(found[1]))

    @property
    def pixels_per_css(self) -> float:
        """Picture pixels per css px."""
        return float(np.hypot(*self.matrix[:, 0]))


def screen_map(page: Page) -> ScreenMap:
    """Find the squares in a screenshot of the canvas.

    A css px is an integer place on its upper left corner, a screenshot's pixel i covers [i, i + 1]: hence
    the half added to centroids.
    """
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    # The page's own bars and buttons are outside this part of the canvas.
    shot = page.screenshot()
    seen = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"), dtype=np.float64)
    rows, columns = np.mgrid[0 : seen.shape[0], 0 : seen.shape[1]]
    inside = (
        (columns > box["x"] + 2)
        & (columns < box["x"] + box["width"] - 62)
        & (rows > box["y"] + 2)
        & (rows < box["y"] + box["height"] - 2)
    )
    screen = []
    for channel in SQUARES:
        others = [other for other in range(3) if other != channel]
        pure = np.clip(seen[..., channel] - seen[..., others].max(axis=-1), 0, None)
        weight = np.where(inside & (pure > 24), pure, 0.0)
        assert weight.sum() > 0, "a square is not on the screen"
        screen.append(
            [
                (weight * (columns + 0.5)).sum() / weight.sum(),
                (weight * (rows + 0.5)).sum() / weight.sum(),
                1.0,
            ]
        )
    solved = np.linalg.solve(np.array(screen), np.array(list(SQUARES.values())))
    return ScreenMap(np.asarray(solved.T, dtype=np.float64))


def saved(page: Page) -> None:
    """Wait until the page says that everything is saved."""
    expect(page.locator("#save-state")).to_have_text("✓ Saved", timeout=20_000)


def click(page: Page, x: float, y: float, *, touch: bool = False) -> None:
    """Click or tap, slowly enough not to be a double click of the one before."""
    if touch:
        page.touchscreen.tap(x, y)
    else:
        page.mouse.move(x, y)
        page.mouse.click(x, y)
    page.wait_for_timeout(60)


def stored(client: Any, photo: str) -> dict[str, Any]:
    """Photo as the service has it."""
    answer = client.get(f"/api/photos/{photo}")
    assert answer.status_code == 200
    part: dict[str, Any] = answer.json()["photo"]
    return part
