"""Photos: checked before they are decoded, upright, fingerprinted, judged.

One loader turns a file into the upright picture all pixel coordinates refer to: (x, y), x right, y down,
the centre of the top-left pixel at (0, 0).
"""

from corrosion.photo._container import EXTENSIONS, MIME, Colour, PhotoFormat
from corrosion.photo.digest import sha256_of
from corrosion.photo.exif import ExifFacts
from corrosion.photo.header import DEFAULT_LIMITS, PhotoHeader, PhotoLimits, Source, read_header
from corrosion.photo.intake import (
    PREVIEW_LONG_SIDE_PX,
    THUMBNAIL_LONG_SIDE_PX,
    Intake,
    intake,
    preview,
)
from corrosion.photo.picture import Picture, load_picture, load_reduced, to_8_bits, to_grey
from corrosion.photo.quality import PhotoQuality, quality

__all__ = [
    "DEFAULT_LIMITS",
    "EXTENSIONS",
    "MIME",
    "PREVIEW_LONG_SIDE_PX",
    "THUMBNAIL_LONG_SIDE_PX",
    "Colour",
    "ExifFacts",
    "Intake",
    "PhotoFormat",
    "PhotoHeader",
    "PhotoLimits",
    "PhotoQuality",
    "Picture",
    "Source",
    "intake",
    "load_picture",
    "load_reduced",
    "preview",
    "quality",
    "read_header",
    "sha256_of",
    "to_8_bits",
    "to_grey",
]
