"""Scale references that the service finds in drawn pictures whose truth is known by construction."""

from __future__ import annotations

import io
import math
from typing import Any

import cv2
import httpx
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tests.api.samples import STRUCTURE, new_survey, picture, upload

PITCH = 9.25
FIRST = 61.4
TICKS = 90
MIDDLE, RADIUS = (310.3, 240.7), 118.5


def photo_of(client: httpx.Client, light: NDArray[np.float64], *, units: str = "mm") -> str:
    """Upload a grey picture and return its photo's id."""
    stream = io.BytesIO()
    Image.fromarray(np.rint(light).astype(np.uint8)).convert("RGB").save(stream, "PNG")
    if units == "mm":
        survey = new_survey(client)
    else:
        body = {"units": units, "structure": STRUCTURE}
        structure = client.post("/api/structures", json=body).json()["id"]
        survey = client.post("/api/surveys", json={"structure_id": structure}).json()["id"]
    return str(upload(client, survey, ("drawn.png", stream.getvalue()))[0]["photo"]["id"])


def rule_picture() -> NDArray[np.float64]:
    """Draw a light rule with dark ticks, soft by one pixel, at known places."""
    x = np.arange(1000.0)
    places = FIRST + PITCH * np.arange(TICKS)
    ticks = np.exp(-((x[:, None] - places) ** 2) / 2).sum(axis=1)
    light = np.full((200, 1000), 120.0)
    light[60:140] = 215 - 180 * ticks
    return np.asarray(light + np.random.default_rng(1).normal(0, 2, light.shape))


def disc_picture() -> NDArray[np.float64]:
    """Draw a light disc on dark metal, its edge soft over one pixel."""
    y, x = np.mgrid[0:480, 0:640].astype(float)
    inside = np.clip(RADIUS - np.hypot(x - MIDDLE[0], y - MIDDLE[1]) + 0.5, 0, 1)
    return np.asarray(70 + 120 * inside + np.random.default_rng(2).normal(0, 2, inside.shape))


def marker_picture(number: int, left: int, top: int, side: int) -> NDArray[np.float64]:
    """Draw a square marker on white paper."""
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    light = np.full((480, 640), 235.0)
    marker = cv2.aruco.generateImageMarker(book, number, side)
    light[top : top + side, left : left + side] = np.where(np.asarray(marker) > 0, 235.0, 25.0)
    return light


def find(client: httpx.Client, photo: str, scale: dict[str, Any]) -> dict[str, Any]:
    """Ask for a reference; return the answer."""
    answer = client.post(f"/api/photos/{photo}/find-scale", json=scale)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_the_ticks_of_a_rule_are_found_where_they_were_drawn(client: httpx.Client) -> None:
    """Ticks come back numbered, each within a quarter of a pixel of where it was drawn."""
    photo = photo_of(client, rule_picture())
    line = [[150, 100], [800, 100]]
    found = find(client, photo, {"kind": "rule", "image": line, "tick": 1.0})
    ticks = found["scale"]["ticks"]
    assert f"{len(ticks)} ticks" in found["found"]
    assert len(ticks) >= 650 / PITCH - 2
    by_number = sorted((tick["number"], np.mean([x for x, _ in tick["points"]])) for tick in ticks)
    start = by_number[0][0] - round((by_number[0][1] - FIRST) / PITCH)
    for number, x in by_number:
        assert x == pytest.approx(FIRST + PITCH * (number - start), abs=0.25)
    assert len(found["points"]) == sum(len(tick["points"]) for tick in ticks)


def test_nothing_is_stored_by_asking(client: httpx.Client) -> None:
    """What was found is the answer alone: the photo keeps its version and has no scale."""
    photo = photo_of(client, rule_picture())
    before = client.get(f"/api/photos/{photo}").json()
    find(client, photo, {"kind": "rule", "image": [[150, 100], [800, 100]], "tick": 1.0})
    assert client.get(f"/api/photos/{photo}").json() == before
    assert before["photo"]["scale"] is None


def test_the_rim_of_a_disc_is_found_from_a_place_inside(client: httpx.Client) -> None:
    """Every rim point lies within half a pixel of the drawn circle, from a seed off its middle."""
    photo = photo_of(client, disc_picture())
    scale = {"kind": "disc", "seed": [330, 220], "coin": "1 euro"}
    found = find(client, photo, scale)
    rim = found["scale"]["image"]
    assert len(rim) >= 100
    for x, y in rim:
        assert math.hypot(x - MIDDLE[0], y - MIDDLE[1]) == pytest.approx(RADIUS, abs=0.5)
    assert found["points"] == rim
    again = find(client, photo, found["scale"] | {"seed": [300, 260]})
    assert again["scale"]["sigma_px"] == pytest.approx(found["scale"]["sigma_px"], abs=0.05)


def test_a_marker_is_found_in_the_surveys_unit(client: httpx.Client) -> None:
    """Corners are on the drawn edges (pixel centres at whole numbers), the square in inches as its side."""
    left, top, side = 200, 150, 144
    photo = photo_of(client, marker_picture(7, left, top, side), units="in")
    found = find(client, photo, {"kind": "target", "side": 0.5, "dictionary": "4x4_50"})
    a, b = left - 0.5, top - 0.5
    corners = [[a, b], [a + side, b], [a + side, b + side], [a, b + side]]
    for seen, true in zip(found["scale"]["image"], corners, strict=True):
        assert seen == pytest.approx(true, abs=0.3)
    assert found["scale"]["plane"] == [[-0.25, -0.25], [0.25, -0.25], [0.25, 0.25], [-0.25, 0.25]]


@pytest.mark.parametrize(
    "scale",
    [
        {"kind": "rule", "image": [[40, 40], [350, 250]], "tick": 1.0},
        {"kind": "disc", "seed": [200, 150], "diameter": 20.0},
        {"kind": "target", "side": 10.0, "dictionary": "4x4_50"},
    ],
    ids=lambda scale: str(scale["kind"]),
)
def test_a_miss_says_so_and_what_to_try(client: httpx.Client, scale: dict[str, Any]) -> None:
    """In a picture without the reference the answer is 422 with a remedy, not a guess."""
    photo = upload(client, new_survey(client), ("noise.jpg", picture(77)))[0]["photo"]["id"]
    answer = client.post(f"/api/photos/{photo}/find-scale", json=scale)
    assert answer.status_code == 422
    assert answer.json()["remedy"]


def test_known_references_name_their_source(client: httpx.Client) -> None:
    """Coins come with their published size and its source: a US quarter is 24.26 mm across.

    United States Mint, "Coin Specifications".
    """
    known = client.get("/api/reference-sizes").json()
    assert all(coin["source"] for coin in known["coins"])
    quarter = next(coin for coin in known["coins"] if coin["name"] == "US quarter")
    assert quarter["diameter_mm"] == 24.26
    assert "Mint" in quarter["source"]
    assert {"name", "title"} == set(known["sheets"][0])


def test_an_unknown_photo_is_not_found(client: httpx.Client) -> None:
    """Asking about no photo is 404."""
    scale = {"kind": "target", "side": 10.0, "dictionary": "4x4_50"}
    assert client.post("/api/photos/nothing/find-scale", json=scale).status_code == 404
