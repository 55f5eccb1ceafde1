"""Structure of a HEIC file: ISO/IEC 14496-12 boxes, ISO/IEC 23008-12 brands (codes from memory)."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import numpy.typing as npt
import pillow_heif

from corrosion.errors import PhotoRefusedError
from corrosion.photo._container import CUT_OFF, Colour, Container, PhotoFormat, damaged

_HEVC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"}
_SEQUENCE_BRANDS = {b"hevc", b"hevx", b"msf1"}
_IMAGE_BRANDS = _HEVC_BRANDS | {b"mif1", b"msf1"}
_AV1_BRANDS = {b"avif", b"avis"}
_MAX_BOXES = 10_000


def brands_of(data: bytes) -> set[bytes]:
    """Brands in the file type box at the start of `data`; empty if there is none."""
    length = int.from_bytes(data[:4], "big")
    if data[4:8] != b"ftyp" or length < 16:
        return set()
    box = data[8 : min(length, 512)]
    return {box[:4], *(box[at : at + 4] for at in range(8, len(box) - 3, 4))}


def is_heif(data: bytes) -> bool:
    """Whether `data` start like a still picture in the HEIF family.

    Raises
    ------
    PhotoRefusedError
        If it is coded with AV1.
    """
    brands = brands_of(data)
    if brands & _AV1_BRANDS:
        raise PhotoRefusedError(
            "the content is an AVIF picture, which is not read.", remedy="Save it as JPEG, PNG or HEIC."
        )
    return bool(brands & _IMAGE_BRANDS)


def _end_of_boxes(data: bytes) -> int:
    at = 0
    for _ in range(_MAX_BOXES):
        if at == len(data):
            return at
        length, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if length == 1:
            length = int.from_bytes(data[at + 8 : at + 16], "big")
        if length == 0:
            return len(data)
        if length < 8 or not kind.isalnum():
            return at
        if at + length > len(data):
            raise damaged(f"it breaks off inside its {kind.decode('latin-1')!r} box")
        at += length
    raise damaged(f"it has more than {_MAX_BOXES} boxes")


def _primary(data: bytes) -> tuple[Any, int]:
    """Primary picture, not decoded yet, and the number of pictures in the file."""
    try:
        file = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        return file[file.primary_index], len(file)
    except Exception as error:  # a parser fed hostile bytes may raise anything
        raise damaged(f"its HEIC structure cannot be read ({_words(error)})") from error


def _words(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__


def read_heif(data: bytes) -> Container:
    """Read the facts of a HEIC file's primary picture, without decoding it.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    Container
        Facts of the primary picture. Its size is upright already: the container itself says how the
        picture is turned and the decoder does it, so an EXIF orientation does not apply.

    Raises
    ------
    PhotoRefusedError
        If the file breaks off or its structure cannot be read.
    """
    brands = brands_of(data)
    end = _end_of_boxes(data)
    primary, pictures = _primary(data)
    return Container(
        PhotoFormat.HEIC,
        (int(primary.size[0]), int(primary.size[1])),
        int(primary.info.get("bit_depth", 8)),
        Colour.RGB,
        end,
        frames=pictures,
        animated=brands >= {b"msf1"} and not brands & (_HEVC_BRANDS - _SEQUENCE_BRANDS),
        alpha=bool(primary.has_alpha),
        exif=primary.info.get("exif") or b"",
    )


def decode_heif(data: bytes) -> npt.NDArray[np.uint8] | npt.NDArray[np.uint16]:
    """Decode the primary picture.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8 or uint16
        Upright RGB; deeper than 8 bits scaled to the whole 16-bit range by the decoder.

    Raises
    ------
    PhotoRefusedError
        If the coded data are broken.
    """
    primary, _ = _primary(data)
    try:
        pixels = np.asarray(primary)
    except Exception as error:
        raise PhotoRefusedError(
            f"the picture data cannot be decoded ({_words(error)}).", remedy=CUT_OFF
        ) from error
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., np.newaxis], 3, axis=2)
    colours = pixels[..., :3]
    return np.ascontiguousarray(colours)
