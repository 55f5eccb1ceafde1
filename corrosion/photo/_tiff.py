"""Structure of a TIFF file: TIFF Revision 6.0 (1992), section 2 and the tag tables."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from corrosion.errors import PhotoRefusedError
from corrosion.photo._container import Colour, Container, PhotoFormat, damaged

# Section 2, field types: byte length and struct letter of the ones a tag we need may use.
_TYPES = {1: (1, "B"), 3: (2, "H"), 4: (4, "I")}

_SUBFILE, _WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC = 254, 256, 257, 258, 262
_STRIP_OFFSETS, _ORIENTATION, _SAMPLES, _STRIP_BYTES = 273, 274, 277, 279
_TILE_OFFSETS, _TILE_BYTES, _PLANAR, _EXTRA, _SAMPLE_FORMAT = 324, 325, 284, 338, 339
# Adobe DNG specification, tag from memory: only raw files carry it.
_DNG_VERSION = 50706

_COLOUR = {0: Colour.GREY, 1: Colour.GREY, 2: Colour.RGB, 3: Colour.PALETTE, 5: Colour.CMYK, 6: Colour.RGB}
_MAX_DIRECTORIES = 1_000

Tags = dict[int, tuple[int, ...]]


@dataclass(frozen=True)
class Directory:
    """One image file directory.

    Attributes
    ----------
    tags : dict
        Unsigned values by tag number.
    places : dict
        Offset in the file of each entry's value field.
    next : int
        Offset of the next directory, 0 at the end.
    """

    tags: Tags
    places: dict[int, int]
    next: int


def _order(data: bytes) -> str:
    return "<" if data[:2] == b"II" else ">"


def _directory(data: bytes, at: int) -> Directory:
    order = _order(data)
    try:
        (count,) = struct.unpack_from(order + "H", data, at)
        tags: Tags = {}
        places: dict[int, int] = {}
        for entry in range(at + 2, at + 2 + 12 * count, 12):
            tag, kind, values = struct.unpack_from(order + "HHI", data, entry)
            if kind not in _TYPES or tag in tags:
                continue
            size, letter = _TYPES[kind]
            place = entry + 8
            if size * values > 4:
                (place,) = struct.unpack_from(order + "I", data, place)
            if place + size * values > len(data):
                raise damaged(f"the values of its tag {tag} lie past its end")
            tags[tag] = struct.unpack_from(f"{order}{values}{letter}", data, place)
            places[tag] = place
        (following,) = struct.unpack_from(order + "I", data, at + 2 + 12 * count)
    except struct.error as error:
        raise damaged("it breaks off inside a directory") from error
    return Directory(tags, places, following)


def _count_pictures(data: bytes, first: Directory) -> int:
    """Follow the chain of directories; only its length is wanted, so only counts are read."""
    order, seen, at = _order(data), {0}, first.next
    while at not in seen:
        seen.add(at)
        if len(seen) > _MAX_DIRECTORIES:
            raise damaged(f"it has more than {_MAX_DIRECTORIES} directories")
        try:
            (count,) = struct.unpack_from(order + "H", data, at)
            (at,) = struct.unpack_from(order + "I", data, at + 2 + 12 * count)
        except struct.error as error:
            raise damaged("it breaks off inside a directory") from error
    if at != 0:
        raise damaged("its directories point at each other in a circle")
    return len(seen)


def _one(tags: Tags, tag: int, default: int = 0) -> int:
    values = tags.get(tag, ())
    return values[0] if values else default


def _refuse_what_is_not_read(tags: Tags) -> None:
    if _DNG_VERSION in tags or _one(tags, _SUBFILE) & 1:
        raise PhotoRefusedError(
            "this is a camera raw file, or its first picture is only a preview.",
            remedy="Export it from the camera's software as TIFF, JPEG or PNG.",
        )
    bits, forms = set(tags.get(_BITS, (1,))), set(tags.get(_SAMPLE_FORMAT, (1,)))
    if len(bits) != 1 or not bits <= {1, 4, 8, 16} or forms != {1}:
        raise PhotoRefusedError(
            f"TIFF samples of {sorted(bits)} bits and sample format {sorted(forms)} are not read.",
            remedy="Save it with unsigned samples of 8 or 16 bits.",
        )
    photometric = _one(tags, _PHOTOMETRIC, 1)
    if photometric not in _COLOUR or (bits == {16} and photometric not in {0, 1, 2}):
        raise PhotoRefusedError(
            f"TIFF colours of kind {photometric} with {bits.pop()} bits are not read.",
            remedy="Save it as grey or RGB.",
        )
    if _one(tags, _PLANAR, 1) != 1 and _one(tags, _SAMPLES, 1) > 1:
        raise PhotoRefusedError(
            "TIFF with separate colour planes is not read.", remedy="Save it with interleaved colours."
        )


def _check_data_inside(data: bytes, tags: Tags) -> None:
    starts = tags.get(_STRIP_OFFSETS) or tags.get(_TILE_OFFSETS) or ()
    lengths = tags.get(_STRIP_BYTES) or tags.get(_TILE_BYTES) or ()
    if not starts or len(starts) != len(lengths):
        raise damaged("it does not say where its picture data are")
    if max(start + length for start, length in zip(starts, lengths, strict=True)) > len(data):
        raise damaged("its picture data lie past its end")


def read_tiff(data: bytes) -> Container:
    """Read the first directory of a TIFF file and count the others.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    Container
        The facts of the first picture. A TIFF file may be laid out in any order, so bytes that belong
        to nothing cannot be told from its own and `end` is the file's length.

    Raises
    ------
    PhotoRefusedError
        If the file breaks off, its directories run in a circle, or its kind is not read.
    """
    if data[2:4] in (b"+\0", b"\0+"):
        raise PhotoRefusedError("BigTIFF is not read.", remedy="Save it as ordinary TIFF.")
    if data[8:10] == b"CR":
        raise PhotoRefusedError("this is a camera raw file.", remedy="Export it as TIFF, JPEG or PNG.")
    if len(data) < 8:
        raise damaged("it breaks off inside its header")
    first = _directory(data, struct.unpack_from(_order(data) + "I", data, 4)[0])
    frames = _count_pictures(data, first)
    tags = first.tags
    _refuse_what_is_not_read(tags)
    _check_data_inside(data, tags)
    return Container(
        PhotoFormat.TIFF,
        (_one(tags, _WIDTH), _one(tags, _HEIGHT)),
        _one(tags, _BITS, 1),
        _COLOUR[_one(tags, _PHOTOMETRIC, 1)],
        len(data),
        frames=frames,
        alpha=_EXTRA in tags,
        exif=data,
    )


def without_orientation(data: bytes) -> bytes:
    """Return the file with its orientation tag set to 1, so that a decoder gives the pixels as stored.

    OpenCV turns 8-bit TIFF pictures by half of what the tag says even when told to leave them alone
    (seen with 5.0.0); a file that asks for nothing cannot be misread.
    """
    place = _directory(data, struct.unpack_from(_order(data) + "I", data, 4)[0]).places.get(_ORIENTATION)
    if place is None:
        return data
    patched = bytearray(data)
    struct.pack_into(_order(data) + "H", patched, place, 1)
    return bytes(patched)


def is_white_zero(data: bytes) -> bool:
    """Whether zero means white (PhotometricInterpretation 0)."""
    first = _directory(data, struct.unpack_from(_order(data) + "I", data, 4)[0])
    return _one(first.tags, _PHOTOMETRIC, 1) == 0
