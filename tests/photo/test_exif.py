"""Facts from EXIF, and nothing but facts from broken EXIF. Tag numbers: CIPA DC-008, from memory."""

from __future__ import annotations

import io
import math
import struct

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from corrosion.photo import ExifFacts, intake, load_picture, read_header
from tests.photo import files


def _with_exif(main: dict[int, object], inner: dict[int, object], kind: str = "JPEG") -> bytes:
    exif = Image.Exif()
    exif.update(main)
    exif.get_ifd(0x8769).update(inner)
    return files.save(Image.fromarray(files.noise()), kind, exif=exif.tobytes())


FULL_MAIN = {0x010F: "Maker", 0x0110: "Model 1", 0x0131: "1.2"}
FULL_INNER = {
    0x9003: "2024:05:01 12:13:14",
    0x9011: "+02:00",
    0x9291: "250",
    0x920A: IFDRational(42, 10),
    0xA405: 26,
    0x9206: IFDRational(15, 100),
    0x829A: IFDRational(1, 50),
    0x829D: IFDRational(18, 10),
    0x8827: 400,
    0x9209: 1,
    0xA404: IFDRational(0, 1),
    0xA431: "SN7",
    0xA433: "Lens Maker",
    0xA434: "Probe 6 mm",
    0xA002: 64,
    0xA003: 48,
}


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_facts_are_read_from_every_container(kind: str) -> None:
    """Camera, lens, distances, exposure and the moment with its offset come out as written."""
    facts = read_header(_with_exif(FULL_MAIN, FULL_INNER, kind)).exif
    assert facts == ExifFacts(
        taken="2024-05-01T12:13:14.250+02:00",
        make="Maker",
        model="Model 1",
        software="1.2",
        serial="SN7",
        lens_make="Lens Maker",
        lens_model="Probe 6 mm",
        focal_length_mm=4.2,
        focal_length_35mm=26.0,
        subject_distance_m=0.15,
        digital_zoom=1.0,
        exposure_s=0.02,
        f_number=1.8,
        iso=400,
        flash=True,
        recorded_size_px=(64, 48),
    )


def test_photo_without_exif_has_no_facts() -> None:
    """Nothing is guessed where nothing was written."""
    assert read_header(files.encode(files.noise(), "JPEG")).exif == ExifFacts()


@pytest.mark.parametrize(
    ("tags", "wanted"),
    [
        ({0x9003: "2024:05:01 12:13:14"}, "2024-05-01T12:13:14"),
        ({0x9003: "2024:05:01 12:13:14", 0x9011: "Z"}, "2024-05-01T12:13:14Z"),
        ({0x9003: "2024:05:01 12:13:14", 0x9011: "later"}, "2024-05-01T12:13:14"),
        ({0x9003: "2024:02:30 12:13:14"}, None),
        ({0x9003: "0000:00:00 00:00:00"}, None),
        ({0x9003: "    :  :     :  :  "}, None),
        ({0x9003: "yesterday"}, None),
        ({}, None),
    ],
)
def test_moment_is_iso_8601_or_nothing(tags: dict[int, object], wanted: str | None) -> None:
    """The offset appears only if the file has one, and a date that does not exist is no date."""
    assert read_header(_with_exif({}, tags)).exif.taken == wanted


def test_infinite_distance_is_infinity() -> None:
    """Numerator FFFFFFFFh of the subject distance means infinity (CIPA DC-008)."""
    facts = read_header(_with_exif({}, {0x9206: IFDRational(0xFFFFFFFF, 1)})).exif
    assert facts.subject_distance_m is not None
    assert math.isinf(facts.subject_distance_m)


@pytest.mark.parametrize("value", [IFDRational(0, 1), IFDRational(1, 0), IFDRational(0, 0)])
def test_numbers_that_mean_nothing_are_left_out(value: IFDRational) -> None:
    """Zero and divisions by zero are no focal length."""
    assert read_header(_with_exif({}, {0x920A: value})).exif.focal_length_mm is None


def test_text_is_cleaned_and_cut() -> None:
    """Control characters and endless text cannot reach a page or a terminal."""
    facts = read_header(_with_exif({0x0110: "A\x1b[31m\nB" + "x" * 500}, {})).exif
    assert facts.model is not None
    assert facts.model.startswith("A [31m B")
    assert len(facts.model) <= 120


def test_cropped_picture_is_mentioned() -> None:
    """A picture smaller than the camera recorded is noticed, because a lens profile will not fit."""
    header = read_header(_with_exif({}, {0xA002: 4032, 0xA003: 3024}))
    assert any("4032 x 3024" in note for note in header.warnings)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    "block",
    [
        b"",
        b"II",
        b"II*\0",
        b"II*\0\xff\xff\xff\xff",
        b"MM\0*\0\0\0\x08\xff\xff" + bytes(range(200)),
        b"\xff" * 300,
        b"XX*\0\x08\0\0\0" + bytes(50),
    ],
)
def test_garbage_never_stops_a_photo(block: bytes) -> None:
    """Broken EXIF costs the facts, not the photo."""
    body = b"Exif\0\0" + block
    plain = files.encode(files.noise(), "JPEG")
    data = plain[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + plain[2:]
    picture = load_picture(data)
    assert picture.header.exif == ExifFacts()
    assert picture.header.orientation == 1


def test_exif_directory_that_points_at_itself_ends() -> None:
    """An inner directory that is the outer one is read once and not for ever."""
    block = b"II*\0\x08\0\0\0" + struct.pack("<HHHIII", 1, 0x8769, 4, 1, 8, 8)
    exif = {"exif": b"Exif\0\0" + block}
    header = read_header(files.save(Image.fromarray(files.noise()), "JPEG", **exif))
    assert header.exif == ExifFacts()


def test_tiff_inner_directory_is_read() -> None:
    """The EXIF directory of a TIFF file hangs on tag 8769h of its first directory."""
    inner = struct.pack("<HHHIII", 1, 0xA405, 3, 1, 26, 0)
    entries = {
        256: (4, [2]),
        257: (4, [2]),
        258: (3, [8]),
        262: (3, [1]),
        273: (4, [8]),
        277: (3, [1]),
        278: (4, [2]),
        279: (4, [4]),
        0x8769: (4, [12]),
    }
    header = read_header(files.tiff(entries, b"\1\2\3\4" + inner))
    assert header.exif.focal_length_35mm == 26.0


def test_copies_carry_no_metadata() -> None:
    """Previews and thumbnails hold no EXIF: no serial numbers, no places, no orientation."""
    result = intake(_with_exif(FULL_MAIN, FULL_INNER))
    for copy in (result.preview_jpeg, result.thumbnail_jpeg):
        assert b"Exif" not in copy
        assert b"Maker" not in copy
        assert len(Image.open(io.BytesIO(copy)).getexif()) == 0
