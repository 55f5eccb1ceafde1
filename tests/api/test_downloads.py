"""Downloads: byte ranges, validators and headers (RFC 9110, sections 13 and 14)."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

from tests.api.samples import new_survey, picture, upload

DATA = picture(100)


@pytest.fixture(scope="module")
def photo(client: httpx.Client) -> dict[str, Any]:
    """Upload one picture."""
    record: dict[str, Any] = upload(client, new_survey(client), ("IMG.jpg", DATA))[0]["photo"]
    return record


@pytest.mark.parametrize(
    ("asked", "start", "stop"),
    [
        ("bytes=0-99", 0, 100),
        ("bytes=100-100", 100, 101),
        ("bytes=500-", 500, len(DATA)),
        ("bytes=-20", len(DATA) - 20, len(DATA)),
        (f"bytes=0-{10 * len(DATA)}", 0, len(DATA)),
        (f"bytes=-{10 * len(DATA)}", 0, len(DATA)),
    ],
)
@pytest.mark.parametrize("kind", ["original", "picture"])
def test_a_byte_range_is_that_part_of_the_original(
    client: httpx.Client, photo: dict[str, Any], kind: str, asked: str, start: int, stop: int
) -> None:
    """A range answers 206 with exactly those bytes and says where they lie (RFC 9110, 14.4)."""
    answer = client.get(photo["picture"][kind], headers={"Range": asked})
    assert answer.status_code == 206
    assert answer.content == DATA[start:stop]
    assert answer.headers["Content-Range"] == f"bytes {start}-{stop - 1}/{len(DATA)}"


@pytest.mark.parametrize("asked", [f"bytes={len(DATA)}-", "bytes=-0", "bytes=99999999-100000000"])
def test_a_range_outside_the_file_is_416(client: httpx.Client, photo: dict[str, Any], asked: str) -> None:
    """A range that selects nothing is a 416 problem that states the length (RFC 9110, 15.5.17)."""
    answer = client.get(photo["picture"]["original"], headers={"Range": asked})
    assert answer.status_code == 416
    assert answer.headers["Content-Range"] == f"bytes */{len(DATA)}"
    assert answer.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("asked", ["bytes=5-2", "bytes=a-b", "items=0-5", "bytes=0-1,5-9", "bytes=-"])
def test_a_range_that_means_nothing_is_ignored(
    client: httpx.Client, photo: dict[str, Any], asked: str
) -> None:
    """An invalid, foreign or multiple range gets the whole file (RFC 9110, 14.2)."""
    answer = client.get(photo["picture"]["original"], headers={"Range": asked})
    assert (answer.status_code, answer.content) == (200, DATA)


def test_a_range_of_another_version_gets_the_whole(client: httpx.Client, photo: dict[str, Any]) -> None:
    """If-Range with another ETag gets the whole file, with the right one the part (RFC 9110, 13.1.5)."""
    address = photo["picture"]["original"]
    tag = f'"{photo["picture"]["sha256"]}"'
    other = client.get(address, headers={"Range": "bytes=0-9", "If-Range": '"other"'})
    same = client.get(address, headers={"Range": "bytes=0-9", "If-Range": tag})
    assert (other.status_code, same.status_code) == (200, 206)


@pytest.mark.parametrize("kind", ["original", "picture", "preview", "thumbnail"])
def test_pictures_are_fetched_once(client: httpx.Client, photo: dict[str, Any], kind: str) -> None:
    """Pictures may be kept for good, a repeated request is 304, and HEAD tells the same as GET."""
    address = photo["picture"][kind]
    first = client.get(address)
    again = client.get(address, headers={"If-None-Match": first.headers["ETag"]})
    head = client.head(address)
    assert "immutable" in first.headers["Cache-Control"]
    assert (again.status_code, again.content) == (304, b"")
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["Content-Length"] == str(len(first.content))
    assert head.headers["ETag"] == first.headers["ETag"]


def test_the_original_is_saved_not_shown(client: httpx.Client, photo: dict[str, Any]) -> None:
    """The original carries its hash as ETag and is an attachment that no browser guesses a type for."""
    headers = client.get(photo["picture"]["original"]).headers
    assert headers["ETag"] == f'"{photo["picture"]["sha256"]}"'
    assert headers["Content-Disposition"] == "attachment; filename=\"IMG.jpg\"; filename*=UTF-8''IMG.jpg"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Content-Type"] == "image/jpeg"
