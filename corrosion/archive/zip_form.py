"""The zip of a bag: the same bytes for the same files, and a look at every byte that is not a file's.

Files are stored, not packed: photos do not pack, and packed bytes would depend on the packer's version.
"""

from __future__ import annotations

import stat
import struct
from typing import IO, Final
from zipfile import ZIP_STORED, ZipInfo

EPOCH: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest time a zip can state; the files' times are nobody's business and would differ."""

END: Final = struct.Struct("<4s4H2LH")
END64: Final = struct.Struct("<4sQ2H2L4Q")
LOCATOR64: Final = struct.Struct("<4sLQL")
LONGEST_COMMENT: Final = 0xFFFF
SMALL16, SMALL32 = 0xFFFF, 0xFFFFFFFF
NARROW: Final = 0x7FFFFFFF  # zipfile uses its wide forms above this size


def entry(name: str, size: int) -> ZipInfo:
    """Return the head of a file in a bag's zip: everything about it but its checksum."""
    info = ZipInfo(name, date_time=EPOCH)
    info.compress_type = ZIP_STORED
    info.create_system = 3
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    info.file_size = size
    return info


def directory_size(file: IO[bytes]) -> tuple[int, int] | None:
    """Read how many entries and bytes a zip's directory claims to have, without reading it.

    Returns
    -------
    (entries, bytes) or None
        None if the file has no end record: it is no zip.
    """
    length = file.seek(0, 2)
    start = max(0, length - END.size - LONGEST_COMMENT - LOCATOR64.size)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"PK\5\6")
    if at < 0 or at + END.size > len(tail):
        return None
    _, _, _, _, entries, size, _, _ = END.unpack_from(tail, at)
    if entries == SMALL16 or size == SMALL32:
        return _directory64(file, tail, at) or (entries, size)
    return entries, size


def _directory64(file: IO[bytes], tail: bytes, at: int) -> tuple[int, int] | None:
    if at < LOCATOR64.size:
        return None
    magic, _, offset, _ = LOCATOR64.unpack_from(tail, at - LOCATOR64.size)
    if magic != b"PK\6\7":
        return None
    file.seek(offset)
    record = file.read(END64.size)
    if len(record) < END64.size or record[:4] != b"PK\6\6":
        return None
    fields = END64.unpack(record)
    return int(fields[7]), int(fields[8])


def strange_parts(file: IO[bytes], infos: list[ZipInfo]) -> list[tuple[str, str]] | None:
    """Name every part of one of this program's zips that it would not have written so.

    Every byte outside the files is looked at: heads, directory, end, and that nothing lies between.

    Parameters
    ----------
    file : binary file
        The zip.
    infos : list of ZipInfo
        Its entries, as its directory has them.

    Returns
    -------
    list of (entry, problem), or None
        The entry is empty for the zip's end. None if most heads are not this program's: the bag was packed
        anew by another one, which harms nothing, and its bytes say nothing.
    """
    place = 0
    lines, heads, found = [], [], []
    for info in infos:
        head, line = _as_written(info, place)
        file.seek(place)
        if file.read(len(head)) != head:
            heads.append((info.filename, "its head in the zip was altered"))
        lines.append((info.filename, line))
        place += len(head) + info.file_size
    if 2 * len(heads) > len(infos):
        return None
    directory = place
    file.seek(directory)
    for name, line in lines:
        if file.read(len(line)) != line:
            found.append((name, "its line in the zip's directory was altered"))
        place += len(line)
    file.seek(place)
    if file.read(END64.size + LOCATOR64.size + END.size + 1) != _end(
        len(infos), place - directory, directory
    ):
        found.append(("", "the end of the zip was altered, or something was added to it"))
    return heads + found


def _as_written(info: ZipInfo, place: int) -> tuple[bytes, bytes]:
    """Return an entry's head and its line in the directory as zipfile writes them for this program."""
    made = entry(info.filename, info.file_size)
    made.CRC, made.compress_size = info.CRC, info.file_size
    # zipfile decides by this whether a head needs its wide form, before it knows the stored size.
    head = made.FileHeader(zip64=info.file_size * 1.05 > NARROW)
    # The head's own fields, less the sizes, stand in the directory's line too.
    common = head[6:18]
    name = info.filename.encode()
    wide = [
        *([info.file_size] * 2 if info.file_size > NARROW else []),
        *([place] if place > NARROW else []),
    ]
    extra = struct.pack(f"<HH{len(wide)}Q", 1, 8 * len(wide), *wide) if wide else b""
    version = max(made.create_version, 45 if wide else 20)
    needed = max(made.extract_version, 45 if wide else 20)
    size = SMALL32 if info.file_size > NARROW else info.file_size
    at = SMALL32 if place > NARROW else place
    line = struct.pack("<4s2BH", b"PK\1\2", version, made.create_system, needed) + common
    line += struct.pack("<2L3H", size, size, len(name), len(extra), 0)
    return head, line + struct.pack("<2H2L", 0, 0, made.external_attr, at) + name + extra


def _end(entries: int, size: int, offset: int) -> bytes:
    """Write the end of a zip as zipfile does: with the wide records only where they are needed."""
    if entries <= SMALL16 and size <= NARROW and offset <= NARROW:
        return END.pack(b"PK\5\6", 0, 0, entries, entries, size, offset, 0)
    record = END64.pack(b"PK\6\6", 44, 45, 45, 0, 0, entries, entries, size, offset)
    locator = LOCATOR64.pack(b"PK\6\7", 0, offset + size, 1)
    count = min(entries, SMALL16)
    end = END.pack(b"PK\5\6", 0, 0, count, count, min(size, SMALL32), min(offset, SMALL32), 0)
    return record + locator + end
