"""Structure of a WebP file: RFC 9649, section 2."""

from __future__ import annotations

from collections.abc import Iterator

from corrosion.photo._container import Colour, Container, PhotoFormat, damaged

_MAX_CHUNKS = 100_000

# RFC 9649 section 2.7, flags of the VP8X chunk.
_ALPHA_FLAG = 0x10


def _chunks(data: bytes, end: int) -> Iterator[tuple[bytes, bytes]]:
    at = 12
    for _ in range(_MAX_CHUNKS):
        if at + 8 > end:
            return
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        body = data[at + 8 : at + 8 + length]
        if len(body) != length or at + 8 + length > end:
            raise damaged("it breaks off inside a chunk")
        yield data[at : at + 4], body
        at += 8 + length + (length & 1)
    raise damaged(f"it has more than {_MAX_CHUNKS} chunks")


def _lossy_size(body: bytes) -> tuple[int, int]:
    # RFC 6386 section 9.1: start code, then 14 bits of width and of height.
    if body[3:6] != b"\x9d\x01\x2a" or len(body) < 10:
        raise damaged("its picture data do not start with a key frame")
    return (
        int.from_bytes(body[6:8], "little") & 0x3FFF,
        int.from_bytes(body[8:10], "little") & 0x3FFF,
    )


def _lossless_size(body: bytes) -> tuple[tuple[int, int], bool]:
    # RFC 9649 section 3.4: signature 2F, then 14 bits each of width - 1 and height - 1, then alpha.
    if body[:1] != b"\x2f" or len(body) < 5:
        raise damaged("its lossless picture data lack their signature")
    packed = int.from_bytes(body[1:5], "little")
    size = (packed & 0x3FFF) + 1, (packed >> 14 & 0x3FFF) + 1
    return size, bool(packed >> 28 & 1)


def read_webp(data: bytes) -> Container:
    """Walk the chunks of a WebP file.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    Container
        The facts of the picture.

    Raises
    ------
    PhotoRefusedError
        If the file breaks off or its canvas and its picture disagree in size.
    """
    length = int.from_bytes(data[4:8], "little")
    end = 8 + length
    if end > len(data):
        raise damaged(f"it says {end} bytes and has {len(data)}")
    canvas: tuple[int, int] | None = None
    size: tuple[int, int] | None = None
    alpha, frames, exif = False, 0, b""
    for kind, body in _chunks(data, end):
        if kind == b"VP8X" and len(body) >= 10:
            canvas = int.from_bytes(body[4:7], "little") + 1, int.from_bytes(body[7:10], "little") + 1
            alpha = alpha or bool(body[0] & _ALPHA_FLAG)
        elif kind == b"VP8 ":
            size = size or _lossy_size(body)
        elif kind == b"VP8L":
            size, alpha = _lossless_size(body)
        elif kind == b"ANMF":
            frames += 1
        elif kind == b"EXIF":
            exif = exif or body
    stored = size or (canvas if frames else None)
    if stored is None:
        raise damaged("it holds no picture data")
    if canvas is not None and canvas != stored:
        raise damaged(
            f"its header says {canvas[0]} x {canvas[1]} px, its data {stored[0]} x {stored[1]} px"
        )
    return Container(
        PhotoFormat.WEBP,
        stored,
        8,
        Colour.RGB,
        end + (length & 1 if end < len(data) else 0),
        frames=max(1, frames),
        animated=frames > 0,
        alpha=alpha,
        exif=exif,
    )
