"""Every kind of stored sample becomes the RGB picture it stands for."""

from __future__ import annotations

import zlib

import cv2
import numpy as np
import pytest
from PIL import Image

from corrosion.photo import PhotoFormat, load_picture, read_header, to_8_bits, to_grey
from tests.photo import files


@pytest.mark.parametrize(
    ("kind", "wanted", "mime"),
    [
        ("JPEG", PhotoFormat.JPEG, "image/jpeg"),
        ("PNG", PhotoFormat.PNG, "image/png"),
        ("TIFF", PhotoFormat.TIFF, "image/tiff"),
        ("WEBP", PhotoFormat.WEBP, "image/webp"),
        ("HEIC", PhotoFormat.HEIC, "image/heic"),
    ],
)
def test_format_is_told_by_content(kind: str, wanted: PhotoFormat, mime: str) -> None:
    """Bytes without a name are recognised, with their IANA media type."""
    header = read_header(files.encode(files.noise(), kind))
    assert (header.format, header.mime) == (wanted, mime)
    assert header.size_px == header.stored_size == (64, 48)
    assert header.bits == 8
    assert header.warnings == ()


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
@pytest.mark.parametrize("mode", ["1", "L", "P", "LA", "RGBA"])
def test_lossless_modes_match_their_definition(mode: str, kind: str) -> None:
    """Bilevel, grey, palette and transparent pictures give their stored colours."""
    image = Image.fromarray(files.noise()).convert(mode)
    picture = load_picture(files.save(image, kind))
    np.testing.assert_array_equal(picture.pixels, np.asarray(image.convert("RGB")))


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_transparency_is_ignored_with_a_warning(kind: str) -> None:
    """A transparent picture is measured on its stored colours, and a person is told."""
    pixels = np.dstack([files.noise(), np.full((48, 64), 128, np.uint8)])
    options = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    picture = load_picture(files.save(Image.fromarray(pixels), kind, **options))
    np.testing.assert_array_equal(picture.pixels, pixels[..., :3])
    assert any("transparency" in note for note in picture.header.warnings)


def test_white_is_zero_tiff_is_not_a_negative() -> None:
    """TIFF 6.0 section 4: with PhotometricInterpretation 0, zero is white; at 8 and at 16 bits."""
    samples = np.array([[0, 257, 65535], [1000, 40000, 65278]], np.uint16)
    picture = load_picture(files.tiff_16(samples, photometric=0))
    assert picture.pixels_16 is not None
    np.testing.assert_array_equal(picture.pixels_16[..., 0], 65535 - samples)
    grey = np.arange(64, dtype=np.uint8).reshape(8, 8)
    eight = load_picture(files.save(Image.fromarray(255 - grey), "TIFF", tiffinfo={262: 0}))
    np.testing.assert_array_equal(eight.pixels[..., 0], 255 - grey)


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_16_bit_samples_stay_whole(kind: str, channels: int) -> None:
    """All 16 bits are kept beside an 8-bit picture over the declared range 0 to 65535."""
    samples = np.random.default_rng(5).integers(0, 65536, (20, 30, channels)).astype(np.uint16)
    samples[0, 0], samples[0, 1] = 0, 65535
    bgr = samples[..., ::-1] if channels == 3 else samples
    data = cv2.imencode(f".{kind}", bgr)[1].tobytes()
    picture = load_picture(data)
    assert picture.header.bits == 16
    assert picture.pixels_16 is not None
    np.testing.assert_array_equal(picture.pixels_16, np.broadcast_to(samples, (20, 30, 3)))
    np.testing.assert_array_equal(picture.pixels, np.rint(picture.pixels_16 / 257.0))


def test_hand_made_16_bit_tiff() -> None:
    """A TIFF written by hand from TIFF 6.0 sections 2 and 6, not by the library that reads it."""
    samples = np.random.default_rng(6).integers(0, 65536, (5, 4, 3)).astype(np.uint16)
    picture = load_picture(files.tiff_16(samples, photometric=2))
    assert picture.pixels_16 is not None
    np.testing.assert_array_equal(picture.pixels_16, samples)


def test_16_to_8_bits_covers_the_declared_range() -> None:
    """Level v of 255 is v * 257 of 65535, because 65535 = 255 * 257; half-way values go either way."""
    levels = np.arange(256, dtype=np.uint16) * 257
    np.testing.assert_array_equal(to_8_bits(levels), np.arange(256))
    np.testing.assert_array_equal(to_8_bits(levels[:-1] + np.uint16(128)), np.arange(255))
    np.testing.assert_array_equal(to_8_bits(levels[:-1] + np.uint16(129)), np.arange(1, 256))


def test_print_colours_are_read_with_a_warning() -> None:
    """CMYK pictures are shown with the plain complement R = 255 - min(255, C + K), within 4 levels.

    The formula multiplied out, (255 - C)(255 - K) / 255, differs from the sum where both inks are
    present, so only pure inks are compared. Common practice, no source.
    """
    inks = np.zeros((48, 64, 4), np.uint8)
    inks[:24, :32, 0], inks[:24, 32:, 1], inks[24:, :32, 2], inks[24:, 32:, 3] = 255, 255, 255, 255
    image = Image.fromarray(inks, mode="CMYK")
    for data in (files.save(image, "TIFF"), files.save(image, "JPEG", quality=100)):
        picture = load_picture(data)
        assert any("CMYK" in note for note in picture.header.warnings)
        seen = picture.pixels[[12, 12, 36, 36], [16, 48, 16, 48]].astype(int)
        wanted = [[0, 255, 255], [255, 0, 255], [255, 255, 0], [0, 0, 0]]
        assert np.abs(seen - wanted).max() <= 4


def test_progressive_jpeg_is_the_same_picture() -> None:
    """A progressive file decodes to what the baseline file of the same coefficients gives."""
    image = Image.fromarray(files.noise())
    baseline = load_picture(files.save(image, "JPEG", quality=90))
    progressive = load_picture(files.save(image, "JPEG", quality=90, progressive=True))
    np.testing.assert_array_equal(progressive.pixels, baseline.pixels)


@pytest.mark.parametrize("orientation", [1, 6])
def test_interlaced_png_is_read(orientation: int) -> None:
    """The expected length of interlaced data follows the seven passes of PNG clause 8.1.

    A 3 x 2 picture has passes of 1x1, 0, 0, 1x1 (column 2), 0, 2x... written out here by hand: rows of
    pass 1 (1 px), pass 4 (1 px), pass 6 (1 px) and pass 7 (3 px), each after its filter byte.
    """
    rows = b"\0\x10" + b"\0\x30" + b"\0\x20" + b"\0\x40\x50\x60"
    data = bytearray(files.png((3, 2), rows, colour_type=0))
    data[28] = 1  # interlace method in IHDR
    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4, "big")
    picture = load_picture(bytes(data))
    np.testing.assert_array_equal(picture.pixels[..., 0], [[0x10, 0x20, 0x30], [0x40, 0x50, 0x60]])


def test_grey_is_bt601_luma() -> None:
    """Pure primaries weigh 0.299, 0.587 and 0.114 (Recommendation ITU-R BT.601)."""
    primaries = np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 255, 255]]], np.uint8)
    np.testing.assert_array_equal(to_grey(primaries), [[76, 150, 29, 255]])
    np.testing.assert_array_equal(to_grey(primaries[..., 0]), primaries[..., 0])


def test_pixels_cannot_be_written_and_opencv_takes_them() -> None:
    """A loaded picture is shared read-only, which OpenCV accepts as input."""
    picture = load_picture(files.encode(files.noise(), "PNG"))
    with pytest.raises(ValueError, match="read-only"):
        picture.pixels[0, 0] = 0
    assert cv2.GaussianBlur(picture.grey, (0, 0), 1.0).shape == (48, 64)
    assert cv2.GaussianBlur(picture.pixels, (0, 0), 1.0).shape == (48, 64, 3)


def test_several_pictures_in_one_file_use_the_first_with_a_warning() -> None:
    """Multi-page TIFF and multi-picture JPEG give their first picture and say how many there are."""
    first, second = Image.fromarray(files.noise()), Image.fromarray(files.noise(seed=8))
    tiff = load_picture(files.save(first, "TIFF", save_all=True, append_images=[second]))
    assert tiff.header.frames == 2
    assert any("2 pictures" in note for note in tiff.header.warnings)
    np.testing.assert_array_equal(tiff.pixels, files.noise())
    multi = files.save(first, "MPO", save_all=True, append_images=[second])
    jpeg = load_picture(multi, name="f.jpg")
    assert jpeg.header.frames == 2
    assert any("2 pictures" in note for note in jpeg.header.warnings)
