"""What a picture file says about itself before a single pixel is decoded."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from corrosion.errors import PhotoRefusedError

CUT_OFF = "Copy it again from the camera or phone; it was not copied to its end or is damaged."


class PhotoFormat(StrEnum):
    """Picture formats the project reads."""

    JPEG = "JPEG"
    PNG = "PNG"
    TIFF = "TIFF"
    WEBP = "WebP"
    HEIC = "HEIC"


MIME = {
    PhotoFormat.JPEG: "image/jpeg",
    PhotoFormat.PNG: "image/png",
    PhotoFormat.TIFF: "image/tiff",
    PhotoFormat.WEBP: "image/webp",
    PhotoFormat.HEIC: "image/heic",
}
"""IANA media type of each format."""

EXTENSIONS = {
    PhotoFormat.JPEG: (".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"),
    PhotoFormat.PNG: (".png",),
    PhotoFormat.TIFF: (".tif", ".tiff"),
    PhotoFormat.WEBP: (".webp",),
    PhotoFormat.HEIC: (".heic", ".heif", ".hif"),
}
"""File name endings that belong to each format, lower case."""


class Colour(StrEnum):
    """How the stored samples make a colour."""

    GREY = "grey"
    RGB = "rgb"
    PALETTE = "palette"
    CMYK = "cmyk"


@dataclass(frozen=True)
class Container:
    """The facts of one picture file.

    Attributes
    ----------
    format : PhotoFormat
        Told by the content, never by the name.
    size_px : tuple of int
        Width and height as stored, before orientation.
    bits : int
        Bits of one sample.
    colour : Colour
        Kind of samples.
    end : int
        Number of bytes that belong to the picture; what follows is not part of it.
    frames : int
        Pictures in the file.
    animated : bool
        Whether the pictures are frames of one animation.
    alpha : bool
        Whether a transparency channel is stored.
    exif : bytes
        The EXIF block, starting at its TIFF header or at ``Exif``; empty without one.
    notes : tuple of str
        Oddities worth a warning.
    """

    format: PhotoFormat
    size_px: tuple[int, int]
    bits: int
    colour: Colour
    end: int
    frames: int = 1
    animated: bool = False
    alpha: bool = False
    exif: bytes = b""
    notes: tuple[str, ...] = ()


def damaged(what: str) -> PhotoRefusedError:
    """Error for a file whose structure breaks off or contradicts itself."""
    return PhotoRefusedError(f"the file is damaged: {what}.", remedy=CUT_OFF)
