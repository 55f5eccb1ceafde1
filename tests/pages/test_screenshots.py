"""The pictures that the README shows are there, small, and of every page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

ROOT = Path(__file__).parents[2]
MOST_BYTES = 120_000
SHOWN = re.findall(r'src="(\.screenshots/[^"]+)"', (ROOT / "README.md").read_text("utf-8"))
PAGES = {"start", "structure", "new-structure", "overview", "photos", "photo", "rework", "map", "findings"}
PAGES |= {"plan", "decision", "worklist", "rules", "lenses", "record", "history", "search"}


@pytest.mark.parametrize("path", SHOWN)
def test_a_shown_picture_is_there_and_small(path: str) -> None:
    """A picture that the README names can be opened and does not weigh a clone down."""
    assert (ROOT / path).stat().st_size < MOST_BYTES
    with Image.open(ROOT / path) as picture:
        assert min(picture.size) >= 390


def test_every_page_is_shown_both_ways() -> None:
    """Each page is shown as it is on a desk and on a phone."""
    names = {Path(path).stem for path in SHOWN}
    assert {f"{page}-{device}" for page in PAGES for device in ("desk", "phone")} <= names
