"""A decoded photo, upright and in RGB."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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

UInt8Array = npt.NDArray[np.uint8]
UInt16Array = npt.NDArray[np.uint16]

# 65535 -> 255 over the declared range: round(v / 257). Dropping the low byte instead would darken
# every picture by up to one level, and stretching to the picture's own range would make two pictures
# of the same surface look different.
_TO_8_BITS = np.rint(np.arange(65536) / 257.0).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class Picture:
    """A decoded photo.

    Attributes
    ----------
    header : PhotoHeader
        Its facts.
    pixels : ndarray of shape (H, W, 3), uint8
        Upright RGB, read-only; (W, H) is ``header.size_px``. Row y, column x is the pixel whose centre
        lies at (x, y).
    pixels_16 : ndarray of shape (H, W, 3), uint16, or None
        The full samples where the file has more than 8 bits.
    sha256 : str
        Hexadecimal digest of the file's bytes.
    """

    header: PhotoHeader
    pixels: UInt8Array
    pixels_16: UInt16Array | None
    sha256: str

    @property
    def grey(self) -> UInt8Array:
        """Luma of the picture, see `to_grey`."""
        return to_grey(self.pixels)


def to_grey(pixels: UInt8Array) -> UInt8Array:
    """Luma 0.299 R + 0.587 G + 0.114 B (Recommendation ITU-R BT.601), rounded.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3) or (H, W), uint8
        RGB, or grey already.

    Returns
    -------
    ndarray of shape (H, W), uint8
    """
    if pixels.ndim == 2:
        return pixels
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def to_8_bits(samples: Samples) -> UInt8Array:
    """Scale 16-bit samples to 8 bits over the declared range: 65535 becomes 255."""
    return _TO_8_BITS[samples] if samples.dtype == np.uint16 else samples.astype(np.uint8, copy=False)


def load_picture(source: Source, *, name: str = "", limits: PhotoLimits = DEFAULT_LIMITS) -> Picture:
    """Read, check and decode a photo.

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
    Picture
        Upright pixels with the facts and the digest of the file.

    Raises
    ------
    PhotoError
        If the file cannot be read.
    PhotoRefusedError
        If the header check refuses it (see `read_header`), or the data cannot be decoded or contradict
        the header.
    """
    data = read_source(source, name=name, limits=limits)
    place = name_of(source, name)
    try:
        header = inspect(data, place, limits)
        turned = upright(decode_stored(data, header), header.orientation)
    except PhotoError as error:
        raise error.at(place) from error
    samples: Any = np.ascontiguousarray(turned[..., ::-1])
    pixels = to_8_bits(samples)
    samples.flags.writeable = False
    pixels.flags.writeable = False
    return Picture(header, pixels, samples if samples.dtype == np.uint16 else None, sha256_of(data))


def load_reduced(data: bytes, header: PhotoHeader, reduce: int) -> UInt8Array:
    """Decode a checked photo at a whole fraction of its size.

    Parameters
    ----------
    data : bytes
        The whole file.
    header : PhotoHeader
        What `read_header` found in it.
    reduce : {1, 2, 4, 8}
        What to divide width and height by.

    Returns
    -------
    ndarray of shape (ceil(H / reduce), ceil(W / reduce), 3), uint8
        Upright, in OpenCV's order BGR.

    Raises
    ------
    PhotoRefusedError
        If it cannot be decoded.
    """
    return to_8_bits(upright(decode_stored(data, header, reduce=reduce), header.orientation))
