"""Reading bags that may be hostile: a folder or a zip as paths with sizes, and streams within limits.

Nothing is unpacked. A path that breaks a rule is never opened; it becomes a problem with its name.
"""

from __future__ import annotations

import os
import stat
import struct
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Protocol
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from corrosion.archive import zip_form
from corrosion.archive.manifest import BAGIT_TXT, PIECE
from corrosion.archive.paths import collisions, fault_of
from corrosion.archive.problems import BagProblem
from corrosion.errors import ArchiveError

# What zipfile raises on a hostile zip, beside its own error.
_BROKEN = (
    BadZipFile, zlib.error, struct.error, EOFError, OSError, NotImplementedError, RuntimeError,
    ValueError, IndexError, OverflowError,
)  # fmt: skip
ENCRYPTED = 0x1
SHOWN = 20


@dataclass(frozen=True)
class BagLimits:
    """What a bag may cost.

    Attributes
    ----------
    max_files : int
        Files, payload and tag files together.
    max_file_bytes, max_total_bytes : int
        Of one file and of all, unpacked.
    max_tag_bytes : int
        Of one tag file; those are read into memory.
    max_ratio : float
        Unpacked over packed size of a file of more than a megabyte. Text packs about ten to one, a bomb
        a thousand to one (deflate's own bound is about 1030; from memory).
    """

    max_files: int = 50_000
    max_file_bytes: int = 64 * 1024**3
    max_total_bytes: int = 4 * 1024**4
    max_tag_bytes: int = 64 * 1024**2
    max_ratio: float = 200.0


DEFAULT_LIMITS = BagLimits()


class BagSource(Protocol):
    """A bag's files. `sizes` has those that may be read, `problems` what was refused."""

    name: str
    sizes: dict[str, int]
    problems: list[BagProblem]
    notes: list[str]

    def pieces(self, path: str) -> Iterator[bytes]:
        """Yield a file's bytes; `ArchiveError` if it cannot be read or is not as large as stated."""
        ...

    def strange_parts(self) -> Iterator[BagProblem]:
        """Name what this program would not have written so."""
        ...


@contextmanager
def open_source(path: Path, limits: BagLimits = DEFAULT_LIMITS) -> Iterator[BagSource]:
    """Open a folder or a zip as a bag.

    Raises
    ------
    ArchiveError
        If there is nothing at `path`, or a file that is no zip or a zip too large to list.
    """
    if path.is_dir():
        yield FolderSource(path, limits)
        return
    if not path.is_file():
        raise ArchiveError("there is no such file or folder.", place=str(path), remedy="Name a bag.")
    with ExitStack() as stack:
        try:
            file = stack.enter_context(path.open("rb"))
            _check_directory(file, path, limits)
            source = ZipSource(path, stack.enter_context(ZipFile(file)), file, limits)
        except _BROKEN as error:
            raise _no_zip(path, error) from error
        yield source


def _check_directory(file: IO[bytes], path: Path, limits: BagLimits) -> None:
    """Refuse a zip whose directory alone would fill the memory."""
    stated = zip_form.directory_size(file)
    if stated is None:
        raise ArchiveError(
            "is neither a folder nor a zip.",
            place=str(path),
            remedy="A bag is one of the two; a zip may have been cut short on its way.",
        )
    # A line of the directory takes some 50 bytes and a name: 600 is our rule, for long names.
    if stated[0] > 2 * limits.max_files or stated[1] > 65_536 + 600 * limits.max_files:
        raise ArchiveError(
            f"the zip lists {stated[0]} files in {stated[1]} bytes; at most {limits.max_files} files.",
            place=str(path),
            remedy="This is no bag of a survey; do not open it.",
        )


def _no_zip(path: Path, error: Exception) -> ArchiveError:
    return ArchiveError(
        f"the zip cannot be read ({error}).", place=str(path), remedy="Fetch it again from its sender."
    )


def read_pieces(file: IO[bytes], path: str, size: int) -> Iterator[bytes]:
    """Yield the bytes of an open file and hold it to its stated size.

    Raises
    ------
    ArchiveError
        If it has more or fewer bytes.
    """
    done = 0
    while data := file.read(PIECE):
        done += len(data)
        if done > size:
            break
        yield data
    if done != size:
        raise ArchiveError(f"has not the {size} bytes it states.", place=path)


def _common_problems(sizes: dict[str, int], limits: BagLimits) -> list[BagProblem]:
    """Drop what is too large from `sizes`, and name it and every path that meets another."""
    found = []
    if len(sizes) > limits.max_files:
        words = f"the bag has {len(sizes)} files, more than {limits.max_files}"
        sizes.clear()
        return [BagProblem(".", words, "refused")]
    for path in [path for path, size in sizes.items() if size > limits.max_file_bytes]:
        words = f"has {sizes.pop(path)} bytes, more than {limits.max_file_bytes}"
        found.append(BagProblem(path, words, "refused"))
    if sum(sizes.values()) > limits.max_total_bytes:
        words = f"the bag has {sum(sizes.values())} bytes unpacked, more than {limits.max_total_bytes}"
        sizes.clear()
        return [BagProblem(".", words, "refused")]
    for path, other in collisions(sizes):
        words = f"meets {other!r} on systems that are blind to case or to Unicode composition"
        found.append(BagProblem(path, words, "refused"))
    return found


def _refused(path: str, words: str) -> BagProblem:
    return BagProblem(ascii(path)[1:-1] if not path.isprintable() else path, words, "refused")


class FolderSource:
    """A bag as a folder. Links and devices are named and never followed."""

    def __init__(self, root: Path, limits: BagLimits) -> None:
        self._root = root
        self.name = root.name
        self.sizes: dict[str, int] = {}
        self.problems: list[BagProblem] = []
        self.notes: list[str] = []
        self._walk("", limits)
        self.problems += _common_problems(self.sizes, limits)

    def _walk(self, start: str, limits: BagLimits) -> None:
        waiting = [start]
        while waiting and len(self.sizes) <= limits.max_files:
            folder = waiting.pop()
            try:
                with os.scandir(self._root / folder) as listed:
                    entries = sorted(listed, key=lambda one: one.name)
            except OSError as error:
                words = f"the folder cannot be read ({error.strerror})"
                self.problems.append(_refused(folder or ".", words))
                continue
            for one in entries:
                inside = self._enter(f"{folder}/{one.name}" if folder else one.name, one)
                waiting += [inside] if inside else []

    def _enter(self, path: str, one: os.DirEntry[str]) -> str:
        """Take one entry; return its path if it is a folder to look into."""
        fault = fault_of(path)
        kind = one.stat(follow_symlinks=False).st_mode
        if fault:
            self.problems.append(_refused(path, f"the path {fault}"))
        elif stat.S_ISDIR(kind):
            return path
        elif stat.S_ISREG(kind):
            self.sizes[path] = one.stat(follow_symlinks=False).st_size
        else:
            words = "is a link" if stat.S_ISLNK(kind) else "is a device, no file"
            self.problems.append(_refused(path, f"{words}; a bag holds its files itself"))
        return ""

    def pieces(self, path: str) -> Iterator[bytes]:
        """Yield a file's bytes; `ArchiveError` if it cannot be read or has changed its size."""
        try:
            # The file may have become a link since it was listed.
            flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
            with open(os.open(self._root / path, flags), "rb") as file:  # noqa: PTH123 - by descriptor
                yield from read_pieces(file, path, self.sizes[path])
        except OSError as error:
            raise ArchiveError(f"cannot be read ({error.strerror}).", place=path) from error

    def strange_parts(self) -> Iterator[BagProblem]:
        """Name nothing: a folder has no bytes beside its files."""
        return iter(())


class ZipSource:
    """A bag as a zip, with one folder at its top that is the bag."""

    def __init__(self, path: Path, opened: ZipFile, file: IO[bytes], limits: BagLimits) -> None:
        self._zip = opened
        self._file = file
        self._limits = limits
        self._infos: dict[str, ZipInfo] = {}
        self.name = path.name
        self.sizes: dict[str, int] = {}
        self.problems: list[BagProblem] = []
        self.notes: list[str] = []
        listed = opened.infolist()
        self._root = _root_of(listed)
        if not self._root:
            self.notes.append("The zip has no folder at its top that holds the bag (RFC 8493, 4).")
        self._take(listed)
        if sum(info.compress_size for info in self._infos.values()) > path.stat().st_size:
            self.problems.append(_refused(".", "files of the zip lie over each other"))
            self.sizes.clear()
        self.problems += _common_problems(self.sizes, limits)

    def _take(self, listed: list[ZipInfo]) -> None:
        repeated = {name for name, count in Counter(i.orig_filename for i in listed).items() if count > 1}
        for info in listed:
            # zipfile cuts a name at a NUL; the rules are for the name as it stands in the zip.
            name = info.orig_filename
            fault = self._fault_of(info, name, repeated)
            if fault:
                self.problems.append(_refused(name, fault))
            elif not info.is_dir():
                inside = name.removeprefix(self._root)
                self.sizes[inside] = info.file_size
                self._infos[inside] = info

    def _fault_of(self, info: ZipInfo, name: str, repeated: set[str]) -> str:
        fault = fault_of(name.removesuffix("/"))
        kind = stat.S_IFMT(info.external_attr >> 16)
        ratio = info.file_size / max(info.compress_size, 1)
        checks = (
            (bool(fault), f"the path {fault}"),
            (not name.startswith(self._root), "lies outside the bag"),
            (name in repeated, "occurs more than once in the zip"),
            (kind not in {0, stat.S_IFREG, stat.S_IFDIR}, "is a link or a device, no file"),
            (bool(info.flag_bits & ENCRYPTED), "is encrypted"),
            (
                info.compress_type not in {ZIP_STORED, ZIP_DEFLATED},
                "is packed in a way that is not read here",
            ),
            (
                info.file_size > PIECE and ratio > self._limits.max_ratio,
                f"would unpack to {ratio:.0f} times its size, more than {self._limits.max_ratio:g}",
            ),
        )
        return next((words for wrong, words in checks if wrong), "")

    def pieces(self, path: str) -> Iterator[bytes]:
        """Yield a file's bytes; `ArchiveError` if it is damaged or not as large as the zip states."""
        try:
            with self._zip.open(self._infos[path]) as file:
                yield from read_pieces(file, path, self.sizes[path])
        except _BROKEN as error:
            raise ArchiveError(f"is damaged in the zip ({error}).", place=path) from error

    def strange_parts(self) -> Iterator[BagProblem]:
        """Name what this program would not have written so, wherever in the zip it is."""
        found = zip_form.strange_parts(self._file, self._zip.infolist())
        if found is None:
            self.notes.append(
                "The zip was packed anew by another program; the checksums hold all the same."
            )
        for name, words in found or []:
            yield BagProblem(name.removeprefix(self._root) or self.name, words, "altered")


def _root_of(infos: list[ZipInfo]) -> str:
    """Return the folder of the zip that is the bag, with its ``/``; empty if the zip itself is it."""
    names = [info.orig_filename for info in infos]
    if BAGIT_TXT in names:
        return ""
    roots = [name.removesuffix(BAGIT_TXT) for name in names if name.endswith(f"/{BAGIT_TXT}")]
    top = [root for root in roots if root.count("/") == 1]
    return top[0] if top else (names[0].partition("/")[0] + "/" if names and "/" in names[0] else "")
