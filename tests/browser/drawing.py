"""Where things of a picture are on the screen, found in a screenshot and not asked of the page."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Page, expect
from scipy import ndimage

SIZE = (1200, 900)
# Centres of white squares, in the pixel convention: the centre of the top-left pixel is (0, 0).
# White, because the colour of a JPEG preview is stored at half resolution and sits a fraction of a pixel off.
SQUARES = ((500.0, 400.0), (700.0, 400.0), (500.0, 550.0))
HALF = 10
FAINT = 40.0


def target_picture() -> bytes:
    """Make a black picture with three white squares, 21 px wide."""
    pixels = np.zeros((SIZE[1], SIZE[0], 3), dtype=np.uint8)
    for x, y in SQUARES:
        rows = slice(int(y) - HALF, int(y) + HALF + 1)
        columns = slice(int(x) - HALF, int(x) + HALF + 1)
        pixels[rows, columns] = 255
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
    seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("L"), dtype=np.float64)
    seen = np.where(_canvas_part(page, seen.shape), seen, 0.0)
    labels, _ = ndimage.label(seen > FAINT)
    squares = [index + 1 for index, box in enumerate(ndimage.find_objects(labels)) if _is_square(labels[box])]
    assert len(squares) == len(SQUARES), f"{len(squares)} squares are on the screen"
    boxes = ndimage.find_objects(labels)
    centres = [_centroid(seen, boxes[square - 1]) for square in squares]
    places = [(x + 0.5, y + 0.5, 1.0) for y, x in centres]
    places.sort(key=lambda place: place[1])
    screen = np.array([*sorted(places[:2]), places[2]])
    solved = np.linalg.solve(screen, np.array(SQUARES))
    return ScreenMap(np.asarray(solved.T, dtype=np.float64))


def _centroid(seen: NDArray[np.float64], box: tuple[slice, slice]) -> tuple[float, float]:
    """Centre of light of a square; the window takes in its faint, partly covered edge."""
    rows, columns = (slice(max(0, part.start - 3), part.stop + 3) for part in box)
    y, x = ndimage.center_of_mass(seen[rows, columns])
    return float(y + rows.start), float(x + columns.start)


def _is_square(part: NDArray[np.int_]) -> bool:
    """Tell a filled square from lines, letters and rings drawn on the picture."""
    height, width = part.shape
    return height >= 4 and 0.75 < width / height < 1.34 and float((part > 0).mean()) > 0.8


def _canvas_part(page: Page, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Mask of the canvas without the page's own buttons and bars on it."""
    mask = np.zeros(shape, dtype=bool)
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    mask[_span(box["y"] + 4, box["height"] - 8), _span(box["x"] + 4, box["width"] - 8)] = True
    for over in ("#draw-bar", ".zoom", "#under"):
        hidden = page.locator(over).bounding_box()
        if hidden is not None:
            rows, columns = (
                _span(hidden["y"] - 2, hidden["height"] + 4),
                _span(hidden["x"] - 2, hidden["width"] + 4),
            )
            mask[rows, columns] = False
    return mask


def _span(start: float, length: float) -> slice:
    return slice(max(0, int(start)), max(0, int(start + length)))


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
