"""The service's side of `corrosion.photo`: limits from the settings, facts as JSON."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from api.settings import Settings
from api.tables import Document
from corrosion.opencv import cv2
from corrosion.photo import PhotoLimits, intake, load_picture

# Marks are set on this copy: edges must not smear, so nearly lossless.
PICTURE_JPEG_QUALITY = 95

# What every browser shows, and of these what every browser also turns upright by its EXIF orientation.
SHOWN_BY_BROWSERS = frozenset({"image/jpeg", "image/png", "image/webp"})
TURNED_BY_BROWSERS = frozenset({"image/jpeg"})


@dataclass(frozen=True)
class Intake:
    """What the store keeps of a new picture.

    Attributes
    ----------
    size_px : tuple of int
        Width and height, upright.
    facts : dict
        Header, EXIF and quality figures, fit for JSON.
    preview, thumbnail : bytes
        Upright JPEG copies.
    """

    media_type: str
    size_px: tuple[int, int]
    facts: Document
    warnings: tuple[str, ...]
    preview: bytes
    thumbnail: bytes


def photo_limits(settings: Settings) -> PhotoLimits:
    """Return how large a picture the service takes and reads."""
    return PhotoLimits(max_pixels=round(settings.max_megapixels * 1e6), max_bytes=settings.max_file_bytes)


class PhotoReader:
    """Reads pictures within the service's limits."""

    def __init__(self, *, max_bytes: int, max_megapixels: float) -> None:
        self._limits = PhotoLimits(max_pixels=round(max_megapixels * 1e6), max_bytes=max_bytes)

    def intake(self, source: Path | bytes, name: str) -> Intake:
        """Check a picture, judge it and make its small copies; `PhotoError` if it is refused."""
        found = intake(source, name=name, limits=self._limits)
        header = found.header
        facts = {
            "format": header.format.value,
            "orientation": header.orientation,
            "bits": header.bits,
            "colour": header.colour.value,
            "frames": header.frames,
            "taken": header.exif.taken,
            "exif": _finite(asdict(header.exif)),
            "quality": _finite(asdict(found.quality)),
            "warnings": list(found.warnings),
        }
        return Intake(
            media_type=header.mime,
            size_px=header.size_px,
            facts=facts,
            warnings=found.warnings,
            preview=found.preview_jpeg,
            thumbnail=found.thumbnail_jpeg,
        )

    def picture(self, source: bytes, name: str) -> bytes:
        """Convert a picture to an upright JPEG of the same size; `PhotoError` if it cannot be read."""
        pixels = load_picture(source, name=name, limits=self._limits).pixels
        swapped = np.ascontiguousarray(pixels[..., ::-1])
        _, encoded = cv2.imencode(".jpg", swapped, [cv2.IMWRITE_JPEG_QUALITY, PICTURE_JPEG_QUALITY])
        return bytes(encoded.tobytes())


def shown_upright(media_type: str, orientation: int) -> bool:
    """Whether every browser shows an original upright by itself; if not, it is shown as a copy.

    Marks are set in pixels of the upright picture, so one shown on its side would move all of them.
    """
    turned = orientation == 1 or media_type in TURNED_BY_BROWSERS
    return turned and media_type in SHOWN_BY_BROWSERS


def _finite(value: Any) -> Any:
    """Replace NaN and infinity, which JSON lacks, by None, and tuples by lists; clean texts of NUL."""
    if isinstance(value, dict):
        return {name: _finite(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, str):
        return value.encode(errors="replace").decode().replace("\x00", "")
    return value
