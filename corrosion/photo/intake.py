"""Taking a photo in: everything the service wants to know about a new file, from one decode."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from corrosion.errors import PhotoError
from corrosion.opencv import cv2
from corrosion.photo._decode import Samples, decode_stored, upright
from corrosion.photo.digest import sha256_of
from corrosion.photo.header import (
    DEFAULT_LIMITS,
    PhotoHeader,
    PhotoLimits,
    Source,
    inspect,
    name_of,
    read_source,
)
from corrosion.photo.picture import to_8_bits
from corrosion.photo.quality import PhotoQuality, fit_within, quality_of_size

PREVIEW_LONG_SIDE_PX = 1600
THUMBNAIL_LONG_SIDE_PX = 320
_PREVIEW_JPEG_QUALITY = 85

_MIN_LONG_SIDE_PX, _MAX_LONG_SIDE_PX = 16, 8192


@dataclass(frozen=True)
class Intake:
    """A new photo's facts and its small copies.

    Attributes
    ----------
    header : PhotoHeader
        Facts, with the size of the upright picture.
    sha256 : str
        Hexadecimal digest of the file.
    quality : PhotoQuality
        Whether it is good enough to measure on.
    preview_jpeg, thumbnail_jpeg : bytes
        Upright JPEG copies without any metadata, long side at most 1600 and 320 px.
    """

    header: PhotoHeader
    sha256: str
    quality: PhotoQuality
    preview_jpeg: bytes
    thumbnail_jpeg: bytes

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings of the header and of the quality together."""
        return self.header.warnings + self.quality.warnings


def intake(source: Source, *, name: str = "", limits: PhotoLimits = DEFAULT_LIMITS) -> Intake:
    """Check a photo, take its digest, judge its quality and make its small copies.

    Entropy decoding is most of the cost of a JPEG and is the same at any scale, so the file is decoded
    once, reduced, and everything else is made from that.

    Parameters
    ----------
    source : Path or bytes
        The file or its bytes.
    name : str
        What to call the photo in messages; the file's own name if empty.
    limits : PhotoLimits
        How much it may cost.

    Returns
    -------
    Intake

    Raises
    ------
    PhotoError
        If the file cannot be read.
    PhotoRefusedError
        If it is refused or cannot be decoded, see `load_picture`.
    """
    data = read_source(source, name=name, limits=limits)
    header, large = _reduced(data, name_of(source, name), limits, PREVIEW_LONG_SIDE_PX)
    grey = np.asarray(cv2.cvtColor(large, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    return Intake(
        header=header,
        sha256=sha256_of(data),
        quality=quality_of_size(grey, header.size_px),
        preview_jpeg=_jpeg(large),
        thumbnail_jpeg=_jpeg(fit_within(large, THUMBNAIL_LONG_SIDE_PX)),
    )


def preview(
    source: Source,
    long_side: int = PREVIEW_LONG_SIDE_PX,
    *,
    name: str = "",
    limits: PhotoLimits = DEFAULT_LIMITS,
) -> bytes:
    """Make an upright JPEG copy without metadata, never larger than the photo.

    Parameters
    ----------
    source, name, limits
        See `intake`.
    long_side : int
        Longest side of the copy, 16 to 8192 px.

    Returns
    -------
    bytes
        The JPEG file.

    Raises
    ------
    PhotoError
        If `long_side` is out of range or the file cannot be read.
    PhotoRefusedError
        If the photo is refused or cannot be decoded.
    """
    if not _MIN_LONG_SIDE_PX <= long_side <= _MAX_LONG_SIDE_PX:
        raise PhotoError(
            f"a preview of {long_side} px cannot be made.",
            place=name_of(source, name),
            remedy=f"Ask for {_MIN_LONG_SIDE_PX} to {_MAX_LONG_SIDE_PX} px.",
        )
    data = read_source(source, name=name, limits=limits)
    return _jpeg(_reduced(data, name_of(source, name), limits, long_side)[1])


def _reduced(
    data: bytes, place: str, limits: PhotoLimits, long_side: int
) -> tuple[PhotoHeader, npt.NDArray[np.uint8]]:
    """Header and an upright BGR copy whose long side is at most `long_side`."""
    try:
        header = inspect(data, place, limits)
        samples = decode_stored(data, header, reduce=_reduction(header, long_side))
    except PhotoError as error:
        raise error.at(place) from error
    # For less than a halving, interpolating is as good to look at as averaging and six times as fast.
    slight = max(samples.shape[:2]) < 2 * long_side
    interpolation = cv2.INTER_LINEAR if slight else cv2.INTER_AREA
    small = fit_within(to_8_bits(samples), long_side, interpolation=interpolation)
    # Turning the small copy is cheaper and gives the same picture.
    turned: Samples = upright(small, header.orientation)
    return header, np.ascontiguousarray(turned, dtype=np.uint8)


def _reduction(header: PhotoHeader, long_side: int) -> int:
    """Largest reduction while decoding that still leaves `long_side` pixels."""
    room = max(header.stored_size) // long_side
    return max(step for step in (1, 2, 4, 8) if step <= max(1, room))


def _jpeg(pixels: npt.NDArray[np.uint8]) -> bytes:
    _, encoded = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, _PREVIEW_JPEG_QUALITY])
    return encoded.tobytes()
