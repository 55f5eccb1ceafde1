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
# Centres of white spots, in the pixel convention: the centre of the top-left pixel is (0, 0). White,
# because the colour of a JPEG preview is stored at half resolution and sits a fraction of a pixel off; soft
# (normal distributions), because a browser that shrinks a picture samples it and would shift a sharp edge.
SPOTS = ((540.0, 400.0), (660.0, 400.0), (540.0, 520.0))
SIGMA = 8.0
FAINT = 40.0
# Light below this is noise of the preview's compression.
FLOOR = 3.0
LOADING_CSS_PX = 44.0
# Longer than the drawing library's wait after a turn of the wheel (80 ms) and than the steps of its keys.
PAUSE_MS = 120
MOST_TRIES = 100
# Timed by the page itself: a busy page counts its own timers first, and what was due is drawn.
PAUSED = """ms => new Promise(done => setTimeout(
    () => requestAnimationFrame(() => requestAnimationFrame(done)), ms))"""


def target_picture(times: float = 1.0, *, kind: str = "PNG") -> bytes:
    """Make a black picture with three soft white spots, `times` as large in every way."""
    width, height = (round(side * times) for side in SIZE)
    light = np.zeros((height, width))
    for spot_x, spot_y in SPOTS:
        # A normal distribution is the product of one over x and one over y.
        along, across = (
            np.exp(-((np.arange(count) - times * middle) ** 2) / (2 * (times * SIGMA) ** 2))
            for count, middle in ((width, spot_x), (height, spot_y))
        )
        light += 255 * np.outer(across, along)
    pixels = np.repeat(np.rint(light).astype(np.uint8)[..., None], 3, axis=-1)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, kind, quality=95)
    return stream.getvalue()


BAR = {
    "kind": "bar",
    "image": [[420, 620], [620, 620]],
    "length": 50.0,
    "u_length": 0.1,
    "max_tilt_deg": 10,
}
# Outline in picture pixels; convex, inside the picture, away from the bars of the page.
CORNERS = [(560.0, 430.0), (640.0, 425.0), (650.0, 500.0), (570.0, 510.0)]


@dataclass(frozen=True)
class ScreenMap:
    """Affine map from screen (css px) to picture pixels, from three spots seen in a screenshot."""

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


def screen_map(page: Page, times: float = 1.0) -> ScreenMap:
    """Find the spots of `target_picture(times)` in a screenshot of the canvas.

    A css px is an integer place on its upper left corner, a screenshot's pixel i covers [i, i + 1]: hence
    the half added to centroids.
    """
    places = _spots(page)
    assert len(places) == len(SPOTS), f"{len(places)} spots are on the screen"
    screen = np.array([*sorted(places[:2]), places[2]])
    solved = np.linalg.solve(screen, times * np.array(SPOTS))
    return ScreenMap(np.asarray(solved.T, dtype=np.float64))


def _spots(page: Page) -> list[tuple[float, float, float]]:
    """Where spots are on the screen, as homogeneous places, the uppermost first."""
    seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("L"), dtype=np.float64)
    seen = np.where(_canvas_part(page, seen.shape), seen, 0.0)
    labels, _ = ndimage.label(seen > FAINT)
    boxes = [box for box in ndimage.find_objects(labels) if _is_round(labels[box] > 0)]
    places = [(x + 0.5, y + 0.5, 1.0) for y, x in (_centroid(seen, box) for box in boxes)]
    return sorted(places, key=lambda place: place[1])


def pause(page: Page, ms: int = PAUSE_MS) -> None:
    """Let the page do what is due, however slow its machine is."""
    page.evaluate(PAUSED, ms)


def at_rest(page: Page, times: float = 1.0) -> ScreenMap:
    """Wait until the picture is there and does not move; return where it is on the screen."""
    pause(page)
    before = _spots(page)
    for _ in range(MOST_TRIES):
        pause(page)
        now = _spots(page)
        if now == before and len(now) == len(SPOTS):
            return screen_map(page, times)
        before = now
    raise AssertionError("the picture does not come to rest")


def _centroid(seen: NDArray[np.float64], box: tuple[slice, slice]) -> tuple[float, float]:
    """Centre of light of a spot: the box holds 1.9 sigma to each side, the window twice that."""
    window = []
    for part in box:
        half = (part.stop - part.start) // 2
        window.append(slice(max(0, part.start - half), part.stop + half))
    rows, columns = window
    y, x = ndimage.center_of_mass(np.clip(seen[rows, columns] - FLOOR, 0, None))
    return float(y + rows.start), float(x + columns.start)


def _is_round(part: NDArray[np.bool_]) -> bool:
    """Tell a spot from lines, letters and rings drawn on the picture."""
    height, width = part.shape
    return height >= 5 and 0.8 < width / height < 1.25 and 0.7 < float(part.mean()) < 0.9


def _canvas_part(page: Page, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Mask of the canvas without the page's own buttons and bars on it."""
    mask = np.zeros(shape, dtype=bool)
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    mask[_span(box["y"] + 4, box["height"] - 8), _span(box["x"] + 4, box["width"] - 8)] = True
    if page.locator("#photo-pane").get_attribute("data-picture") == "loading":
        # The pane says so over the lower edge of the picture.
        mask[_span(box["y"] + box["height"] - LOADING_CSS_PX, LOADING_CSS_PX)] = False
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
    expect(page.locator("#save-state")).to_have_text("✓ Saved")


def click(page: Page, x: float, y: float, *, touch: bool = False) -> None:
    """Click or tap, and let the page take it."""
    if touch:
        page.touchscreen.tap(x, y)
    else:
        page.mouse.move(x, y)
        page.mouse.click(x, y)
    pause(page, 0)


def stored(client: Any, photo: str) -> dict[str, Any]:
    """Photo as the service has it."""
    answer = client.get(f"/api/photos/{photo}")
    assert answer.status_code == 200
    part: dict[str, Any] = answer.json()["photo"]
    return part


def ready(page: Page, times: float = 1.0) -> ScreenMap:
    """Wait for the picture; return where it is on the screen."""
    saved(page)
    return at_rest(page, times)


def draw_pit(page: Page, seen: ScreenMap, *, touch: bool = False) -> list[tuple[float, float]]:
    """Outline a pit by clicks; return the picture pixels that were under them."""
    page.get_by_role("button", name="Pit", exact=True).click()
    expect(page.locator("#draw-bar")).to_be_visible()
    # On a phone the page brings the picture back into sight.
    seen = at_rest(page) if touch else seen
    under = []
    for number, corner in enumerate(CORNERS, 1):
        at = seen.screen(*corner)
        click(page, *at, touch=touch)
        expect(page.locator("#step")).to_contain_text(f"{number} set.")
        under.append(seen.pixel(*at))
    page.get_by_role("button", name="Finish").click()
    return under


def ring_of(photo: dict[str, Any], index: int = -1) -> list[list[float]]:
    """Return the outline of a stored mark."""
    ring: list[list[float]] = photo["marks"][index]["shape"]["coordinates"][0]
    return ring


def press(page: Page, key: str, times: int) -> None:
    """Press a key some times."""
    for _ in range(times):
        page.keyboard.press(key)
