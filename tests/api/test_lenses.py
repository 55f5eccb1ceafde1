"""Lens profiles over HTTP: from rendered board photos of a known lens, and from one straight edge."""

from __future__ import annotations

import io
from functools import cache
from typing import Any

import httpx
import numpy as np
import pytest
from PIL import Image

from corrosion.lens import undistort
from corrosion.model import LensProfile
from tests.api.samples import new_survey, picture, upload
from tests.calibrate.boards import BORESCOPE, SIZE, pose_of, rendered

BOARDS = 12
FIELDS = {"id": "probe", "columns": "9", "rows": "6", "square": "5", "device": "BX-4", "partial": "true"}


@cache
def board_photos() -> tuple[bytes, ...]:
    """Twelve views of the board through a borescope's lens, as PNG."""
    rng = np.random.default_rng(5)
    photos = []
    for _ in range(BOARDS):
        stream = io.BytesIO()
        Image.fromarray(rendered(BORESCOPE, *pose_of(rng, BORESCOPE, margin_px=12.0))).save(stream, "PNG")
        photos.append(stream.getvalue())
    return tuple(photos)


def calibrate(
    client: httpx.Client, survey: str, photos: list[tuple[str, bytes]], **fields: str
) -> httpx.Response:
    files = [("files", (name, data, "image/png")) for name, data in photos]
    return client.post(f"/api/surveys/{survey}/lenses/calibrate", data=FIELDS | fields, files=files)


def boards(count: int = BOARDS) -> list[tuple[str, bytes]]:
    return [(f"board {i}.png", data) for i, data in enumerate(board_photos()[:count])]


def test_twelve_boards_give_the_lens_back(client: httpx.Client) -> None:
    """Undistorted by the profile, a square grid through the true lens is square to 0.3 px inside the field.

    The bound is twice the RMS of 0.13 to 0.19 px that published corner refinement leaves.
    """
    survey = new_survey(client)
    other = [("blank.jpg", picture(size=SIZE)), ("cut.png", board_photos()[0][:5000])]
    answer = calibrate(client, survey, boards() + other)
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert len(body["views"]) == BOARDS
    assert [one["name"] for one in body["missed"]] == ["blank.jpg", "cut.png"]
    assert body["models"][0]["aic_behind"] == 0.0
    assert sum(map(sum, body["cells"])) == BOARDS * 54
    profile = LensProfile.model_validate(body["profile"] | {"id": "probe"})
    assert (profile.device, profile.size) == ("BX-4", SIZE)
    x, y = np.meshgrid(np.linspace(-0.25, 0.25, 5), np.linspace(-0.2, 0.2, 5))
    rays = np.column_stack([x.ravel(), y.ravel(), np.ones(x.size)])
    straight = undistort(BORESCOPE.see(rays), profile)[0]
    # Up to a similarity: a pinhole keeps the grid.
    design = np.column_stack([rays[:, 0], rays[:, 1], rays[:, 2]])
    fitted = design @ np.linalg.lstsq(design, straight, rcond=None)[0]
    assert np.abs(straight - fitted).max() < 0.3


def test_a_kept_profile_serves_the_photos_that_name_it(client: httpx.Client) -> None:
    """The proposed profile goes into the survey's head as it came, and a photo may then name it."""
    survey = new_survey(client)
    profile = calibrate(client, survey, boards()).json()["profile"]
    head = client.get(f"/api/surveys/{survey}")
    body = {name: head.json()[name] for name in ("display_units", "survey", "settings", "instruments")}
    kept = client.put(
        f"/api/surveys/{survey}",
        json=body | {"lenses": [profile]},
        headers={"If-Match": head.headers["ETag"]},
    )
    assert kept.status_code == 200, kept.text
    photo = upload(client, survey, ("f1.jpg", picture(size=SIZE)))[0]["photo"]
    tagged = client.patch(
        f"/api/photos/{photo['id']}",
        json={"lens": "probe", "device": "BX-4"},
        headers={"If-Match": f'"{photo["version"]}"'},
    )
    assert tagged.status_code == 200, tagged.text


@pytest.mark.parametrize(
    ("count", "fields", "status", "words"),
    [
        (3, {}, 422, "at least 8 are needed"),
        (BOARDS, {"columns": "nine"}, 422, "columns"),
        (BOARDS, {"nearest": "20", "furthest": "10"}, 422, "no range"),
        (BOARDS, {"colour": "red"}, 422, "colour"),
        (0, {}, 400, "no photos"),
    ],
)
def test_what_cannot_be_calibrated_is_refused(
    client: httpx.Client, count: int, fields: dict[str, str], status: int, words: str
) -> None:
    """Too few boards, a wrong field or no photo at all: a problem that says so, and nothing kept."""
    survey = new_survey(client)
    files = boards(count) or [("note", b"")]
    if count:
        answer = calibrate(client, survey, files, **fields)
    else:
        form: list[tuple[str, Any]] = [(name, (None, value)) for name, value in FIELDS.items()]
        answer = client.post(f"/api/surveys/{survey}/lenses/calibrate", files=form)
    assert answer.status_code == status, answer.text
    assert words in answer.json()["detail"]
    assert client.get(f"/api/surveys/{survey}").json()["lenses"] == []


def test_one_straight_edge_gives_a_rough_profile(client: httpx.Client) -> None:
    """Points along an edge bent by a known k1 give that k1 back to a per cent; too few are refused.

    The bend is the published radial polynomial, with the focal length taken as the picture's long side,
    as the profile says it does.
    """
    survey = new_survey(client)
    photo = upload(client, survey, ("edge.jpg", picture(size=(800, 600))))[0]["photo"]["id"]
    k1, focal = -0.2, 800.0
    x = np.linspace(-0.45, 0.45, 9)
    y = np.full_like(x, -0.3)
    factor = 1 + k1 * (x**2 + y**2)
    seen = np.column_stack([x * factor, y * factor]) * focal + [399.5, 299.5]
    answer = client.post(f"/api/photos/{photo}/straighten", json={"id": "edge", "points": seen.tolist()})
    assert answer.status_code == 200, answer.text
    assert answer.json()["distortion"][0] == pytest.approx(k1, rel=0.01)
    few = client.post(f"/api/photos/{photo}/straighten", json={"id": "edge", "points": seen[:4].tolist()})
    assert few.status_code == 422
