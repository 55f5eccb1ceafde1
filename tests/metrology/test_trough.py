"""The inside of a cylinder, where it differs from the outside; and cylinders of both kinds on a layout."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.model import parse_survey
from corrosion.survey import assess
from tests.metrology.pinhole import SIZE, area, ngon, pairs, polygon_mark, rectangle
from tests.metrology.test_cylinder import AXIS, PITS, RADIUS, REFERENCE, TubeView, tube_photo


def test_the_wrong_side_is_wrong_by_its_height() -> None:
    """A pit of a trough taken for the outside is too large by 4 h / D, h = R (1 - cos phi) its height.

    The true pit is h nearer than the touching plane, the supposed one h farther; an area goes as the
    distance squared: ((D + h) / (D - h))^2 - 1 = 4 h / D, to (h / D)^2, and by up to h x / D of slant.
    """
    view = TubeView(distance=800.0, inside=True)
    x0 = 15.0
    pit = ngon(24, 1.0, (RADIUS * math.asin(x0 / RADIUS), 0.0))
    sides = [
        tube_photo(view, [pit], surface={"seen_from": side}).marks[0].quantities["area"].value
        for side in ("inside", "outside")
    ]
    height = RADIUS * (1.0 - math.cos(math.asin(x0 / RADIUS)))
    assert sides[0] == pytest.approx(area(pit), rel=1e-4)
    # Along the axis 2 h / D; round the arc as much again, and the slope's own share x tan(phi) / D.
    closed = 4.0 * height / view.distance
    slant = 2.0 * x0 * math.tan(math.asin(x0 / RADIUS)) / view.distance
    assert sides[1] / sides[0] - 1.0 == pytest.approx(closed + slant, rel=0.1)


@pytest.mark.parametrize("distance", [60.0, 2000.0])
def test_grazing_views_into_a_trough_are_refused(distance: float) -> None:
    """From inside it is the incidence that counts: from far 60 degrees of arc, within the tube more."""
    pit = ngon(12, 1.0, (RADIUS * math.radians(62.0), 0.0))
    # Within the tube the camera leans towards the pit, or would not have it in the picture.
    lean = 0.0 if distance > 100 else -0.4
    found = tube_photo(TubeView(distance=distance, lean=lean, inside=True), [pit]).marks[0]
    assert ("60 deg is the most" in str(found.problem)) is (distance > 100)
    if found.problem is None:
        assert found.quantities["area"].value == pytest.approx(area(pit), rel=1e-3)


def test_a_card_across_a_trough_stands_on_its_edges() -> None:
    """A flat card as wide as b stands R - sqrt(R^2 - b^2 / 4) high: with that `height` areas are true.

    Left out, the surface is taken to be that much nearer to the lens than it is.
    """
    view = TubeView(distance=200.0, inside=True)
    width = 30.0
    height = RADIUS - math.sqrt(RADIUS**2 - width**2 / 4.0)
    corners = rectangle(width, 20.0)
    seen = view.see(np.column_stack([corners, np.full(4, height)]))
    card = {"kind": "points", "image": pairs(seen), "plane": pairs(corners), "sigma_px": 1e-4, "u_plane": 0}
    right, wrong = (
        tube_photo(view, [PITS[1]], scale=card | more).marks[0].quantities["area"].value
        for more in ({"height": height}, {})
    )
    assert right == pytest.approx(area(PITS[1]), rel=1e-3)
    assert wrong == pytest.approx(area(PITS[1]) * (1.0 - height / view.distance) ** 2, rel=0.03)
    assert wrong < 0.98 * right


def member(placed_on: np.ndarray, view: TubeView) -> dict[str, Any]:
    """Write a survey of three pits on a leading edge, placed by points of its developed skin."""
    edge = {
        "id": "LE",
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3 clad",
        "thickness": 1.0,
        "outline": pairs(rectangle(200, 200)),
    }
    photo = {
        "id": "f1",
        "file": "f1.jpg",
        "size": list(SIZE),
        "lens": "cam",
        "member": "LE",
        "face": "outer",
        "scale": {"kind": "points", "image": pairs(view.flat(REFERENCE)), "plane": pairs(REFERENCE)},
        "surface": {
            "kind": "cylinder",
            "radius": RADIUS,
            "axis": pairs(view.flat(AXIS)),
            "seen_from": "inside" if view.inside else "outside",
        },
        "marks": [polygon_mark(view.rolled(pit), f"P{i}") for i, pit in enumerate(PITS)],
        "placement": {"image": pairs(view.rolled(placed_on)), "layout": pairs(placed_on)},
    }
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": "mm",
        "structure": {"name": "Invented leading edge", "members": [edge]},
        "lenses": [view.lens],
        "photos": [photo],
    }


@pytest.mark.parametrize(
    ("corners", "view"),
    [(2, TubeView()), (4, TubeView()), (4, TubeView(distance=150.0, lean=0.1, inside=True))],
    ids=["two points", "four points", "trough"],
)
def test_pits_lie_on_the_developed_member_where_they_are(corners: int, view: TubeView) -> None:
    """Placed by two points or by four, pits of a cylinder have their place and area on the flat layout."""
    placed_on = np.array([[0.0, -14.0], [0.0, 14.0]]) if corners == 2 else rectangle(24, 28)
    found = assess(parse_survey(member(placed_on, view)))
    assert found.problems == []
    for mark, pit in zip(found.placed[0].marks, PITS, strict=True):
        assert mark.position == pytest.approx(pit.mean(axis=0), abs=0.01)
        assert mark.outline.area == pytest.approx(area(pit), rel=1e-3)
