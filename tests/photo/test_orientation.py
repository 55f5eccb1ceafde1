"""Upright means upright: one frame for every format, orientation and copy."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from corrosion.photo import intake, load_picture, preview, read_header
from tests.photo import files

LOSSLESS = ("PNG", "TIFF", "WEBP")


@pytest.mark.parametrize("orientation", files.SIDES)
@pytest.mark.parametrize("kind", LOSSLESS)
def test_lossless_pictures_come_back_pixel_exact(kind: str, orientation: int) -> None:
    """Every pixel of a lossless picture is where the EXIF table of sides puts it (CIPA DC-008)."""
    scene = files.noise()
    data = files.encode(files.as_stored(scene, orientation), kind, orientation=orientation)
    picture = load_picture(data)
    assert picture.header.orientation == orientation
    assert picture.header.size_px == (64, 48)
    np.testing.assert_array_equal(picture.pixels, scene)


@pytest.mark.parametrize("orientation", files.SIDES)
def test_16_bit_tiff_is_turned_too(orientation: int) -> None:
    """Deep TIFF pictures take another way through the decoder and are upright all the same."""
    scene = np.random.default_rng(3).integers(0, 65536, (6, 9)).astype(np.uint16)
    stored = files.as_stored(scene, orientation)
    entries = {
        256: (4, [stored.shape[1]]),
        257: (4, [stored.shape[0]]),
        258: (3, [16]),
        262: (3, [1]),
        273: (4, [8]),
        274: (3, [orientation]),
        277: (3, [1]),
        278: (4, [stored.shape[0]]),
        279: (4, [stored.nbytes]),
    }
    picture = load_picture(files.tiff(entries, stored.astype("<u2").tobytes()))
    assert picture.pixels_16 is not None
    np.testing.assert_array_equal(picture.pixels_16[..., 0], scene)


@pytest.mark.parametrize("orientation", files.SIDES)
def test_heic_is_turned_by_its_container(orientation: int) -> None:
    """A HEIC file says in its container how it is turned, and is upright after loading."""
    scene = files.noise()
    data = files.encode(files.as_stored(scene, orientation), "HEIC", orientation=orientation)
    header = read_header(data)
    picture = load_picture(data)
    assert header.size_px == picture.pixels.shape[1::-1] == (64, 48)
    assert header.orientation == 1
    np.testing.assert_array_equal(picture.pixels, scene)


@pytest.mark.parametrize("orientation", files.SIDES)
def test_jpeg_blocks_are_where_they_belong(orientation: int) -> None:
    """Flat 8 x 8 blocks survive JPEG at quality 100 within 2 levels, upright.

    A flat block has only a DC coefficient, quantised to 1/8 level; the integers between RGB and YCbCr
    (ITU-T T.871) cost half a level each way, times at most 1.772, plus half a level of rounding.
    """
    scene = files.blocks()
    data = files.encode(files.as_stored(scene, orientation), "JPEG", orientation=orientation)
    picture = load_picture(data)
    assert picture.header.size_px == (64, 48)
    assert np.abs(picture.pixels.astype(int) - scene).max() <= 2


@pytest.mark.parametrize("orientation", files.SIDES)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_small_copies_are_turned_like_the_picture(kind: str, orientation: int) -> None:
    """The centre of every block in the preview has its own colour and no other block's."""
    scene = files.blocks(side=80)
    data = files.encode(files.as_stored(scene, orientation), kind, orientation=orientation)
    copy = np.asarray(Image.open(io.BytesIO(preview(data, 320)))).astype(int)
    assert copy.shape == (240, 320, 3)
    wanted = scene[40::80, 40::80].reshape(-1, 3).astype(int)
    seen = copy[20::40, 20::40].reshape(-1, 3)
    nearest = np.abs(seen[:, None] - wanted[None]).sum(axis=-1).argmin(axis=1)
    np.testing.assert_array_equal(nearest, np.arange(48))


def test_reduced_decode_turns_like_the_full_one() -> None:
    """A picture large enough to be decoded at half size gives the same upright preview."""
    scene = files.blocks(side=420)
    data = files.encode(np.rot90(scene), "JPEG", orientation=6)
    result = intake(data)
    assert result.header.size_px == (3360, 2520)
    copy = np.asarray(Image.open(io.BytesIO(result.preview_jpeg))).astype(int)
    assert copy.shape == (1200, 1600, 3)
    wanted = scene[210::420, 210::420].astype(int)
    assert np.abs(copy[100::200, 100::200] - wanted).max() <= 8


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_orientation_that_does_not_exist_is_upright_with_a_warning(orientation: int) -> None:
    """A tag outside 1 to 8 leaves the picture as stored and says so."""
    scene = files.noise()
    picture = load_picture(files.encode(scene, "PNG", orientation=orientation))
    assert any("orientation" in note for note in picture.header.warnings)
    np.testing.assert_array_equal(picture.pixels, scene)
