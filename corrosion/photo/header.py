"""The header check: what may be decoded at all, settled before a pixel is touched."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePath

from corrosion.errors import PhotoError, PhotoRefusedError
from corrosion.photo._container import EXTENSIONS, MIME, Colour, Container, PhotoFormat
from corrosion.photo._heif import is_heif, read_heif
from corrosion.photo._jpeg import read_jpeg
from corrosion.photo._png import SIGNATURE, read_png
from corrosion.photo._tiff import read_tiff
from corrosion.photo._webp import read_webp
from corrosion.photo.exif import ExifFacts, read_exif

Source = Path | bytes
"""A file, or the bytes of one."""

_READERS: dict[PhotoFormat, Callable[[bytes], Container]] = {
    PhotoFormat.JPEG: read_jpeg,
    PhotoFormat.PNG: read_png,
    PhotoFormat.TIFF: read_tiff,
    PhotoFormat.WEBP: read_webp,
    PhotoFormat.HEIC: read_heif,
}
_READ_FORMATS = "JPEG, PNG, TIFF, WebP or HEIC"

# First bytes of what people drop by mistake, so that the refusal can call it by its name.
_KNOWN_STRANGERS = (
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive or an office document"),
    (b"BM", "a BMP picture"),
    (b"\x00\x00\x01\x00", "an icon"),
    (b"\x1a\x45\xdf\xa3", "a video"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"FUJIFILMCCD-RAW", "a camera raw file"),
)


@dataclass(frozen=True)
class PhotoLimits:
    """How much one photo may cost.

    Attributes
    ----------
    max_pixels : int
        Most pixels that are decoded; 120 million covers the cameras of phones.
    max_bytes : int
        Largest file that is read.
    """

    max_pixels: int = 120_000_000
    max_bytes: int = 256_000_000


DEFAULT_LIMITS = PhotoLimits()


@dataclass(frozen=True)
class PhotoHeader:
    """A photo's facts, settled without decoding it.

    Attributes
    ----------
    format : PhotoFormat
        Told by content.
    mime : str
        IANA media type.
    size_px : tuple of int
        Width and height of the upright picture: the frame of all coordinates.
    stored_size : tuple of int
        Width and height as stored in the file.
    orientation : int
        EXIF orientation 1 to 8 still to be applied to the stored pixels; 1 for HEIC, whose decoder
        turns the picture itself.
    bits : int
        Bits of one stored sample.
    colour : Colour
        Kind of stored samples.
    frames : int
        Pictures in the file; only the first (HEIC: the primary) is used.
    exif : ExifFacts
        How it was taken.
    n_bytes : int
        Length of the file.
    warnings : tuple of str
        Oddities a person should know; the photo is usable all the same.
    """

    format: PhotoFormat
    mime: str
    size_px: tuple[int, int]
    stored_size: tuple[int, int]
    orientation: int
    bits: int
    colour: Colour
    frames: int
    exif: ExifFacts
    n_bytes: int
    warnings: tuple[str, ...]


def name_of(source: Source, name: str) -> str:
    """Name to call the photo by: the given one, or the file's."""
    return name or (source.name if isinstance(source, Path) else "photo")


def read_source(source: Source, *, name: str = "", limits: PhotoLimits = DEFAULT_LIMITS) -> bytes:
    """Read the bytes of a photo, refusing a file that is too long before reading it.

    Raises
    ------
    PhotoError
        If the file is missing or cannot be read.
    PhotoRefusedError
        If it is empty or longer than `limits` allow.
    """
    place = name_of(source, name)
    try:
        length = len(source) if isinstance(source, bytes) else source.stat().st_size
        if length > limits.max_bytes:
            raise PhotoRefusedError(
                f"the file has {length / 1e6:.0f} MB; at most {limits.max_bytes / 1e6:.0f} MB are read.",
                place=place,
                remedy="Save it smaller, or raise the limit in the settings.",
            )
        data = source if isinstance(source, bytes) else source.read_bytes()
    except OSError as error:
        raise PhotoError(
            f"the file cannot be read ({error.strerror or error}).",
            place=place,
            remedy="Check its path and who may read it.",
        ) from error
    if not data:
        raise PhotoRefusedError("the file is empty.", place=place, remedy="Copy it again from the camera.")
    return data


def read_header(source: Source, *, name: str = "", limits: PhotoLimits = DEFAULT_LIMITS) -> PhotoHeader:
    """Check a photo and read its facts without decoding it.

    Parameters
    ----------
    source : Path or bytes
        The file or its bytes.
    name : str
        What to call the photo in messages, and whose ending is compared with the content; the file's
        own name if empty.
    limits : PhotoLimits
        How much it may cost.

    Returns
    -------
    PhotoHeader
        Its facts, with the size of the upright picture.

    Raises
    ------
    PhotoError
        If the file cannot be read at all.
    PhotoRefusedError
        If it is not one of the formats, breaks off, contradicts itself, is animated or too large.
    """
    data = read_source(source, name=name, limits=limits)
    try:
        return inspect(data, name_of(source, name), limits)
    except PhotoError as error:
        raise error.at(name_of(source, name)) from error


def inspect(data: bytes, name: str, limits: PhotoLimits) -> PhotoHeader:
    """Do the work of `read_header` on bytes; errors do not yet carry the photo's name."""
    kind = sniff(data)
    note = _compare_ending(kind, name)
    container = _READERS[kind](data)
    _check_size(container, limits)
    _check_kind(container)
    block = read_exif(container.exif)
    orientation = 1 if kind is PhotoFormat.HEIC else block.orientation
    width, height = container.size_px
    notes = note + container.notes + block.notes
    return PhotoHeader(
        format=kind,
        mime=MIME[kind],
        size_px=(height, width) if orientation >= 5 else (width, height),
        stored_size=(width, height),
        orientation=orientation,
        bits=container.bits,
        colour=container.colour,
        frames=container.frames,
        exif=block.facts,
        n_bytes=len(data),
        warnings=notes + _oddities(container, len(data), block.facts),
    )


def sniff(data: bytes) -> PhotoFormat:
    """Tell the format by content.

    Raises
    ------
    PhotoRefusedError
        If it is none of the formats that are read; names what it looks like.
    """
    if data.startswith(b"\xff\xd8\xff"):
        return PhotoFormat.JPEG
    if data.startswith(SIGNATURE):
        return PhotoFormat.PNG
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return PhotoFormat.TIFF
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return PhotoFormat.WEBP
    if is_heif(data):
        return PhotoFormat.HEIC
    raise PhotoRefusedError(
        f"the content is {_looks_like(data)}, not a picture in {_READ_FORMATS}.",
        remedy=f"Export it as {_READ_FORMATS}.",
    )


def _looks_like(data: bytes) -> str:
    for start, what in _KNOWN_STRANGERS:
        if data.startswith(start):
            return what
    if data[4:8] == b"ftyp":
        return "a video"
    head = data[:256].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if b"<svg" in head:
        return "an SVG drawing"
    if head.startswith((b"<!doctype html", b"<html")):
        return "a web page"
    printable = sum(byte in b"\t\r\n" or byte >= 32 for byte in head)
    return "text" if head and printable == len(head) else "unknown data"


def _compare_ending(kind: PhotoFormat, name: str) -> tuple[str, ...]:
    ending = PurePath(name).suffix.lower()
    if not ending or ending in EXTENSIONS[kind]:
        return ()
    claimed = [other.value for other, endings in EXTENSIONS.items() if ending in endings]
    if claimed:
        raise PhotoRefusedError(
            f"the name says {claimed[0]}, the content is {kind}.",
            remedy=f"Rename it to end in {EXTENSIONS[kind][0]}.",
        )
    return (f"its name ends in {ending[:12]!r}, the content is {kind}",)


def _check_size(container: Container, limits: PhotoLimits) -> None:
    width, height = container.size_px
    if width < 1 or height < 1:
        raise PhotoRefusedError(f"the header says {width} x {height} px.", remedy="Copy it again.")
    if width * height > limits.max_pixels:
        raise PhotoRefusedError(
            f"the header says {width} x {height} px = {width * height / 1e6:.0f} million; "
            f"at most {limits.max_pixels / 1e6:.0f} million are decoded.",
            remedy="Save it smaller, or raise the limit in the settings.",
        )


def _check_kind(container: Container) -> None:
    if container.animated:
        raise PhotoRefusedError(
            f"the picture is animated ({container.frames} frames).", remedy="Save the frame you want alone."
        )
    if container.format is PhotoFormat.JPEG and container.bits != 8:
        raise PhotoRefusedError(
            f"a JPEG with {container.bits} bits per sample is not read.", remedy="Save it with 8 bits."
        )


def _oddities(container: Container, n_bytes: int, exif: ExifFacts) -> tuple[str, ...]:
    notes = []
    extra = n_bytes - container.end
    if container.frames > 1:
        notes.append(f"the file holds {container.frames} pictures; only the first is used")
    elif extra > 0:
        notes.append(f"{extra} bytes follow the end of the picture; they are kept but not looked at")
    if container.alpha:
        notes.append("its transparency is ignored; the colours are used as stored")
    if container.colour is Colour.CMYK:
        notes.append("it is stored in print colours (CMYK); the colours shown are approximate")
    recorded = exif.recorded_size_px
    if recorded and set(recorded) != set(container.size_px):
        notes.append(
            f"the camera recorded {recorded[0]} x {recorded[1]} px and the picture has "
            f"{container.size_px[0]} x {container.size_px[1]} px: it was cropped or resized, "
            "so a lens profile may not fit"
        )
    return tuple(notes)
