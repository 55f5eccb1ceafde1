"""Make small pictures of every page from the demonstration survey: a phone's screen and a desk's.

Run it in the repository, with the pages bundled (`node build.mjs` in api/web)::

    python -m tests.browser.screenshots             writes .screenshots/*.webp
    python -m tests.browser.screenshots --png DIR   the same as PNG, to be looked at
"""

from __future__ import annotations

import argparse
import io
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect, sync_playwright

from api.demo_service import demo_settings, fill
from tests.browser.conftest import ARGUMENTS, CHROMIUM_VARIABLE, DESKTOP, PHONE, Service
from tests.browser.drawing import pause

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / ".screenshots"
MOST_BYTES = 120_000
# A desk's screen is read at about this width in a README.
DESK_WIDTH = 1100
QUALITIES = (82, 72, 62, 50, 40, 30)
PHOTO = "04_sk1_inner_blends_disc"


@dataclass(frozen=True)
class Shot:
    """One page: its name, its address, and what has to be there before the picture is taken."""

    name: str
    path: str
    wait: Callable[[Page], None]


def shots(service: Service, survey: str) -> list[Shot]:
    """List all pages of the demonstration."""
    structure = service.client.get(f"/api/surveys/{survey}").json()["structure_id"]
    photos = service.client.get(f"/api/surveys/{survey}/photos").json()
    photo = next(one["id"] for one in photos if PHOTO in one["photo"]["file"])
    at = f"/surveys/{survey}"
    return [
        Shot("start", "/", lambda page: expect(page.locator("h1")).to_be_visible()),
        Shot(
            "structure", f"/structures/{structure}", lambda page: expect(page.locator("h1")).to_be_visible()
        ),
        Shot(
            "new-structure", "/structures/new", lambda page: expect(page.locator(".member")).to_be_visible()
        ),
        Shot("overview", f"{at}?wait=1", lambda page: expect(page.locator("table")).to_be_visible()),
        Shot("photos", f"{at}/photos", lambda page: expect(page.locator(".photo-card")).to_have_count(11)),
        Shot("photo", f"/photos/{photo}", photo_ready),
        Shot("rework", f"{at}/rework", lambda page: expect(page.locator("#removals")).to_be_visible()),
        Shot("rework-form", f"{at}/rework", form_open),
        Shot("map", f"{at}/map?member=SK1", map_ready),
        Shot(
            "findings",
            f"{at}/findings?wait=1",
            lambda page: expect(page.locator("#findings")).to_be_visible(),
        ),
        Shot(
            "plan",
            f"{at}/plan?wait=1",
            lambda page: expect(page.locator("tr[data-blend]").first).to_be_visible(),
        ),
        Shot(
            "decision",
            f"{at}/decision?wait=1",
            lambda page: expect(page.locator(".big-numbers")).to_be_visible(),
        ),
        *[
            Shot(name, f"{at}/{name}", heading_seen)
            for name in ("worklist", "rules", "lenses", "record", "history")
        ],
        Shot("search", "/search?text=pit", heading_seen),
    ]


def heading_seen(page: Page) -> None:
    """Wait for the page's heading."""
    expect(page.locator("h1")).to_be_visible()
    page.wait_for_load_state("networkidle")


def photo_ready(page: Page) -> None:
    """Select a mark on the photo page."""
    expect(page.locator("#save-state")).to_have_text("✓ Saved")
    page.get_by_role("tab", name="2 Marks").click()
    expect(page.locator(".marks")).to_be_visible()
    page.wait_for_load_state("networkidle")


def form_open(page: Page) -> None:
    """Open an entry of earlier rework."""
    page.get_by_role("button", name="Edit ER1-record").click()
    expect(page.locator("#removal-form .said")).to_contain_text("Area")


def map_ready(page: Page) -> None:
    """Wait for the sums, and ask for the ledger of the deepest place where there is room for it."""
    expect(page.locator("#member-title .verdict")).to_be_visible()
    expect(page.locator("#legend li").first).to_be_visible()
    page.wait_for_load_state("networkidle")
    size = page.viewport_size
    if size and size["width"] == DESKTOP["width"]:
        box = page.locator("#map").bounding_box()
        assert box is not None
        # The member's 900 mm fill the height between the paddings of the view: blend-out B2 at (672, 150).
        scale = min((box["width"] - 88) / 900, (box["height"] - 136) / 400)
        x = box["x"] + box["width"] / 2 + 20 + (672 - 450) * scale
        page.mouse.click(x, box["y"] + box["height"] / 2 - (150 - 200) * scale)
        expect(page.locator("#spot .verdict")).to_be_visible()


def take(context: BrowserContext, service: Service, shot: Shot) -> Image.Image:
    """Open a page, wait for what it promises, and take its first screen."""
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(service.url + shot.path)
    page.wait_for_load_state("networkidle")
    shot.wait(page)
    pause(page, 0)
    seen = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    page.close()
    return seen


def small(seen: Image.Image) -> bytes:
    """Return a picture as WebP below `MOST_BYTES`, a desk's made narrower."""
    if seen.width > DESK_WIDTH:
        height = round(seen.height * DESK_WIDTH / seen.width)
        seen = seen.resize((DESK_WIDTH, height), Image.Resampling.LANCZOS)
    for quality in QUALITIES:
        stream = io.BytesIO()
        seen.save(stream, "WEBP", quality=quality, method=6)
        if stream.tell() < MOST_BYTES:
            return stream.getvalue()
    raise SystemExit("a picture stays too large: show less in it")


def run(folder: Path, png: bool) -> None:
    """Take all pictures into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    chromium = os.environ.get(CHROMIUM_VARIABLE) or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as data, sync_playwright() as playwright:
        survey = fill(demo_settings(Path(data))).removeprefix("surveys/")
        service = Service(Path(data))
        service.start()
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        for device, size in (("desk", DESKTOP), ("phone", PHONE)):
            context = browser.new_context(
                viewport=size, has_touch=device == "phone", reduced_motion="reduce", locale="en-GB"
            )
            closed = "start.survey.photos.rework.map.findings.structure"
            closed += ".plan.decision.worklist.rules.lenses.record.history"
            context.add_cookies(
                [
                    {"name": "units", "value": "mm", "url": service.url},
                    {"name": "hints", "value": closed, "url": service.url},
                ]
            )
            context.add_init_script("localStorage.setItem('corrosion.photo-hint', 'seen')")
            for shot in shots(service, survey):
                seen = take(context, service, shot)
                name = f"{shot.name}-{device}"
                if png:
                    seen.save(folder / f"{name}.png")
                else:
                    (folder / f"{name}.webp").write_bytes(small(seen))
                print(name)
            context.close()
        browser.close()
        service.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Take pictures of the pages.")
    parser.add_argument("--png", type=Path, metavar="DIR", help="write PNG into this folder instead")
    given = parser.parse_args()
    run(given.png or FOLDER, given.png is not None)
