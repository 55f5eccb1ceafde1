"""What the marking page shows is the upright picture that all pixel coordinates refer to."""

from __future__ import annotations

import io
from typing import Any

import httpx
import numpy as np
import pytest
from PIL import Image, ImageOps

from tests.api.samples import new_survey, upload

ORIENTATION = 0x0112  # EXIF tag 274 (CIPA DC-008)
QUARTERS = [[(220, 30, 30), (30, 220, 30)], [(30, 30, 220), (220, 220, 30)]]


def lying(kind: str, orientation: int, **options: Any) -> bytes:
    """Make a picture of 128 x 96 px as stored: quarters red, green / blue, yellow."""
    pixels = np.zeros((128, 96, 3), dtype=np.uint8)
    for row in range(2):
        for column in range(2):
            pixels[row * 64 : row * 64 + 64, column * 48 : column * 48 + 48] = QUARTERS[row][column]
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, kind, exif=exif.tobytes(), **options)
    return stream.getvalue()


def shown(client: httpx.Client, data: bytes) -> tuple[dict[str, Any], httpx.Response]:
    """Upload a picture; return its record and what the service shows of it."""
    picture: dict[str, Any] = upload(client, new_survey(client), ("a.bin", data))[0]["photo"]["picture"]
    return picture, client.get(picture["picture"])


def colours(data: bytes, middles: list[tuple[int, int]]) -> list[list[int]]:
    """Read pixels of a picture without applying any orientation."""
    pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=int)
    return [pixels[row, column].tolist() for row, column in middles]


@pytest.mark.parametrize(("kind", "options"), [("PNG", {}), ("WEBP", {"lossless": True})])
def test_a_lying_png_or_webp_is_shown_as_an_upright_copy(
    client: httpx.Client, kind: str, options: dict[str, Any]
) -> None:
    """Orientation 6 (turn 90 degrees clockwise, CIPA DC-008): size and pixels shown are upright.

    As stored red, green / blue, yellow; turned clockwise blue, red / yellow, green.
    """
    data = lying(kind, 6, **options)
    record, answer = shown(client, data)
    copy = Image.open(io.BytesIO(answer.content))
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert copy.size == (record["width"], record["height"]) == (128, 96)
    assert copy.getexif().get(ORIENTATION, 1) == 1
    found = colours(answer.content, [(24, 32), (24, 96), (72, 32), (72, 96)])
    upright = [QUARTERS[1][0], QUARTERS[0][0], QUARTERS[1][1], QUARTERS[0][1]]
    # JPEG of quality 95: far less than the 190 between one colour and another.
    assert np.abs(np.array(found) - np.array(upright)).max() <= 12
    assert client.get(record["original"]).content == data


@pytest.mark.parametrize(
    ("kind", "orientation"), [("PNG", 1), ("WEBP", 1), ("JPEG", 1), ("JPEG", 6), ("JPEG", 3)]
)
def test_what_every_browser_turns_itself_is_shown_as_it_is(
    client: httpx.Client, kind: str, orientation: int
) -> None:
    """JPEG of any orientation, and PNG and WebP of orientation 1, are shown byte for byte."""
    data = lying(kind, orientation)
    _, answer = shown(client, data)
    assert answer.content == data
    assert answer.headers["Content-Type"] == f"image/{kind.lower()}"


@pytest.mark.parametrize("orientation", [2, 3, 4, 5, 6, 7, 8])
def test_every_orientation_is_shown_upright(client: httpx.Client, orientation: int) -> None:
    """All seven turned and mirrored PNGs show what an independent reader (Pillow) makes upright."""
    data = lying("PNG", orientation)
    _, answer = shown(client, data)
    turned = Image.open(io.BytesIO(data))
    upright = np.asarray(ImageOps.exif_transpose(turned).convert("RGB"), dtype=int)
    found = np.asarray(Image.open(io.BytesIO(answer.content)).convert("RGB"), dtype=int)
    assert found.shape == upright.shape
    rows, columns = upright.shape[:2]
    for row in (rows // 4, 3 * rows // 4):
        for column in (columns // 4, 3 * columns // 4):
            assert np.abs(found[row, column] - upright[row, column]).max() <= 12
