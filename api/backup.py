"""Backups of a service's store: the folder that holds them, and how one is made while the service runs.

::

    FOLDER/
      sha256/ab/ab...            pictures and record files by their SHA-256, shared by all backups
      2031-04-17T12-30-00Z/      one backup, there as a whole or not at all
        database.sqlite3         (or database.pgdump) one moment of the database
        manifest.json            what belongs to it, with the SHA-256 of each
        manifest.sha256          the SHA-256 of the manifest itself

The database is copied first: whatever it refers to is in the picture store by then and is never deleted,
so that a picture uploaded meanwhile is one too many at most, never one too few.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from api.backup_database import Snapshot, copy_database
from api.files import ABANDONED_SECONDS, PictureFiles
from api.settings import Settings
from corrosion import __version__
from corrosion.errors import StorageError
from corrosion.intake import Progress

MANIFEST, SEAL, POOL = "manifest.json", "manifest.sha256", "sha256"
FILES = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}
UNFINISHED = ".unfinished-"
PIECE = 1024 * 1024

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Held(_Part):
    """A file of a backup."""

    sha256: Sha256
    size_bytes: Annotated[int, Field(ge=0)]


class Lacking(_Part):
    """A picture the store itself had lost or damaged when the backup was made."""

    sha256: Sha256
    problem: str


class HistoryHead(_Part):
    """Where the history ended."""

    seq: int
    hash: Sha256


class Manifest(_Part):
    """What a backup holds."""

    format: Literal["corrosion-backup"] = "corrosion-backup"
    version: Literal[1] = 1
    made: datetime
    program: str
    kind: Literal["sqlite", "postgresql"]
    schema_revision: Annotated[str, Field(pattern=r"^\w{1,32}$")]
    history: HistoryHead | None
    database: Held
    pictures: tuple[Held, ...]
    lacking: tuple[Lacking, ...] = ()


@dataclass(frozen=True)
class Backup:
    """One backup in its folder."""

    folder: Path
    name: str
    manifest: Manifest

    @property
    def database(self) -> Path:
        """The copy of the database."""
        return self.folder / self.name / FILES[self.manifest.kind]

    def picture(self, sha256: str) -> Path:
        """Where a picture of it is kept."""
        return in_pool(self.folder, sha256)


@dataclass
class Copied:
    """How the pictures came in: copied now, there already, or there but damaged and copied anew."""

    copied: int = 0
    there: int = 0
    mended: int = 0
    bytes_copied: int = 0


def in_pool(folder: Path, sha256: str) -> Path:
    """Return where a folder of backups keeps a picture."""
    return folder / POOL / sha256[:2] / sha256


def make_backup(
    settings: Settings, folder: Path, progress: Progress | None = None
) -> tuple[Backup, Copied]:
    """Back up the store that the settings name; its service may run and write meanwhile.

    Parameters
    ----------
    folder : Path
        Takes this backup beside earlier ones; made if missing. What is in it is never changed, except a
        picture that no longer has its hash, which is copied anew.
    progress : callable, optional
        Called with the step, what is done of it and how much there is.

    Raises
    ------
    StorageError
        If there is no store, or something cannot be read or written. Earlier backups stay as they are.
    """
    tell = progress or (lambda _step, _done, _total: None)
    _check_source(settings, folder)
    with _told(folder):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        _remove_abandoned(folder)
        with _unfinished(folder) as unfinished:
            made = datetime.now(UTC)
            copy = unfinished / "database"
            snapshot = copy_database(settings.store_url, copy, tell)
            pictures, lacking, copied = _copy_pictures(settings, snapshot, folder, tell)
            copy.rename(unfinished / FILES[snapshot.kind])
            manifest = _manifest(snapshot, unfinished, made, pictures, lacking)
            name = _finish(folder, unfinished, manifest)
    return Backup(folder, name, manifest), copied


def _check_source(settings: Settings, folder: Path) -> None:
    """Refuse before any work: opening a store that is not there would make an empty one."""
    data = settings.data_dir
    missing = data / "pictures" if settings.picture_url is None else None
    if settings.database_url is None:
        missing = settings.sqlite_path
    if missing is not None and not missing.exists():
        raise StorageError(
            "there is no store here.",
            place=str(missing),
            remedy="Give the folder of the service's data with --data or CORROSION_DATA_DIR.",
        )
    if folder.resolve().is_relative_to(data.resolve()):
        raise StorageError(
            "lies inside the store that is to be backed up, and would be lost with it.",
            place=str(folder),
            remedy="Name a folder elsewhere, best on another disk.",
        )


def _remove_abandoned(folder: Path) -> None:
    oldest = time.time() - ABANDONED_SECONDS
    left = [*folder.glob(f"{UNFINISHED}*"), *folder.glob(f"{POOL}/*/{UNFINISHED}*")]
    for path in left:
        newest = max(one.stat().st_mtime for one in (path, *path.glob("*")))
        if newest < oldest:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


@contextmanager
def _unfinished(folder: Path) -> Iterator[Path]:
    path = Path(tempfile.mkdtemp(dir=folder, prefix=UNFINISHED))
    try:
        yield path
    finally:
        shutil.rmtree(path, ignore_errors=True)


def open_pictures(settings: Settings) -> PictureFiles:
    """Open the picture store that the settings name."""
    data = settings.data_dir
    return PictureFiles(
        settings.picture_url,
        folder=data / "pictures",
        incoming=data / "incoming",
        endpoint=settings.picture_endpoint,
    )


def _copy_pictures(
    settings: Settings, snapshot: Snapshot, folder: Path, tell: Progress
) -> tuple[list[Held], list[Lacking], Copied]:
    files = open_pictures(settings)
    copied = Copied()
    lacking: list[Lacking] = []
    held: list[Held] = []
    for done, (sha256, size) in enumerate(snapshot.files.items(), start=1):
        problem = _copy_picture(files, Held(sha256=sha256, size_bytes=size), folder, copied)
        if problem:
            lacking.append(Lacking(sha256=sha256, problem=problem))
        else:
            held.append(Held(sha256=sha256, size_bytes=size))
        tell("pictures", done, len(snapshot.files))
    return held, lacking, copied


def _copy_picture(files: PictureFiles, wanted: Held, folder: Path, copied: Copied) -> str:
    """Put one picture into the folder unless it is there; return what is wrong with it in the store."""
    target = in_pool(folder, wanted.sha256)
    there = target.exists()
    if there and damage(target, wanted) == "":
        copied.there += 1
        return ""
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=UNFINISHED)
    unfinished = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            for piece in files.stream(wanted.sha256, 0, files.size_of(wanted.sha256)):
                stream.write(piece)
            stream.flush()
            os.fsync(stream.fileno())
        problem = damage(unfinished, wanted)
        if problem:
            return f"in the store {problem}"
        unfinished.replace(target)
    except StorageError as error:
        return error.problem
    finally:
        unfinished.unlink(missing_ok=True)
    sync_folder(target.parent)
    copied.bytes_copied += wanted.size_bytes
    copied.copied, copied.mended = copied.copied + (not there), copied.mended + there
    return ""


def damage(path: Path, wanted: Held) -> str:
    """Say what is wrong with a file, or nothing if it is the one wanted."""
    if not path.is_file():
        return "it is missing"
    size = path.stat().st_size
    if size != wanted.size_bytes:
        return f"it has {size} bytes, not {wanted.size_bytes}"
    if _hash_of(path) != wanted.sha256:
        return "its bytes were changed: they no longer have its hash"
    return ""


def _hash_of(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _manifest(
    snapshot: Snapshot, folder: Path, made: datetime, held: list[Held], lacking: list[Lacking]
) -> Manifest:
    path = folder / FILES[snapshot.kind]
    head = snapshot.head
    return Manifest(
        made=made,
        program=__version__,
        kind=snapshot.kind,
        schema_revision=snapshot.revision,
        history=None if head is None else HistoryHead(seq=head[0], hash=head[1]),
        database=Held(sha256=_hash_of(path), size_bytes=path.stat().st_size),
        pictures=tuple(held),
        lacking=tuple(lacking),
    )


def _finish(folder: Path, unfinished: Path, manifest: Manifest) -> str:
    """Write the manifest, flush everything, and only then give the backup its name."""
    text = manifest.model_dump_json(indent=1).encode()
    (unfinished / MANIFEST).write_bytes(text)
    # The form that sha256sum reads, so that a backup can be checked without this program.
    (unfinished / SEAL).write_text(f"{hashlib.sha256(text).hexdigest()}  {MANIFEST}\n", newline="\n")
    for path in unfinished.iterdir():
        with path.open("rb+") as stream:
            os.fsync(stream.fileno())
    sync_folder(unfinished)
    base = manifest.made.strftime("%Y-%m-%dT%H-%M-%SZ")
    name, number = base, 1
    while (folder / name).exists():
        number += 1
        name = f"{base}-{number}"
    unfinished.rename(folder / name)
    sync_folder(folder)
    return name


def sync_folder(folder: Path) -> None:
    """Flush the entries of a folder down to the disk."""
    if os.name == "nt":
        return  # Windows cannot open a folder; its journal keeps the entries.
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def backup_names(folder: Path) -> list[str]:
    """List the whole backups of a folder, oldest first.

    Raises
    ------
    StorageError
        If there is none.
    """
    with _told(folder):
        found = [path.parent.name for path in folder.glob(f"*/{SEAL}")]
    names = sorted((name for name in found if not name.startswith(UNFINISHED)), key=_order)
    if not names:
        raise StorageError(
            "there is no whole backup here.",
            place=str(folder),
            remedy="Name the folder that 'corrosion backup' wrote to.",
        )
    return names


def _order(name: str) -> tuple[str, int]:
    numbered = re.fullmatch(r"(.*Z)-(\d+)", name)
    return (numbered[1], int(numbered[2])) if numbered else (name, 1)


def open_backup(folder: Path, name: str = "") -> Backup:
    """Read one backup's manifest, the newest one's without a name.

    Raises
    ------
    StorageError
        If there is no such backup, or its manifest was changed.
    """
    names = backup_names(folder)
    chosen = name or names[-1]
    if chosen not in names:
        raise StorageError(
            f"there is no backup {chosen!r}.", place=str(folder), remedy=f"There are: {', '.join(names)}."
        )
    path = folder / chosen / MANIFEST
    with _told(path):
        text, seal = path.read_bytes(), (folder / chosen / SEAL).read_bytes()
    if seal.split() != [hashlib.sha256(text).hexdigest().encode(), MANIFEST.encode()]:
        raise StorageError(
            f"was changed: its bytes do not have the hash in {SEAL}.",
            place=str(path),
            remedy="Restore another backup; 'corrosion restore --list' names them.",
        )
    try:
        return Backup(folder, chosen, Manifest.model_validate_json(text))
    except ValidationError as error:
        raise StorageError(
            f"is not a manifest this program can read ({error.errors(include_url=False)[0]['msg']}).",
            place=str(path),
            remedy="Use the release of the program that wrote it, or a newer one.",
        ) from error


def faults_of(backup: Backup, progress: Progress | None = None) -> list[str]:
    """Compare every file of a backup with its checksum; return what is wrong, each with its place."""
    tell = progress or (lambda _step, _done, _total: None)
    wanted = [(backup.database, backup.manifest.database)]
    wanted += [(backup.picture(one.sha256), one) for one in backup.manifest.pictures]
    faults = []
    for done, (path, held) in enumerate(wanted, start=1):
        with _told(path):
            problem = damage(path, held)
        if problem:
            faults.append(f"{path.relative_to(backup.folder)}: {problem}")
        tell("checksums", done, len(wanted))
    return faults


@contextmanager
def _told(place: Path) -> Iterator[None]:
    """Turn the system's refusals into a `StorageError`."""
    try:
        yield
    except OSError as error:
        raise StorageError(
            f"cannot be read or written ({error.strerror or error}).",
            place=str(error.filename or place),
            remedy="Check the folder, its rights and the space on the disk.",
        ) from error
