"""One pass over a new photo gives the same answers as asking one by one."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from corrosion.errors import PhotoError
from corrosion.photo import intake, load_picture, preview, read_header, sha256_of
from tests.photo import files


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIC"])
def test_intake_agrees_with_the_single_steps(kind: str, tmp_path: Path) -> None:
    """Header, digest and preview are those of the single functions, for a path as for bytes."""
    data = files.encode(files.blocks(side=40), kind)
    path = tmp_path / "f1"
    path.write_bytes(data)
    taken = intake(path)
    assert taken.header == read_header(data)
    assert taken.sha256 == hashlib.sha256(data).hexdigest() == load_picture(path).sha256
    assert taken.preview_jpeg == preview(data)
    assert taken.warnings == taken.header.warnings + taken.quality.warnings


def test_copies_have_their_sizes() -> None:
    """Preview and thumbnail have long sides of 1600 and 320 px, and never exceed the photo's."""
    taken = intake(files.encode(files.blocks(side=250), "JPEG"))
    assert Image.open(io.BytesIO(taken.preview_jpeg)).size == (1600, 1200)
    assert Image.open(io.BytesIO(taken.thumbnail_jpeg)).size == (320, 240)
    small = intake(files.encode(files.blocks(), "JPEG"))
    assert Image.open(io.BytesIO(small.preview_jpeg)).size == (64, 48)
    assert Image.open(io.BytesIO(small.thumbnail_jpeg)).size == (64, 48)


@pytest.mark.parametrize("size", [(1601, 7), (3199, 5), (3200, 5), (3201, 3), (6401, 9), (1, 4000)])
def test_odd_sizes_are_taken_in(size: tuple[int, int]) -> None:
    """Sizes that do not divide evenly, at the edges of each reduction, give full-length previews."""
    data = files.encode(np.full((size[1], size[0], 3), 90, np.uint8), "JPEG")
    copy = Image.open(io.BytesIO(intake(data).preview_jpeg))
    assert max(copy.size) == 1600
    assert min(copy.size) >= 1


def test_16_bit_preview_is_scaled_not_cut() -> None:
    """Deep samples reach the preview over the declared range: 32768 is mid-grey."""
    data = files.tiff_16(np.full((32, 32), 32768, np.uint16), photometric=1)
    copy = np.asarray(Image.open(io.BytesIO(preview(data))))
    assert np.all(copy == 128)


@pytest.mark.parametrize("long_side", [0, -1, 15, 8193])
def test_senseless_preview_sizes_are_refused(long_side: int) -> None:
    """A preview of no size, or of gigapixels, is an error that names the sizes that are made."""
    with pytest.raises(PhotoError, match="16 to 8192"):
        preview(files.encode(files.noise(), "PNG"), long_side)


def test_sha256_matches_the_standard() -> None:
    """The digest of ``abc`` from the SHA-256 example of FIPS 180-4 (value from memory)."""
    wanted = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256_of(b"abc") == wanted
    assert sha256_of(io.BytesIO(b"abc")) == wanted


def test_sha256_of_file_stream_and_bytes_agree(tmp_path: Path) -> None:
    """A file longer than one reading step gives one digest whichever way it comes."""
    data = np.random.default_rng(1).bytes(3_000_001)
    path = tmp_path / "f1.jpg"
    path.write_bytes(data)
    with path.open("rb") as stream:
        assert sha256_of(stream) == sha256_of(path) == sha256_of(data)
    with pytest.raises(PhotoError, match="cannot be read"):
        sha256_of(tmp_path / "gone")
