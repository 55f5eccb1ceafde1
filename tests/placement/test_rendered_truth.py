"""Placing a rendered photo of the invented scenario by what its renderer states it drew."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.placement.cameras import place

TRUTH = Path(__file__).parents[2] / "sample_images" / "truth"


def _photo(name: str) -> tuple[dict[str, Any], list[dict[str, Any]], dict[str, Any]]:
    truth = json.loads((TRUTH / name).read_text())
    card = truth["references"][0]
    corners = [p for p in card["points"] if p["name"].startswith("corner")][:4]
    crosses = truth["control_points"]
    photo = {
        "id": "f1",
        "file": truth["photo"],
        "member": "SK1",
        "face": truth["face"],
        "size": truth["camera"]["size_px"],
        "distance": truth["camera"]["distance_along_normal_mm"],
        "scale": {
            "kind": "points",
            "image": [p["px"] for p in corners],
            "plane": [p["plan_mm"] for p in corners],
            "height": card["height_of_points_mm"],
        },
        "placement": {
            "image": [c["px"] for c in crosses[:2]],
            "layout": [c["layout_mm"] for c in crosses[:2]],
        },
        "marks": [
            {"id": f"X{i}", "kind": "affected", "shape": {"type": "Point", "coordinates": cross["px"]}}
            for i, cross in enumerate(crosses[2:])
        ],
    }
    return photo, crosses, truth


def test_an_inner_view_lands_where_the_renderer_drew_it() -> None:
    """Two crosses and a raised card place the other crosses of an inner, mirrored view.

    Coordinates of the truth are rounded to 1e-4; 0.05 mm bounds what that does over 130 mm and
    through a card 86 mm long (rounding only: nothing was clicked).
    """
    photo, crosses, _ = _photo("03_sk1_inner_card.json")
    placed = place(photo)
    for mark, cross in zip(placed.marks, crosses[2:], strict=True):
        assert mark.position == pytest.approx(tuple(cross["layout_mm"]), abs=0.05)


def test_the_footprint_is_what_the_renderer_saw() -> None:
    """The footprint's extent is that of the picture's corners in the truth."""
    photo, _, truth = _photo("03_sk1_inner_card.json")
    placed = place(photo)
    corners = np.array(truth["picture_corners_layout_mm"])
    assert placed.footprint is not None
    low, high = corners.min(axis=0), corners.max(axis=0)
    # The truth's corners are those of the pixel grid (0 to W-1 or -0.5 to W-0.5): half a pixel apart.
    half_pixel = 0.5 * float(np.ptp(corners, axis=0).max()) / 1600 + 0.05
    assert placed.footprint.bounds == pytest.approx((*low, *high), abs=half_pixel)
