"""From the bytes of a checked file to upright samples. The only module that decodes.

The decoder is always told to leave the pixels as stored, and the orientation of the checked header is
applied here: one place decides what *upright* means, for full pictures and previews alike.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from corrosion.errors import PhotoRefusedError
from corrosion.opencv import cv2
from corrosion.photo._container import CUT_OFF, Colour, PhotoFormat, damaged
from corrosion.photo._heif import decode_heif
from corrosion.photo._png import verify_png_data
from corrosion.photo._tiff import is_white_zero, without_orientation
from corrosion.photo.header import PhotoHeader

Samples = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

_AS_STORED = cv2.IMREAD_IGNORE_ORIENTATION
_FULL = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH | _AS_STORED
_REDUCED = {
    2: cv2.IMREAD_REDUCED_COLOR_2 | _AS_STORED,
    4: cv2.IMREAD_REDUCED_COLOR_4 | _AS_STORED,
    8: cv2.IMREAD_REDUCED_COLOR_8 | _AS_STORED,
}

# A JPEG decoder that runs out of data fills the missing blocks with zero coefficients: mid-grey, 128.
_MISSING = 128
_BLOCK_ROWS = 8


def decode_stored(data: bytes, header: PhotoHeader, *, reduce: int = 1) -> Samples:
    """Decode the first picture as stored, before orientation.

    Parameters
    ----------
    data : bytes
        The whole file, checked by `read_header`.
    header : PhotoHeader
        Its facts.
    reduce : {1, 2, 4, 8}
        Divide the size by this while decoding; only JPEG gets cheaper by it.

    Returns
    -------
    ndarray of shape (ceil(h / reduce), ceil(w / reduce), 3), uint8 or uint16
        Colours in OpenCV's order BGR. uint16 only for deeper files and ``reduce == 1``.

    Raises
    ------
    PhotoRefusedError
        If the data cannot be decoded or do not give what the header promises.
    """
    samples = _samples(data, header, reduce)
    width, height = (-(-side // reduce) for side in header.stored_size)
    if samples.shape != (height, width, 3):
        raise damaged(f"its header says {width} x {height} px, its data give {samples.shape[1::-1]}")
    if header.format is PhotoFormat.JPEG:
        _check_last_rows(samples, reduce)
    return samples


def _samples(data: bytes, header: PhotoHeader, reduce: int) -> Samples:
    if header.format is PhotoFormat.HEIC:
        colours: Any = decode_heif(data)
        return _shrink(np.ascontiguousarray(colours[..., ::-1]), reduce)
    if header.format is PhotoFormat.PNG:
        verify_png_data(data)
    if header.format is PhotoFormat.TIFF:
        samples: Any = _decode(without_orientation(data), _FULL)
        # OpenCV hands 16-bit samples through unchanged, whatever zero means in the file.
        if header.bits == 16 and header.colour is Colour.GREY and is_white_zero(data):
            samples = 65535 - samples
        return _shrink(samples, reduce)
    if header.format is PhotoFormat.JPEG and reduce > 1:
        return _decode(data, _REDUCED[reduce])
    return _shrink(_decode(data, _FULL), reduce)


def _decode(data: bytes, flags: int) -> Samples:
    try:
        samples = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error as error:
        raise PhotoRefusedError("the picture data cannot be decoded.", remedy=CUT_OFF) from error
    # The binding returns None for data it cannot decode, which its type hints do not say.
    if samples is None or samples.dtype not in (np.uint8, np.uint16):
        raise PhotoRefusedError("the picture data cannot be decoded.", remedy=CUT_OFF)
    return samples  # type: ignore[return-value]


def _shrink(samples: Samples, reduce: int) -> Samples:
    if reduce == 1:
        return samples
    height, width = samples.shape[:2]
    size = -(-width // reduce), -(-height // reduce)
    return cv2.resize(samples, size, interpolation=cv2.INTER_AREA)  # type: ignore[return-value]


def _check_last_rows(samples: Samples, reduce: int) -> None:
    """Refuse a JPEG whose last row of blocks was never there.

    The decoder says nothing to us when the data end early but an end marker follows, as in a file of
    which the header was changed or the middle was lost.
    """
    tail = samples[-max(1, _BLOCK_ROWS // reduce) :]
    if np.all(tail == _MISSING) and not np.all(samples == _MISSING):
        raise damaged("its last rows hold no data")


def upright(samples: Samples, orientation: int) -> Samples:
    """Turn stored samples upright.

    Parameters
    ----------
    samples : ndarray of shape (h, w, 3)
        As stored.
    orientation : int
        EXIF orientation, 1 to 8 (CIPA DC-008, tag 0112h; from memory): which edges of the scene the
        first stored row and column are.

    Returns
    -------
    ndarray of shape (h, w, 3), or (w, h, 3) for orientation 5 to 8
    """
    turned = samples
    if orientation in {5, 7}:
        turned = cv2.transpose(samples)  # type: ignore[assignment]
    flips = {2: 1, 3: -1, 4: 0, 7: -1}
    if orientation in flips:
        turned = cv2.flip(turned, flips[orientation])  # type: ignore[assignment]
    elif orientation == 6:
        turned = cv2.rotate(samples, cv2.ROTATE_90_CLOCKWISE)  # type: ignore[assignment]
    elif orientation == 8:
        turned = cv2.rotate(samples, cv2.ROTATE_90_COUNTERCLOCKWISE)  # type: ignore[assignment]
    return turned
