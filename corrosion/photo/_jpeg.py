"""Structure of a JPEG file: ITU-T T.81 (1992) Annex B, marker codes from memory."""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt
from PIL import Image

from corrosion.errors import PhotoRefusedError
from corrosion.photo._container import Colour, Container, PhotoFormat, damaged

# Table B.1: baseline, extended and progressive DCT with Huffman coding; others are not photographs.
_FRAME_READ = {0xC0, 0xC1, 0xC2}
_FRAME_OTHER = {0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF}
_SOI, _EOI, _SOS, _APP1, _APP2, _TEM = 0xD8, 0xD9, 0xDA, 0xE1, 0xE2, 0x01

_FIRST_LOOK, _LONGEST_LOOK = 1 << 12, 1 << 22

# A progressive file needs about ten scans. Thousands of scans are an attack on the decoder's time.
_MAX_SCANS = 100
_MAX_SEGMENTS = 20_000

_COLOUR = {1: Colour.GREY, 3: Colour.RGB, 4: Colour.CMYK}

# CIPA DC-007 (multi-picture format), tag from memory.
_NUMBER_OF_PICTURES = 0xB001


class _Walk:
    """What has been seen so far on the way through the segments."""

    def __init__(self) -> None:
        self.frame: tuple[int, int, int, int] | None = None
        self.scans = 0
        self.exif = b""
        self.multi_picture = b""

    def take(self, marker: int, body: bytes) -> None:
        """Note what segment `marker` with `body` (without its length) says."""
        if marker in _FRAME_OTHER:
            raise PhotoRefusedError(
                f"JPEG coding {marker:02X}h (lossless or arithmetic) is not read.",
                remedy="Save it as an ordinary JPEG or as PNG.",
            )
        if marker in _FRAME_READ:
            self._take_frame(body)
        elif marker == _SOS:
            self.scans += 1
        elif marker == _APP1 and body.startswith(b"Exif\0\0"):
            self.exif = self.exif or body
        elif marker == _APP2 and body.startswith(b"MPF\0"):
            self.multi_picture = self.multi_picture or body[4:]

    def _take_frame(self, body: bytes) -> None:
        if self.frame is not None or len(body) < 6:
            raise damaged("its frame header is broken or stands there twice")
        bits, height, width, components = struct.unpack(">BHHB", body[:6])
        self.frame = (bits, width, height, components)


def read_jpeg(data: bytes) -> Container:
    """Walk the segments of a JPEG file to its end-of-image marker.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    Container
        The facts of the first picture in the file.

    Raises
    ------
    PhotoRefusedError
        If the file breaks off, has no picture, or uses a coding that is not read.
    """
    walk, at = _Walk(), 2
    codes = np.frombuffer(data, np.uint8)
    for _ in range(_MAX_SEGMENTS):
        marker, at = _next_marker(codes, at)
        if marker == _EOI:
            return _conclude(walk, at)
        if marker == _SOI:
            raise damaged("a second picture starts inside the first")
        if marker == _TEM:
            continue
        body = _segment(data, at)
        walk.take(marker, body)
        at += 2 + len(body)
    raise damaged(f"it has more than {_MAX_SEGMENTS} segments")


def _next_marker(codes: npt.NDArray[np.uint8], at: int) -> tuple[int, int]:
    """Code of the first marker from offset `at` on, and the offset behind it.

    In coded data FF is followed by a stuffed zero or a restart marker (clause B.1.1.5); anything else
    ends the scan. NumPy looks through megabytes of coded data ten times as fast as a regular expression
    does, and lets other threads run meanwhile.
    """
    look = _FIRST_LOOK
    while at < len(codes) - 1:
        block = codes[at : at + look + 1]
        places = np.flatnonzero(block[:-1] == 0xFF)
        after = block[places + 1]
        hits = places[(after != 0) & (after != 0xFF) & ((after & 0xF8) != 0xD0)]
        if hits.size:
            place = at + int(hits[0])
            return int(codes[place + 1]), place + 2
        at += len(block) - 1
        look = min(4 * look, _LONGEST_LOOK)
    raise damaged("it breaks off before its end-of-image marker")


def _segment(data: bytes, at: int) -> bytes:
    length = int.from_bytes(data[at : at + 2], "big")
    body = data[at + 2 : at + length]
    if length < 2 or len(body) != length - 2:
        raise damaged("it breaks off inside a segment")
    return body


def _conclude(walk: _Walk, end: int) -> Container:
    if walk.frame is None or walk.scans == 0:
        raise damaged("it holds no picture data")
    bits, width, height, components = walk.frame
    if components not in _COLOUR:
        raise PhotoRefusedError(
            f"a JPEG with {components} colour components is not read.", remedy="Save it as RGB."
        )
    if walk.scans > _MAX_SCANS:
        raise PhotoRefusedError(
            f"the JPEG has {walk.scans} scans; at most {_MAX_SCANS} are read.",
            remedy="Save it again as an ordinary JPEG.",
        )
    return Container(
        PhotoFormat.JPEG,
        (width, height),
        bits,
        _COLOUR[components],
        end,
        frames=_pictures_in(walk.multi_picture),
        exif=walk.exif,
    )


def _pictures_in(multi_picture: bytes) -> int:
    if not multi_picture:
        return 1
    index = Image.Exif()
    try:
        index.load(multi_picture)
        return max(1, int(index.get(_NUMBER_OF_PICTURES, 1)))
    except Exception:  # noqa: BLE001  # a hostile index may break the parser in any way; it only counts
        return 1
