"""What is refused, before decoding where the header can tell, and with the way out."""

from __future__ import annotations

import io
import struct
import tracemalloc
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from corrosion.errors import PhotoError, PhotoRefusedError
from corrosion.photo import PhotoLimits, intake, load_picture, preview, read_header
from tests.photo import files

KINDS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIC")


def _zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a.txt", "text")
    return out.getvalue()


STRANGERS = {
    "text": (b"Dear all,\nsee the photos attached.\n", "text"),
    "zip": (_zip(), "ZIP"),
    "svg": (b'<?xml version="1.0"?>\n<svg xmlns="a"/>', "SVG"),
    "html": (b"<!DOCTYPE html><html><body></body></html>", "web page"),
    "gif": (files.save(Image.new("RGB", (4, 4)), "GIF"), "GIF"),
    "pdf": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "PDF"),
    "bmp": (files.save(Image.new("RGB", (4, 4)), "BMP"), "BMP"),
    "video": (b"\0\0\0\x18ftypisom\0\0\0\0isomavc1" + bytes(64), "video"),
    "avif": (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf" + bytes(64), "AVIF"),
    "noise": (bytes(range(256)), "unknown"),
    "zeros": (bytes(1000), "unknown"),
}


@pytest.mark.parametrize("case", STRANGERS)
def test_what_is_not_a_photo_is_called_by_its_name(case: str) -> None:
    """Other files renamed to .jpg are refused with the file's name, what they are, and the way out."""
    data, what = STRANGERS[case]
    for attempt in (read_header, load_picture, intake, preview):
        with pytest.raises(PhotoRefusedError) as refusal:
            attempt(data, name="IMG_1.jpg")
        assert refusal.value.place == "IMG_1.jpg"
        assert what in refusal.value.problem
        assert refusal.value.remedy


def test_empty_file_is_refused(tmp_path: Path) -> None:
    """Zero bytes are refused as empty, under the file's own name."""
    path = tmp_path / "f3.jpg"
    path.write_bytes(b"")
    with pytest.raises(PhotoRefusedError, match=r"f3\.jpg: the file is empty"):
        read_header(path)


def test_missing_file_is_named(tmp_path: Path) -> None:
    """A path that does not exist, or is a folder, is a clear error and no traceback of the system's."""
    for path in (tmp_path / "gone.jpg", tmp_path):
        with pytest.raises(PhotoError, match=path.name):
            load_picture(path)


@pytest.mark.parametrize("kind", KINDS)
def test_name_that_contradicts_the_content_is_refused(kind: str) -> None:
    """A picture named as another format is refused and told its right ending."""
    wrong = "a.jpg" if kind != "JPEG" else "a.PNG"
    with pytest.raises(PhotoRefusedError, match="Rename it to end in"):
        read_header(files.encode(files.noise(), kind), name=wrong)


def test_unknown_ending_is_only_a_warning() -> None:
    """The content decides; an ending that names no picture format is mentioned."""
    header = read_header(files.encode(files.noise(), "PNG"), name="upload.tmp")
    assert any(".tmp" in note for note in header.warnings)
    assert read_header(files.encode(files.noise(), "PNG"), name="upload").warnings == ()


@pytest.mark.parametrize("kept", [0.01, 0.1, 0.5, 0.9, 0.99, 0.999])
@pytest.mark.parametrize("kind", KINDS)
def test_cut_off_file_is_refused(kind: str, kept: float) -> None:
    """A file cut off anywhere is refused; a partial picture is never shown as a whole one."""
    data = files.encode(files.noise(), kind)
    short = data[: int(len(data) * kept)]
    for attempt in (load_picture, intake):
        with pytest.raises(PhotoRefusedError):
            attempt(short)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_last_byte_missing_is_refused_by_the_header_check(kind: str) -> None:
    """Formats that mark their end are found incomplete without decoding, one byte short."""
    with pytest.raises(PhotoRefusedError, match="damaged"):
        read_header(files.encode(files.noise(), kind)[:-1])


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_bytes_after_the_end_are_a_warning(kind: str) -> None:
    """Another file glued behind the picture is noticed, and the picture is still read."""
    data = files.encode(files.blocks(), kind) + _zip()
    picture = load_picture(data)
    extra = len(_zip())
    assert any(note.startswith(f"{extra} bytes follow") for note in picture.header.warnings)


@pytest.mark.parametrize(
    "size", [(30_000, 30_000), (1, 200_000_000), (2**31 - 1, 2**31 - 1), (0, 10), (10, 0)]
)
def test_png_that_claims_too_much_is_refused_before_decoding(size: tuple[int, int]) -> None:
    """A tiny file that claims a huge picture is refused by its header alone, in little memory."""
    data = files.png(size, b"\0" * 100)
    tracemalloc.start()
    try:
        with pytest.raises(PhotoRefusedError, match=f"{size[0]} x {size[1]} px"):
            load_picture(data)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 5_000_000


def test_pixel_limit_is_exact_and_settable() -> None:
    """A picture of exactly the limit is read; one pixel more is not."""
    data = files.encode(files.noise(), "PNG")
    assert load_picture(data, limits=PhotoLimits(max_pixels=48 * 64)).header.size_px == (64, 48)
    with pytest.raises(PhotoRefusedError, match="at most"):
        load_picture(data, limits=PhotoLimits(max_pixels=48 * 64 - 1))


def test_byte_limit_is_checked_before_reading(tmp_path: Path) -> None:
    """A file over the limit is refused by its length; a sparse file of 1 TB is never read."""
    path = tmp_path / "huge.jpg"
    with path.open("wb") as stream:
        stream.truncate(10**12)
    with pytest.raises(PhotoRefusedError, match="1000000 MB"):
        load_picture(path)
    data = files.encode(files.noise(), "PNG")
    assert read_header(data, limits=PhotoLimits(max_bytes=len(data))).n_bytes == len(data)
    with pytest.raises(PhotoRefusedError):
        read_header(data, limits=PhotoLimits(max_bytes=len(data) - 1))


@pytest.mark.parametrize("rows", [0, 19, 39, 41, 400])
def test_png_header_that_disagrees_with_its_data_is_refused(rows: int) -> None:
    """A PNG must hold exactly the rows its header promises (W3C PNG, clause 7.2): here 40."""
    row = b"\0" + bytes(range(180))
    assert load_picture(files.png((60, 40), row * 40)).header.size_px == (60, 40)
    with pytest.raises(PhotoRefusedError, match="picture data"):
        load_picture(files.png((60, 40), row * rows))


def test_png_bomb_stops_early() -> None:
    """A compressed gigabyte behind a small header is given up after a few megabytes."""
    packer = zlib.compressobj(9)
    step = bytes(1 << 20)
    bomb = b"".join([*(packer.compress(step) for _ in range(256)), packer.flush()])
    data = files.png((60, 40), b"")
    at = data.index(b"IDAT") - 4
    data = data[:at] + files.png_chunk(b"IDAT", bomb) + files.png_chunk(b"IEND", b"")
    tracemalloc.start()
    try:
        with pytest.raises(PhotoRefusedError, match="more picture data"):
            load_picture(data)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 20_000_000


def test_png_checksum_is_checked() -> None:
    """One flipped bit in the compressed data is refused before decoding (W3C PNG, clause 5.3)."""
    data = bytearray(files.encode(files.noise(), "PNG"))
    data[data.index(b"IDAT") + 100] ^= 1
    with pytest.raises(PhotoRefusedError, match="checksum"):
        read_header(bytes(data))


def test_jpeg_header_that_claims_more_rows_is_refused() -> None:
    """Rows that the data never fill would come out grey; such a file is refused, full or reduced."""
    data = bytearray(files.encode(files.noise(48, 64), "JPEG"))
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 7] = struct.pack(">H", 4800)
    with pytest.raises(PhotoRefusedError, match="last rows hold no data"):
        load_picture(bytes(data))
    with pytest.raises(PhotoRefusedError, match="last rows hold no data"):
        intake(bytes(data))


def test_evenly_grey_jpeg_is_a_picture() -> None:
    """A picture of nothing but mid-grey is complete, although missing data would look the same."""
    grey = np.full((48, 64, 3), 128, np.uint8)
    np.testing.assert_array_equal(load_picture(files.encode(grey, "JPEG")).pixels, grey)


def test_jpeg_with_too_many_scans_is_refused() -> None:
    """Thousands of scans over one picture keep a decoder busy for minutes and are refused."""
    data = files.save(Image.fromarray(files.noise()), "JPEG", progressive=True)
    scan = data.rindex(b"\xff\xda")
    with pytest.raises(PhotoRefusedError, match="scans"):
        read_header(data[:scan] + data[scan:-2] * 100 + data[-2:])


@pytest.mark.parametrize(("marker", "what"), [(0xC3, "lossless"), (0xC9, "arithmetic")])
def test_jpeg_codings_that_are_not_read_are_named(marker: int, what: str) -> None:
    """Lossless and arithmetic coding (ITU-T T.81 table B.1) are refused by name."""
    data = files.encode(files.noise(), "JPEG").replace(b"\xff\xc0", bytes([0xFF, marker]))
    with pytest.raises(PhotoRefusedError, match=what):
        read_header(data)


def test_jpeg_with_12_bits_is_refused() -> None:
    """12-bit JPEG is outside what the decoder reads."""
    data = bytearray(files.encode(files.noise(), "JPEG"))
    data[data.index(b"\xff\xc0") + 4] = 12
    with pytest.raises(PhotoRefusedError, match="12 bits"):
        read_header(bytes(data))


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_animation_is_refused(kind: str) -> None:
    """An animated picture is refused: nobody could say which frame was measured."""
    frames = [Image.fromarray(files.noise(seed=seed)) for seed in (1, 2, 3)]
    data = files.save(frames[0], kind, save_all=True, append_images=frames[1:])
    with pytest.raises(PhotoRefusedError, match="animated"):
        read_header(data)


def test_webp_canvas_that_disagrees_is_refused() -> None:
    """The extended header's canvas must be the size of the picture (RFC 9649, section 2.7)."""
    exif = files.exif_bytes(1)
    data = bytearray(files.save(Image.fromarray(files.noise()), "WEBP", exif=exif))
    place = data.index(b"VP8X") + 12
    data[place : place + 3] = (3999).to_bytes(3, "little")
    with pytest.raises(PhotoRefusedError, match="4000 x 48"):
        read_header(bytes(data))


SMALL_TIFF = {
    256: (4, [2]),
    257: (4, [2]),
    258: (3, [8]),
    262: (3, [1]),
    273: (4, [8]),
    277: (3, [1]),
    278: (4, [2]),
    279: (4, [4]),
}


def test_hand_made_tiff_is_read() -> None:
    """The file the next tests break is itself in order."""
    np.testing.assert_array_equal(
        load_picture(files.tiff(SMALL_TIFF, b"\1\2\3\4")).pixels[..., 0], [[1, 2], [3, 4]]
    )


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({258: (3, [32])}, "32"),
        ({339: (3, [3])}, "sample format"),
        ({262: (3, [8])}, "kind 8"),
        ({254: (4, [1])}, "raw"),
        ({50706: (3, [1])}, "raw"),
        ({273: (4, [1000])}, "past its end"),
        ({279: (4, [1000])}, "past its end"),
        ({273: (4, [2**32 - 1])}, "past its end"),
        ({256: (4, [40_000]), 257: (4, [40_000])}, "40000 x 40000"),
        ({256: (4, [0])}, "0 x 2"),
        ({277: (3, [3]), 258: (3, [8, 8, 8]), 262: (3, [2]), 284: (3, [2])}, "separate colour planes"),
    ],
)
def test_tiff_kinds_that_are_not_read_are_named(
    change: dict[int, tuple[int, list[int]]], what: str
) -> None:
    """Floats, raw files, other colour spaces, lying offsets and sizes are refused by name."""
    with pytest.raises(PhotoRefusedError, match=what):
        load_picture(files.tiff(SMALL_TIFF | change, b"\1\2\3\4"))


def test_tiff_directories_in_a_circle_are_refused() -> None:
    """A chain of directories that comes back to itself ends in an error, not in a loop."""
    start = 8 + 4
    with pytest.raises(PhotoRefusedError, match="circle"):
        read_header(files.tiff(SMALL_TIFF, b"\1\2\3\4", next_at=start))


def test_tiff_with_thousands_of_directories_is_refused() -> None:
    """A chain of directories without end is cut short."""
    chain_at, length = 8 + 4, 1200
    body = files.tiff(SMALL_TIFF, b"\1\2\3\4", next_at=0)
    start = len(body) + len(body) % 2
    empty = b"".join(
        struct.pack("<HI", 0, start + 6 * (number + 1) if number + 1 < length else 0)
        for number in range(length)
    )
    linked = files.tiff(SMALL_TIFF, b"\1\2\3\4", next_at=start).ljust(start, b"\0") + empty
    assert chain_at < start
    with pytest.raises(PhotoRefusedError, match="more than 1000 directories"):
        read_header(linked)


def test_bigtiff_is_refused_by_name() -> None:
    """BigTIFF is named, with the way out."""
    with pytest.raises(PhotoRefusedError, match="BigTIFF"):
        read_header(b"II+\0\x08\0\0\0" + bytes(16))
