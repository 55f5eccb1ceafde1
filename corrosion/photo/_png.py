"""Structure of a PNG file: W3C Portable Network Graphics (Third Edition), clauses 5 and 11."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from corrosion.errors import PhotoRefusedError
from corrosion.photo._container import Colour, Container, PhotoFormat, damaged

SIGNATURE = b"\x89PNG\r\n\x1a\n"

# Clause 11.2.1, colour type -> (kind, samples per pixel, has alpha).
_COLOUR_TYPE = {
    0: (Colour.GREY, 1, False),
    2: (Colour.RGB, 3, False),
    3: (Colour.PALETTE, 1, False),
    4: (Colour.GREY, 2, True),
    6: (Colour.RGB, 4, True),
}
# Clause 8.1, Adam7: (first column, first row, column step, row step) of each pass.
_ADAM7 = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)
_MAX_CHUNKS = 200_000
_INFLATE_STEP = 1 << 22


def _chunks(data: bytes) -> Iterator[tuple[bytes, memoryview, int]]:
    """Yield type, body and end offset of each chunk up to IEND, with its checksum verified."""
    view, at = memoryview(data), len(SIGNATURE)
    for _ in range(_MAX_CHUNKS):
        length = int.from_bytes(view[at : at + 4], "big")
        kind = bytes(view[at + 4 : at + 8])
        end = at + 12 + length
        if len(kind) < 4 or end > len(data):
            raise damaged("it breaks off inside a chunk")
        checksum = int.from_bytes(view[end - 4 : end], "big")
        if zlib.crc32(view[at + 4 : end - 4]) != checksum:
            raise damaged(f"the checksum of its {kind.decode('latin-1')!r} chunk is wrong")
        yield kind, view[at + 8 : end - 4], end
        if kind == b"IEND":
            return
        at = end
    raise damaged(f"it has more than {_MAX_CHUNKS} chunks")


def read_png(data: bytes) -> Container:
    """Walk the chunks of a PNG file to its end.

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
        If the file breaks off, a checksum is wrong or the header breaks the format.
    """
    header, exif, frames, end, has_data, transparent = b"", b"", 1, 0, False, False
    for kind, body, stop in _chunks(data):
        end = stop
        if not header and kind != b"IHDR":
            raise damaged("its header is not at its start")
        if kind == b"IHDR":
            header = bytes(body)
        elif kind == b"IDAT":
            has_data = True
        elif kind == b"eXIf":
            exif = bytes(body)
        elif kind == b"tRNS":
            transparent = True
        elif kind == b"acTL" and len(body) >= 4:
            frames = max(1, int.from_bytes(body[:4], "big"))
    if len(header) != 13 or not has_data:
        raise damaged("it holds no picture data")
    width, height, bits, colour_type = struct.unpack(">IIBB", header[:10])
    if colour_type not in _COLOUR_TYPE or bits not in (1, 2, 4, 8, 16):
        raise PhotoRefusedError(
            f"PNG colour type {colour_type} with {bits} bits does not exist.", remedy="Save it again."
        )
    kind_of_colour, _, alpha = _COLOUR_TYPE[colour_type]
    return Container(
        PhotoFormat.PNG,
        (width, height),
        bits,
        kind_of_colour,
        end,
        frames=frames,
        animated=frames > 1,
        alpha=alpha or transparent,
        exif=exif,
    )


def _expected_bytes(header: bytes) -> int:
    """Length of the filtered picture data that the header promises (clauses 7.2 and 9.1)."""
    width, height, bits, colour_type = struct.unpack(">IIBB", header[:10])
    bits_per_pixel = bits * _COLOUR_TYPE[colour_type][1]
    passes = _ADAM7 if header[12] == 1 else ((0, 0, 1, 1),)
    total = 0
    for x0, y0, step_x, step_y in passes:
        columns, rows = -(-(width - x0) // step_x), -(-(height - y0) // step_y)
        if columns > 0 and rows > 0:
            total += rows * (1 + -(-columns * bits_per_pixel // 8))
    return total


def verify_png_data(data: bytes) -> None:
    """Check that the picture data unpack to exactly what the header promises.

    Memory stays at a few MB whatever the file claims, and unpacking stops as soon as there is too much.

    Raises
    ------
    PhotoRefusedError
        If there is less or more than the header says, or the compressed stream is broken.
    """
    inflater = zlib.decompressobj()
    expected, got = 0, 0
    try:
        for kind, body, _ in _chunks(data):
            if kind == b"IHDR":
                expected = _expected_bytes(bytes(body))
            elif kind == b"IDAT":
                got += _inflated(inflater, bytes(body), expected - got)
    except zlib.error as error:
        raise damaged("its compressed picture data cannot be unpacked") from error
    if got != expected:
        less_or_more = "less" if got < expected else "more"
        raise damaged(f"it holds {less_or_more} picture data than its header says")


def _inflated(inflater: zlib._Decompress, body: bytes, room: int) -> int:
    """Unpacked length of `body`, given up one byte past `room`."""
    got = 0
    while body and not inflater.eof and got <= room:
        got += len(inflater.decompress(body, _INFLATE_STEP))
        body = inflater.unconsumed_tail
    return got
