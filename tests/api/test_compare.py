"""Comparing stored surveys: the document, the pages, the pictures, and what is refused."""

from __future__ import annotations

import io
from typing import Any

import httpx
import pytest
from PIL import Image

from tests.compare.plates import CORNERS_NOW, CORNERS_THEN, NOW, THEN, survey, take

HTML = {"accept": "text/html"}


def enter(client: httpx.Client, document: dict[str, Any], picture: bytes | None) -> str:
    """Import a survey, upload its picture, and return its id."""
    made = client.post("/api/surveys/import", json=document)
    assert made.status_code == 201, made.text
    survey_id = str(made.json()["survey"]["id"])
    if picture is not None:
        sent = client.post(f"/api/surveys/{survey_id}/photos", files=[("files", ("f1.png", picture))])
        assert sent.status_code == 200, sent.text
    return survey_id


@pytest.fixture(scope="module")
def pair(client: httpx.Client) -> tuple[str, str]:
    """Give the ids of two surveys of one plate, two years apart, with their pictures; later one first."""
    then = enter(client, survey("2031-04-17", CORNERS_THEN, THEN), take(CORNERS_THEN, THEN))
    now = enter(client, survey("2033-04-17", CORNERS_NOW, NOW), take(CORNERS_NOW, NOW, light=180))
    return now, then


def test_the_document_says_what_became_of_each(client: httpx.Client, pair: tuple[str, str]) -> None:
    """Q1 grew by 0.14 mm, P3 was not found though its place was seen, N1 is new; asked again it is 304."""
    now, then = pair
    answer = client.get(f"/api/surveys/{now}/compare/{then}")
    assert answer.status_code == 200, answer.text
    document = answer.json()
    became = {
        (row["earlier"][0]["id"] if row["earlier"] else None, (row["later"] or {}).get("id")): row["change"]
        for row in document["findings"]
    }
    assert became[("f1/P1", "f1/Q1")] == "grown"
    assert became[("f1/P3", None)] == "not found"
    assert became[(None, "f1/N1")] == "new"
    (row,) = [row for row in document["findings"] if row["change"] == "grown"]
    growth = {one["quantity"]: one for one in row["growth"]}
    assert growth["depth"]["difference"]["value"] == pytest.approx(0.14)
    assert row["limit"]["earliest"] < row["limit"]["latest"]
    again = client.get(
        f"/api/surveys/{now}/compare/{then}", headers={"If-None-Match": answer.headers["etag"]}
    )
    assert again.status_code == 304


def test_what_cannot_be_compared_is_a_problem_with_its_reason(
    client: httpx.Client, pair: tuple[str, str]
) -> None:
    """Reversed order, no date and no such survey are problems, on the page as in the API."""
    now, then = pair
    reversed_ = client.get(f"/api/surveys/{then}/compare/{now}")
    assert (reversed_.status_code, "wrong order" in reversed_.json()["detail"]) == (422, True)
    undated = survey("2033-04-17", CORNERS_NOW, NOW) | {"survey": {"name": "Undated"}}
    lost = enter(client, undated, None)
    assert "has no date" in client.get(f"/api/surveys/{lost}/compare/{then}").json()["detail"]
    assert "This survey has no date" in client.get(f"/surveys/{lost}/compare", headers=HTML).text
    page = client.get(f"/surveys/{then}/compare?wait=1&with={now}", headers=HTML)
    assert (page.status_code, "wrong order" in page.text) == (200, True)
    assert client.get(f"/api/surveys/{now}/compare/{'0' * 32}").status_code == 404
    assert client.get(f"/api/surveys/{now}/compare/{then}?level=1").status_code == 422


def test_the_page_offers_only_earlier_surveys(client: httpx.Client, pair: tuple[str, str]) -> None:
    """The later survey can be compared with the earlier one, not the earlier one with the later."""
    now, then = pair
    page = client.get(f"/surveys/{now}/compare?wait=1&with={then}", headers=HTML).text
    assert f'value="{then}" selected' in page
    assert "▲ grown" in page
    assert 'between <span class="nowrap">20' in page
    assert f'value="{now}"' not in client.get(f"/surveys/{then}/compare", headers=HTML).text


def test_both_photos_come_in_one_size(client: httpx.Client, pair: tuple[str, str]) -> None:
    """The pictures of a row are JPEGs of equal size; a row that is not there is 404 with the way out."""
    now, then = pair
    base = f"/surveys/{now}/compare/{then}"
    sizes = set()
    for side in ("earlier", "later"):
        answer = client.get(f"{base}/{side}.jpg", params={"row": "later:f1/Q1"})
        assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg"), answer.text
        sizes.add(Image.open(io.BytesIO(answer.content)).size)
    assert len(sizes) == 1
    gone = client.get(f"{base}/later.jpg", params={"row": "later:f1/none"})
    assert gone.status_code == 404
    assert "open the comparison again" in gone.json()["detail"]


def test_a_picture_that_is_not_here_is_said(client: httpx.Client) -> None:
    """Where the earlier picture was never uploaded the look says so, and still shows the later one."""
    then = enter(client, survey("2021-04-17", CORNERS_THEN, THEN), None)
    now = enter(client, survey("2023-04-17", CORNERS_NOW, NOW), take(CORNERS_NOW, NOW, light=170))
    page = client.get(f"/surveys/{now}/compare/{then}/look?row=later:f1/Q1", headers=HTML)
    assert page.status_code == 200
    assert "was not uploaded" in page.text
    assert page.text.count('<img src="/surveys/') == 1
