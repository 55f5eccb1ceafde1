"""Writing bags, whole or not at all: a folder or a zip under a temporary name, flushed, then renamed."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from pathlib import Path
from typing import IO, Protocol, Self
from zipfile import ZipFile

from corrosion.archive import zip_form
from corrosion.archive.manifest import (
    AGENT,
    ALGORITHMS,
    BAGIT_TXT,
    DECLARATION,
    INFO_TXT,
    PAYLOAD,
    PIECE,
    Digests,
    manifest_name,
    write_info,
    write_manifest,
)
from corrosion.archive.paths import collisions, fault_of
from corrosion.archive.sign import PUBLIC_KEY, Signer, signature_path
from corrosion.errors import ArchiveError

Info = Sequence[tuple[str, str]]
Progress = Callable[[str, int, int], None]


class BagForm(StrEnum):
    """How a bag is kept."""

    FOLDER = "folder"
    ZIP = "zip"


@dataclass(frozen=True)
class PayloadFile:
    """A file for a bag's payload.

    Attributes
    ----------
    path : str
        Below ``data/``.
    size : int
        Bytes.
    pieces : callable
        Yields the bytes anew at each call.
    sha256 : str or None
        What its bytes must hash to, where that is known.
    """

    path: str
    size: int
    pieces: Callable[[], Iterator[bytes]]
    sha256: str | None = None


@dataclass(frozen=True)
class WrittenBag:
    """A bag as it was written.

    Attributes
    ----------
    files, size_bytes : int
        Of the payload.
    digests : dict of path to str
        SHA-256 of each payload file; paths begin with ``data/``.
    fingerprint : str
        Of the key that signed it; empty without one.
    """

    path: Path
    files: int
    size_bytes: int
    digests: dict[str, str]
    fingerprint: str = ""


def bytes_file(path: str, data: bytes) -> PayloadFile:
    """Make a payload file of bytes at hand."""
    return PayloadFile(path, len(data), lambda: iter((data,)))


def disk_file(path: str, source: Path, *, sha256: str | None = None) -> PayloadFile:
    """Make a payload file of a file on disk, read when it is written."""
    return PayloadFile(path, source.stat().st_size, lambda: _read(source), sha256)


def _read(source: Path) -> Iterator[bytes]:
    try:
        with source.open("rb") as file:
            while data := file.read(PIECE):
                yield data
    except OSError as error:
        raise ArchiveError(
            f"cannot be read ({error.strerror}).", place=str(source), remedy="Check the disk it is on."
        ) from error


def write_bag(
    target: Path,
    payload: Iterable[PayloadFile],
    info: Info,
    *,
    form: BagForm,
    name: str = "",
    signer: Signer | None = None,
    progress: Progress | None = None,
) -> WrittenBag:
    """Write a bag to `target`, whole or not at all.

    Parameters
    ----------
    target : Path
        Must not exist: an archive is never overwritten.
    payload : iterable of PayloadFile
        Their order does not matter.
    info : sequence of (label, value)
        For bag-info.txt; Payload-Oxum is added.
    name : str
        Folder in the zip that is the bag; `target`'s stem if empty.
    signer : Signer, optional
        Signs the tag manifests.
    progress : callable, optional
        Called with ``"archive"``, files done and their number.

    Raises
    ------
    ArchiveError
        If `target` exists or cannot be written, a path breaks a rule, or a file's bytes are not those
        that were expected. Nothing is left at `target`.
    """
    files = sorted(payload, key=lambda file: file.path)
    _check(files)
    with _unfinished(target) as path, _sink(path, form, name or target.stem) as sink:
        done = _fill(sink, files, info, signer, progress)
    return WrittenBag(
        target,
        len(files),
        sum(file.size for file in files),
        {path: digests["sha256"] for path, digests in done.items()},
        signer.fingerprint if signer else "",
    )


def _check(files: list[PayloadFile]) -> None:
    for file in files:
        fault = fault_of(PAYLOAD + file.path)
        if fault:
            raise ArchiveError(f"the path {fault}.", place=repr(file.path), remedy="Give it another name.")
    paths = [file.path for file in files]
    for path, other in [
        *collisions(paths),
        *((a, b) for a, b in pairwise(paths) if a == b),
    ]:
        raise ArchiveError(
            f"meets {other!r} on systems that are blind to case.", place=repr(path), remedy="Rename one."
        )


class Sink(Protocol):
    """Where a bag's files go."""

    def add(self, path: str, size: int, pieces: Iterable[bytes]) -> dict[str, str]:
        """Write a file, hold it to its size, and return its digests by algorithm."""
        ...


def _fill(
    sink: Sink, files: list[PayloadFile], info: Info, signer: Signer | None, progress: Progress | None
) -> dict[str, dict[str, str]]:
    """Write everything of a bag in the one order; return the payload's digests by path."""

    def tag(path: str, data: bytes) -> None:
        tags[path] = sink.add(path, len(data), (data,))

    tags: dict[str, dict[str, str]] = {}
    tag(BAGIT_TXT, DECLARATION)
    payload = {}
    for number, file in enumerate(files, start=1):
        path = PAYLOAD + file.path
        payload[path] = sink.add(path, file.size, file.pieces())
        if file.sha256 is not None and payload[path]["sha256"] != file.sha256:
            raise ArchiveError(
                "its bytes are not those that were marked: another SHA-256 than the survey's.",
                place=file.path,
                remedy="Put the original back; nothing was archived.",
            )
        if progress:
            progress("archive", number, len(files))
    oxum = f"{sum(file.size for file in files)}.{len(files)}"
    tag(INFO_TXT, write_info([*info, ("Payload-Oxum", oxum)]))
    if signer:
        tag(PUBLIC_KEY, signer.public_pem)
    for algorithm in ALGORITHMS:
        digests = {path: one[algorithm] for path, one in payload.items()}
        tag(manifest_name(algorithm), write_manifest(digests))
    _seal(sink, dict(tags), signer)
    return payload


def _seal(sink: Sink, tags: dict[str, dict[str, str]], signer: Signer | None) -> None:
    """Write the tag manifests, which list neither each other nor their signatures, and sign them."""
    for algorithm in ALGORITHMS:
        name = manifest_name(algorithm, of_tags=True)
        data = write_manifest({path: one[algorithm] for path, one in tags.items()})
        sink.add(name, len(data), (data,))
        if signer:
            signature = signer.sign(data)
            sink.add(signature_path(name), len(signature), (signature,))


def _counted(path: str, size: int, pieces: Iterable[bytes], file: IO[bytes]) -> dict[str, str]:
    digests = Digests()
    for piece in pieces:
        digests.update(piece)
        file.write(piece)
    if digests.size != size:
        raise ArchiveError(
            f"has {digests.size} bytes where {size} were expected.",
            place=path,
            remedy="It changed while it was read; try again.",
        )
    return digests.hexdigests()


def _sink(path: Path, form: BagForm, name: str) -> FolderSink | ZipSink:
    return FolderSink(path) if form is BagForm.FOLDER else ZipSink(path, name)


class FolderSink:
    """Writes a bag's files into a folder."""

    def __init__(self, root: Path) -> None:
        self._root = root
        root.mkdir()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        """Flush the folders, whose entries name the files."""
        for folder, _, _ in os.walk(self._root):
            sync(Path(folder))

    def add(self, path: str, size: int, pieces: Iterable[bytes]) -> dict[str, str]:
        """Write a file and flush it."""
        target = self._root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as file:
            digests = _counted(path, size, pieces, file)
            file.flush()
            os.fsync(file.fileno())
        return digests


class ZipSink:
    """Writes a bag's files into a zip, below one folder."""

    def __init__(self, path: Path, name: str) -> None:
        self._file = path.open("xb")
        self._zip = ZipFile(self._file, "w")
        self._root = name

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        """Write the zip's directory and flush it all."""
        try:
            self._zip.close()
            self._file.flush()
            os.fsync(self._file.fileno())
        finally:
            self._file.close()

    def add(self, path: str, size: int, pieces: Iterable[bytes]) -> dict[str, str]:
        """Write a file into the zip."""
        with self._zip.open(zip_form.entry(f"{self._root}/{path}", size), "w") as file:
            return _counted(path, size, pieces, file)


@contextmanager
def _unfinished(target: Path) -> Iterator[Path]:
    """Give a path beside `target` that becomes it at the end; if anything goes wrong, it is removed."""
    _must_be_free(target)
    # Ends in .part as everything unfinished does: the service removes what a killed process left so.
    path = target.absolute().with_name(f".unfinished-{secrets.token_hex(8)}.part")
    try:
        yield path
        # Renaming replaces a file that came here meanwhile; the window is as small as can be made.
        _must_be_free(target)
        path.rename(target)
        sync(target.absolute().parent)
    except OSError as error:
        raise ArchiveError(
            f"cannot be written ({error.strerror or error}).",
            place=str(target),
            remedy="Check the folder, its rights and the space on the disk.",
        ) from error
    finally:
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _must_be_free(target: Path) -> None:
    if target.exists() or target.is_symlink():
        raise ArchiveError(
            "exists already; an archive is never overwritten.",
            place=str(target),
            remedy="Choose another name.",
        )
    if not target.absolute().parent.is_dir():
        raise ArchiveError("its folder does not exist.", place=str(target), remedy="Make it first.")


def sync(folder: Path) -> None:
    """Flush a folder's entries to the disk, where the system can."""
    if os.name == "nt":
        return  # Windows cannot open a folder; its journal keeps the entry.
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def software_agent(version: str) -> tuple[str, str]:
    """Field of bag-info.txt that says which program wrote a bag."""
    return ("Bag-Software-Agent", f"{AGENT} {version}")
