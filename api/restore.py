"""Restoring a backup: checked to the byte first, into an empty store only, and verified afterwards."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic.script import ScriptDirectory
from sqlalchemy import delete
from sqlalchemy.engine import make_url

from api.backup import PIECE, Backup, Held, faults_of, open_pictures, sync_folder
from api.backup_database import kind_of_url, restore_postgresql, tables_in
from api.database import MIGRATIONS, Database
from api.files import PictureFiles
from api.history.faults import StoreReport
from api.history.verify import verify_store
from api.people.accounts import SESSIONS
from api.settings import Settings
from corrosion.errors import StorageError
from corrosion.intake import Progress

NAMED = 5
"""How many things are named of many."""


def restore_backup(backup: Backup, settings: Settings, progress: Progress | None = None) -> StoreReport:
    """Put a backup into the empty store that the settings name, and verify it there.

    Sessions are not restored: one that was ended since the backup must not open again.

    Parameters
    ----------
    progress : callable, optional
        Called with the step, what is done of it and how much there is.

    Returns
    -------
    StoreReport
        What `corrosion verify` says of the restored store, which is in place whatever it says: a backup
        of a store that was tampered with is restored as it was, and the report names the faults.

    Raises
    ------
    StorageError
        If the backup is damaged, is not for this database or program, or the store is not empty; nothing
        is put in place then.
    """
    tell = progress or (lambda _step, _done, _total: None)
    _check_fit(backup, settings)
    _check_empty(settings)
    check_backup(backup, tell)
    with _all_or_nothing(settings):
        _restore_pictures(backup, settings, tell)
        _restore_database(backup, settings)
        return _verify(backup, settings, tell)


def check_backup(backup: Backup, progress: Progress | None = None) -> None:
    """Compare every file of a backup with its checksum.

    Raises
    ------
    StorageError
        If one is not what it was; it names them.
    """
    faults = faults_of(backup, progress)
    if faults:
        more = f"; and {len(faults) - NAMED} more" if len(faults) > NAMED else ""
        raise StorageError(
            f"the backup is damaged; nothing was restored. {'; '.join(faults[:NAMED])}{more}.",
            place=str(backup.folder / backup.name),
            remedy="Restore another one; 'corrosion restore --list' names them. While the service still "
            "has its pictures, a new backup also mends the pictures of the older ones.",
        )


def _check_fit(backup: Backup, settings: Settings) -> None:
    kind, wanted = kind_of_url(settings.store_url), backup.manifest.kind
    if kind != wanted:
        raise StorageError(
            f"the backup is one of {wanted}, the store to restore into is {kind}.",
            place="CORROSION_DATABASE_URL",
            remedy="Set the variable to an empty PostgreSQL database."
            if wanted == "postgresql"
            else "Unset the variable and give a new folder with --data.",
        )
    known = {script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}
    if backup.manifest.schema_revision not in known:
        raise StorageError(
            f"the backup has version {backup.manifest.schema_revision}, which this program does not know.",
            place=str(backup.folder / backup.name),
            remedy=f"Use release {backup.manifest.program} of the program, or a newer one.",
        )


def _check_empty(settings: Settings) -> None:
    """Refuse a store that holds anything, and name what."""
    data = settings.data_dir
    if data.exists() and not data.is_dir():
        raise StorageError("is not a folder.", place=str(data), remedy="Name a new folder with --data.")
    found = sorted(path.name for path in data.iterdir()) if data.is_dir() else []
    place = str(data)
    if not found and settings.database_url is not None:
        if kind_of_url(settings.database_url) == "postgresql":
            found, place = tables_in(settings.database_url), "the database"
        else:
            file = _sqlite_file(settings)
            found, place = [file.name] if file.exists() else [], str(file.parent)
    if found:
        more = f" and {len(found) - NAMED} more" if len(found) > NAMED else ""
        raise StorageError(
            f"is not empty: it holds {', '.join(found[:NAMED])}{more}. Nothing was restored.",
            place=place,
            remedy="Name a new folder with --data and an empty database. A backup is never mixed with "
            "what is there; remove it yourself if it is only what a broken-off restore left.",
        )


def _sqlite_file(settings: Settings) -> Path:
    return Path(make_url(settings.store_url).database or "")


@contextmanager
def _all_or_nothing(settings: Settings) -> Iterator[None]:
    """Empty the store's folder again if the restore breaks off: it was empty before."""
    data = settings.data_dir
    there = data.is_dir()
    try:
        data.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException as error:
        _empty(settings, keep_folder=there)
        if isinstance(error, OSError):
            raise StorageError(
                f"the backup could not be restored ({error.strerror or error}).",
                place=str(error.filename or data),
                remedy="Check the folder, its rights and the space on the disk.",
            ) from error
        raise


def _empty(settings: Settings, *, keep_folder: bool) -> None:
    data = settings.data_dir
    if kind_of_url(settings.store_url) == "sqlite":
        _sqlite_file(settings).unlink(missing_ok=True)
    for path in data.iterdir() if data.is_dir() else ():
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
    if not keep_folder and data.is_dir():
        data.rmdir()


def _restore_pictures(backup: Backup, settings: Settings, tell: Progress) -> None:
    files, wanted = open_pictures(settings), backup.manifest.pictures
    for done, held in enumerate(wanted, start=1):
        _restore_picture(files, backup.picture(held.sha256), held)
        tell("pictures", done, len(wanted))


def _restore_picture(files: PictureFiles, path: Path, held: Held) -> None:
    incoming = files.receive(held.size_bytes)
    try:
        with path.open("rb") as stream:
            while piece := stream.read(PIECE):
                incoming.write(piece)
        if incoming.sha256 != held.sha256 or incoming.too_large:
            raise StorageError(
                "was changed while it was being restored; nothing of the backup was left.",
                place=str(path),
                remedy="Check the disk and who else writes to the folder.",
            )
        files.keep(incoming)
    finally:
        incoming.discard()


def _restore_database(backup: Backup, settings: Settings) -> None:
    """Put the database in place last: without it nothing that a killed restore left is a store."""
    if backup.manifest.kind == "postgresql":
        restore_postgresql(backup.database, settings.store_url)
        return
    target = _sqlite_file(settings)
    unfinished = target.with_name(f"{target.name}.unfinished")
    try:
        shutil.copyfile(backup.database, unfinished)
        with unfinished.open("rb+") as stream:
            os.fsync(stream.fileno())
        unfinished.rename(target)
        sync_folder(target.parent)
    finally:
        unfinished.unlink(missing_ok=True)


def _verify(backup: Backup, settings: Settings, tell: Progress) -> StoreReport:
    database = Database(settings.store_url)
    try:
        database.migrate()
        with database.engine.begin() as connection:
            connection.execute(delete(SESSIONS))
        head = backup.manifest.history
        noted = "" if head is None else head.hash
        return verify_store(database, open_pictures(settings), noted=noted, progress=tell)
    finally:
        database.close()
