"""Small picture files built for the tests, some of them by hand because no library writes them."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pillow_heif
from PIL import Image

Pixels = npt.NDArray[np.uint8]

# CIPA DC-008, tag 0112h (from memory): which side of the scene the first stored row and the first
# stored column are.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def as_stored(upright: Pixels, orientation: int) -> Pixels:
    """Store a scene the way a camera held in `orientation` does, straight from the table of sides."""
    height, width = upright.shape[:2]
    last = {"top": height - 1, "bottom": height - 1, "left": width - 1, "right": width - 1}
    row_side, column_side = SIDES[orientation]
    stored = np.empty((last[row_side] + 1, last[column_side] + 1, *upright.shape[2:]), upright.dtype)
    for row in range(stored.shape[0]):
        for column in range(stored.shape[1]):
            place = {"row": (row_side, row), "column": (column_side, column)}
            where = {}
            for side, index in place.values():
                where["y" if side in {"top", "bottom"} else "x"] = (
                    last[side] - index if side in {"bottom", "right"} else index
                )
            stored[row, column] = upright[where["y"], where["x"]]
    return stored


def noise(height: int = 48, width: int = 64, seed: int = 7) -> Pixels:
    """Random colours: no two rows, columns or turns of it are alike."""
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3)).astype(np.uint8)


def blocks(side: int = 8, rows: int = 6, columns: int = 8) -> Pixels:
    """Flat square blocks whose colours are far apart and all different."""
    colour = np.stack(
        [
            np.add.outer(np.arange(rows) * 0, np.arange(columns) * 30 + 10),
            np.add.outer(np.arange(rows) * 40 + 20, np.arange(columns) * 0),
            np.add.outer(np.arange(rows) * 25, np.arange(columns) * 15),
        ],
        axis=-1,
    )
    return np.repeat(np.repeat(colour, side, axis=0), side, axis=1).astype(np.uint8)


def exif_bytes(orientation: int) -> bytes:
    """EXIF block with nothing but an orientation."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif.tobytes()


def encode(pixels: Pixels, kind: str, *, orientation: int | None = None) -> bytes:
    """Write `pixels` in format `kind`, without loss where the format can."""
    image, out = Image.fromarray(pixels), io.BytesIO()
    exif = {"exif": exif_bytes(orientation)} if orientation is not None else {}
    if kind == "HEIC":
        file = pillow_heif.from_pillow(image)
        file.save(out, quality=-1, chroma=444, matrix_coefficients=0, **exif)
    elif kind == "TIFF":
        image.save(out, "TIFF", tiffinfo={0x0112: orientation} if orientation is not None else {})
    elif kind == "JPEG":
        image.save(out, "JPEG", quality=100, subsampling=0, **exif)
    else:
        image.save(out, kind, **({"lossless": True} if kind == "WEBP" else {}), **exif)
    return out.getvalue()


def save(image: Image.Image, kind: str, **options: object) -> bytes:
    """Write any Pillow picture."""
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def png_chunk(kind: bytes, body: bytes) -> bytes:
    """One PNG chunk with a right checksum."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(
    size: tuple[int, int],
    data: bytes,
    *,
    bits: int = 8,
    colour_type: int = 2,
    extra: Sequence[bytes] = (),
) -> bytes:
    """Write a PNG file whose header says `size` whatever the unpacked `data` hold."""
    header = struct.pack(">IIBBBBB", *size, bits, colour_type, 0, 0, 0)
    return b"".join(
        (
            b"\x89PNG\r\n\x1a\n",
            png_chunk(b"IHDR", header),
            *extra,
            png_chunk(b"IDAT", zlib.compress(data)),
            png_chunk(b"IEND", b""),
        )
    )


def tiff(entries: dict[int, tuple[int, Sequence[int]]], data: bytes = b"", *, next_at: int = 0) -> bytes:
    """Write a little-endian TIFF file: `data` at offset 8, one directory behind it.

    `entries` maps a tag to its field type (3 short, 4 long) and its values.
    """
    start = 8 + len(data) + len(data) % 2
    directory_length = 2 + 12 * len(entries) + 4
    directory, far = struct.pack("<H", len(entries)), b""
    for tag, (kind, values) in sorted(entries.items()):
        body = struct.pack(f"<{len(values)}{'HI'[kind == 4]}", *values)
        if len(body) > 4:
            place = start + directory_length + len(far)
            far += body
            body = struct.pack("<I", place)
        directory += struct.pack("<HHI", tag, kind, len(values)) + body.ljust(4, b"\0")
    head = b"II*\0" + struct.pack("<I", start) + data.ljust(start - 8, b"\0")
    return head + directory + struct.pack("<I", next_at) + far


def tiff_16(samples: npt.NDArray[np.uint16], photometric: int) -> bytes:
    """Uncompressed 16-bit TIFF of shape (H, W) or (H, W, 3)."""
    height, width = samples.shape[:2]
    channels = 1 if samples.ndim == 2 else samples.shape[2]
    data = samples.astype("<u2").tobytes()
    return tiff(
        {
            256: (4, [width]),
            257: (4, [height]),
            258: (3, [16] * channels),
            259: (3, [1]),
            262: (3, [photometric]),
            273: (4, [8]),
            277: (3, [channels]),
            278: (4, [height]),
            279: (4, [len(data)]),
        },
        data,
    )
