"""Facts about how a photo was taken, from its EXIF block.

Tag numbers: CIPA DC-008 (Exif 2.32), tables 4 to 8, from memory.
"""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import Image

_EXIF_DIRECTORY = 0x8769
_ORIENTATION = 0x0112
_MAKE, _MODEL, _SOFTWARE, _DATE_TIME = 0x010F, 0x0110, 0x0131, 0x0132
_EXPOSURE_TIME, _F_NUMBER, _ISO = 0x829A, 0x829D, 0x8827
_DATE_TIME_ORIGINAL, _OFFSET_TIME, _OFFSET_TIME_ORIGINAL, _SUBSECONDS_ORIGINAL = (
    0x9003,
    0x9010,
    0x9011,
    0x9291,
)
_SUBJECT_DISTANCE, _FLASH, _FOCAL_LENGTH, _FOCAL_LENGTH_35 = 0x9206, 0x9209, 0x920A, 0xA405
_PIXEL_X, _PIXEL_Y, _DIGITAL_ZOOM = 0xA002, 0xA003, 0xA404
_BODY_SERIAL, _LENS_MAKE, _LENS_MODEL, _LENS_SERIAL = 0xA431, 0xA433, 0xA434, 0xA435

_DATE = re.compile(r"(\d{4}):(\d\d):(\d\d)[ T](\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"(?:[+-]\d\d:\d\d|Z)")
_PREFIX = b"Exif\0\0"
_MAX_TEXT = 120


@dataclass(frozen=True)
class ExifFacts:
    """What the camera wrote into the file; None where it wrote nothing that can be read.

    Attributes
    ----------
    taken : str or None
        When the picture was taken, ISO 8601; with the offset from UTC only if the file has one. A
        camera's clock is only as good as its setting.
    make, model, software, serial : str or None
        Camera, its firmware or the program that saved the file, and its body serial number.
    lens_make, lens_model, lens_serial : str or None
        Lens or probe.
    focal_length_mm, focal_length_35mm : float or None
        True focal length, and the one that would give the same field on 36 mm x 24 mm film.
    subject_distance_m : float or None
        Distance to the subject, m; infinity as ``inf``.
    digital_zoom : float or None
        Ratio of digital zoom; 1 is none.
    exposure_s, f_number : float or None
        Exposure time in seconds and aperture.
    iso : int or None
        Sensitivity.
    flash : bool or None
        Whether the flash fired.
    recorded_size_px : tuple of int or None
        Width and height the camera recorded; differs from the picture's after cropping or resizing.
    """

    taken: str | None = None
    make: str | None = None
    model: str | None = None
    software: str | None = None
    serial: str | None = None
    lens_make: str | None = None
    lens_model: str | None = None
    lens_serial: str | None = None
    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    subject_distance_m: float | None = None
    digital_zoom: float | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    flash: bool | None = None
    recorded_size_px: tuple[int, int] | None = None


@dataclass(frozen=True)
class ExifBlock:
    """Facts, the orientation tag and what was wrong with the block."""

    facts: ExifFacts = ExifFacts()
    orientation: int = 1
    notes: tuple[str, ...] = ()


def read_exif(block: bytes) -> ExifBlock:
    """Read an EXIF block; whatever cannot be read is left out and noted, never an error.

    Parameters
    ----------
    block : bytes
        Starting at ``Exif`` or at the TIFF header; empty for none.
    """
    if not block:
        return ExifBlock()
    try:
        exif = Image.Exif()
        exif.load_from_fp(io.BytesIO(block.removeprefix(_PREFIX)))
        main = dict(exif)
        inner = dict(exif.get_ifd(_EXIF_DIRECTORY))
    except Exception:  # noqa: BLE001  # a parser fed hostile bytes may raise anything; facts are optional
        return ExifBlock(notes=("its EXIF block cannot be read and was left out",))
    orientation = main.get(_ORIENTATION, 1)
    notes: tuple[str, ...] = ()
    if not isinstance(orientation, int) or not 1 <= orientation <= 8:
        notes = (f"its orientation tag {str(orientation)[:20]!r} does not exist; taken as upright",)
        orientation = 1
    return ExifBlock(_facts({**main, **inner}), orientation, notes)


def _facts(tags: dict[int, Any]) -> ExifFacts:
    zoom = _number(tags.get(_DIGITAL_ZOOM))
    flash = tags.get(_FLASH)
    width, height = _count(tags.get(_PIXEL_X)), _count(tags.get(_PIXEL_Y))
    return ExifFacts(
        taken=_moment(tags),
        make=_text(tags.get(_MAKE)),
        model=_text(tags.get(_MODEL)),
        software=_text(tags.get(_SOFTWARE)),
        serial=_text(tags.get(_BODY_SERIAL)),
        lens_make=_text(tags.get(_LENS_MAKE)),
        lens_model=_text(tags.get(_LENS_MODEL)),
        lens_serial=_text(tags.get(_LENS_SERIAL)),
        focal_length_mm=_positive(tags.get(_FOCAL_LENGTH)),
        focal_length_35mm=_positive(tags.get(_FOCAL_LENGTH_35)),
        subject_distance_m=_distance(tags.get(_SUBJECT_DISTANCE)),
        # 0 stands for "digital zoom was not used".
        digital_zoom=1.0 if zoom == 0.0 else _positive(zoom),
        exposure_s=_positive(tags.get(_EXPOSURE_TIME)),
        f_number=_positive(tags.get(_F_NUMBER)),
        iso=_count(tags.get(_ISO)),
        flash=bool(flash & 1) if isinstance(flash, int) else None,
        recorded_size_px=(width, height) if width and height else None,
    )


def _text(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    clean = "".join(c if c.isprintable() else " " for c in value.split("\0")[0])
    return " ".join(clean.split())[:_MAX_TEXT] or None


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) else None


def _positive(value: Any) -> float | None:
    number = _number(value)
    return number if number is not None and number > 0 else None


def _count(value: Any) -> int | None:
    first = value[0] if isinstance(value, tuple) and value else value
    return first if isinstance(first, int) and first > 0 else None


def _distance(value: Any) -> float | None:
    # Numerator FFFFFFFFh stands for infinity, 0 for unknown.
    if getattr(value, "numerator", None) == 0xFFFFFFFF:
        return math.inf
    return _positive(value)


def _moment(tags: dict[int, Any]) -> str | None:
    """Moment of exposure; the file's own date of change only where the camera wrote nothing better."""
    for date, offset, fraction in (
        (_DATE_TIME_ORIGINAL, _OFFSET_TIME_ORIGINAL, _SUBSECONDS_ORIGINAL),
        (_DATE_TIME, _OFFSET_TIME, None),
    ):
        found = _DATE.match(_text(tags.get(date)) or "")
        if found is None:
            continue
        try:
            moment = datetime(*map(int, found.groups()))  # type: ignore[arg-type]  # noqa: DTZ001
        except ValueError:
            continue
        subseconds = _text(tags.get(fraction)) if fraction else None
        zone = _text(tags.get(offset)) or ""
        tail = f".{subseconds}" if subseconds and subseconds.isdecimal() and subseconds.isascii() else ""
        return moment.isoformat() + tail + (zone if _OFFSET.fullmatch(zone) else "")
    return None
