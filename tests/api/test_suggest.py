"""Outlines that the service proposes in drawn pictures of metal whose pits are known by construction."""

from __future__ import annotations

import io
from typing import Any

import httpx
import pytest
from PIL import Image
from shapely.geometry import Point, Polygon
from shapely.ops import unary_union

from api.suggest import reference_areas
from corrosion.model import TargetScale
from corrosion.target import sheet_named
from tests.api.samples import new_survey, tag, upload
from tests.suggest.scenes import Scene

PITS = ((160.0, 150.0, 22.0), (430.0, 260.0, 26.0), (250.0, 360.0, 18.0))
# Least intersection over union with the drawn rim that still is the same pit and nothing else: a rim drawn
# one eighth of the radius too small or too large has (7/8)^2 = 0.77 and (8/9)^2 = 0.79.
SAME = 0.75


def metal(kind: str = "PNG") -> bytes:
    """Draw primed metal with three pits."""
    scene = Scene(600, 450, 3).prime()
    for x, y, radius in PITS:
        scene.pit((x, y), radius)
    stream = io.BytesIO()
    Image.fromarray(scene.shoot()).save(stream, kind, quality=95)
    return stream.getvalue()


def truth() -> list[Polygon]:
    """Rims as they were drawn."""
    scene = Scene(600, 450, 3).prime()
    for x, y, radius in PITS:
        scene.pit((x, y), radius)
    return [Polygon(outline) for outline in scene.pits]


@pytest.fixture(scope="module")
def photo(client: httpx.Client) -> str:
    """Give a photo of three pits."""
    made = upload(client, new_survey(client), ("metal.png", metal()))
    return str(made[0]["photo"]["id"])


def ask(client: httpx.Client, photo: str, way: str, body: dict[str, Any]) -> list[dict[str, Any]]:
    """Ask for proposals."""
    answer = client.post(f"/api/photos/{photo}/{way}", json=body)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["proposals"]
    return found


def polygon(proposal: dict[str, Any]) -> Polygon:
    """Outline of a proposal."""
    return Polygon(proposal["shape"]["coordinates"][0])


def likeness(one: Polygon, other: Polygon) -> float:
    """Intersection over union."""
    return float(one.intersection(other).area / one.union(other).area)


def test_one_point_proposes_the_pit_round_it(client: httpx.Client, photo: str) -> None:
    """The proposed outline is the drawn rim; it says its method and doubts its edge by 0.5 px."""
    for (x, y, _), rim in zip(PITS, truth(), strict=True):
        (found,) = ask(client, photo, "suggest", {"kind": "pit", "at": [x + 3, y - 2]})
        assert likeness(polygon(found), rim) > SAME
        assert (found["kind"], bool(found["method"])) == ("pit", True)
        assert found["parameters"]["click_x_px"] == x + 3
        assert 0 <= found["score"] <= 1
        assert found["u_edge_px"] >= 0.5


def test_a_sweep_proposes_pits_and_leaves_the_photo_alone(client: httpx.Client, photo: str) -> None:
    """Each proposal is a drawn pit, at least two of three are found, and the photo is as it was."""
    before = client.get(f"/api/photos/{photo}").json()
    found = ask(client, photo, "sweep", {})
    hit = {i for one in found for i, rim in enumerate(truth()) if likeness(polygon(one), rim) > SAME}
    assert len(hit) >= 2
    assert len(found) == len(hit)
    assert client.get(f"/api/photos/{photo}").json() == before


def test_a_sweep_keeps_to_its_region(client: httpx.Client, photo: str) -> None:
    """Nothing is proposed whose middle lies outside the region."""
    region = [[80, 80], [300, 80], [300, 250], [80, 250]]
    found = ask(client, photo, "sweep", {"region": region})
    assert found
    assert all(Polygon(region).contains(polygon(one).centroid) for one in found)


def test_what_is_marked_or_laid_down_is_not_proposed(client: httpx.Client) -> None:
    """A marked pit is not proposed again, nor one under the card that gives the scale."""
    made = upload(client, new_survey(client), ("again.png", metal()))
    photo = made[0]["photo"]["id"]
    (x, y, radius), (card_x, card_y, _), _ = PITS
    mark = {"id": "P1", "kind": "pit", "shape": {"type": "Circle", "center": [x, y], "radius": radius}}
    card = {
        "kind": "card",
        "image": [[card_x + dx * 50, card_y + dy * 40] for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1))],
    }
    client.put(f"/api/photos/{photo}/marks", json=[mark], headers=tag(1)).raise_for_status()
    client.put(f"/api/photos/{photo}/scale", json=card, headers=tag(2)).raise_for_status()
    for one in ask(client, photo, "sweep", {}):
        assert not polygon(one).contains(Point(x, y))
        assert not polygon(one).contains(Point(card_x, card_y))


def test_a_proposal_can_be_saved_as_a_mark(client: httpx.Client) -> None:
    """A proposal's shape and edge doubt are a mark's shape and edge doubt as they are."""
    made = upload(client, new_survey(client), ("save.png", metal()))
    photo = made[0]["photo"]["id"]
    (found,) = ask(client, photo, "suggest", {"kind": "pit", "at": [160, 150]})
    mark = {"id": "P1", "kind": "pit", "shape": found["shape"], "u_edge_px": found["u_edge_px"]}
    answer = client.put(f"/api/photos/{photo}/marks", json=[mark], headers=tag(1))
    assert answer.status_code == 200, answer.text


@pytest.mark.parametrize(
    ("way", "body"),
    [
        ("suggest", {"kind": "pit", "at": [5000, 10]}),
        ("suggest", {"kind": "rivet", "at": [10, 10]}),
        ("sweep", {"region": [[0, 0], [0, 0], [0, 0]]}),
        ("sweep", {"region": [[0, 0], [10, 0]]}),
    ],
)
def test_a_question_that_makes_no_sense_is_refused(
    client: httpx.Client, photo: str, way: str, body: dict[str, Any]
) -> None:
    """Outside the picture, of an unknown kind, or round nothing: 422 with a remedy."""
    answer = client.post(f"/api/photos/{photo}/{way}", json=body)
    assert answer.status_code == 422
    assert answer.json()["remedy"]


def test_plain_metal_gives_no_outline(client: httpx.Client) -> None:
    """On an even grey sheet no rim is made up: one point is refused with a remedy, a sweep is empty."""
    stream = io.BytesIO()
    Image.new("RGB", (600, 450), (120, 122, 124)).save(stream, "PNG")
    made = upload(client, new_survey(client), ("plain.png", stream.getvalue()))
    photo = made[0]["photo"]["id"]
    answer = client.post(f"/api/photos/{photo}/suggest", json={"kind": "pit", "at": [300, 200]})
    assert answer.status_code == 422
    assert "by hand" in answer.json()["remedy"]
    assert ask(client, photo, "sweep", {}) == []


@pytest.mark.parametrize("unit", [1.0, 25.4], ids=["mm", "in"])
def test_a_sheets_window_is_searched_and_its_frame_is_not(unit: float) -> None:
    """The window sheet of 136 x 96 mm covers its frame, but not the 96 x 52 mm that are cut out of it."""
    sheet = sheet_named("window")
    plane = [corner for marker in sheet.markers for corner in marker.corners().tolist()]
    scale = TargetScale.model_validate(
        {
            "sheet": "window",
            "check_bar": {"x": 100 / unit},
            "image": [[500 + 4 * x, 400 + 4 * y] for x, y in plane],
            "plane": [[x / unit, y / unit] for x, y in plane],
        }
    )
    covered = unary_union([Polygon(area) for area in reference_areas(scale, unit)])
    # Four px to the mm.
    assert covered.area == pytest.approx(16 * (136 * 96 - 96 * 52), rel=1e-6)
    assert not covered.contains(Point(500, 400))
    assert covered.contains(Point(500 + 4 * 58, 400 - 4 * 35))
