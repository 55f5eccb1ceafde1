"""``corrosion backup`` and ``restore``: a running service's store as a folder, and back into a new one."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.console import make_console, progress
from corrosion.report.words import clean

if TYPE_CHECKING:
    from rich.console import Console

    from api.backup import Backup, Copied
    from api.history.faults import StoreReport
    from api.settings import Settings

UNDONE = 1
EXIT_CODES = (
    "Exit codes: 0 done; 1 something could not be backed up or restored, or is not as it was written; "
    "2 wrong usage."
)

Folder = Annotated[
    Path,
    typer.Argument(
        metavar="FOLDER", help="Folder of the backups, one beside the other.", show_default=False
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.command(epilog=EXIT_CODES)(backup)
    app.command(epilog=EXIT_CODES)(restore)


def backup(
    folder: Folder,
    data: Annotated[
        Path | None,
        typer.Option(
            "--data", metavar="DIR", help="Folder of the service's data, as in 'corrosion serve'."
        ),
    ] = None,
    keep: Annotated[
        int | None,
        typer.Option(
            "--keep",
            metavar="N",
            min=1,
            help="Afterwards remove all but the newest N backups; pictures stay. Nothing is removed where "
            "the new one lacks a picture.",
        ),
    ] = None,
) -> None:
    """Back up the service's store, database and pictures; the service may run and be written to meanwhile.

    Each run adds a whole backup to FOLDER, made beside the earlier ones and named by its time in UTC. A
    picture that FOLDER has already is not copied again. Keep FOLDER on another disk, and as private as the
    store: it holds the accounts too.
    """
    from api.backup import make_backup

    with progress() as report:
        made, copied = make_backup(_settings(data), folder, report)
    console = make_console()
    _tell_made(console, made, copied)
    for one in made.manifest.lacking:
        line = f"✗ Not in the backup: picture {one.sha256}: {one.problem.rstrip('.')}."
        console.print(clean(line), style="bold red", soft_wrap=True)
    if made.manifest.lacking:
        console.print("'corrosion verify' names the photos that use them.", soft_wrap=True)
        raise typer.Exit(UNDONE)
    if keep is not None:
        _prune(console, folder, keep)


def _prune(console: Console, folder: Path, keep: int) -> None:
    from api.backup_prune import prune_backups

    for name in prune_backups(folder, keep):
        console.print(clean(f"Removed backup {name}."), soft_wrap=True)


def _tell_made(console: Console, made: Backup, copied: Copied) -> None:
    manifest = made.manifest
    console.print(clean(f"Backup {made.name} in {made.folder}."), soft_wrap=True)
    mended = f", {copied.mended} damaged in the folder and copied anew" if copied.mended else ""
    console.print(
        f"Database {manifest.database.size_bytes / 1e6:.1f} MB; {copied.copied} pictures copied "
        f"({copied.bytes_copied / 1e6:.1f} MB), {copied.there} there already{mended}.",
        soft_wrap=True,
    )
    if manifest.history is not None:
        console.print(f"History up to line {manifest.history.seq}, {manifest.history.hash}", soft_wrap=True)


def restore(
    folder: Folder,
    data: Annotated[
        Path | None,
        typer.Option(
            "--data", metavar="DIR", help="New folder for the service's data; empty or not there."
        ),
    ] = None,
    name: Annotated[
        str, typer.Option("--backup", metavar="NAME", help="Restore this one; the newest if not given.")
    ] = "",
    listing: Annotated[bool, typer.Option("--list", help="Only list the backups, oldest first.")] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Only compare every file of the backup with its checksum.")
    ] = False,
) -> None:
    """Restore a backup into an empty store, and verify it there.

    Every checksum is compared before anything is put in place. Nothing is ever restored over a store.
    Everybody has to sign in again afterwards.
    """
    from api.backup import open_backup
    from api.restore import check_backup, restore_backup

    console = make_console()
    if listing:
        _list(console, folder)
        return
    found = open_backup(folder, name)
    if check:
        with progress() as report:
            check_backup(found, report)
        count = 1 + len(found.manifest.pictures)
        console.print(f"Backup {found.name}: all {count} files are what they were.", soft_wrap=True)
        return
    settings = _settings(data)
    with progress() as report:
        result = restore_backup(found, settings, report)
    _tell_restored(console, found, result, settings)


def _settings(data: Path | None) -> Settings:
    from api.settings import Settings

    settings = Settings.from_environment()
    return settings if data is None else settings.model_copy(update={"data_dir": data})


def _list(console: Console, folder: Path) -> None:
    from api.backup import backup_names, open_backup
    from corrosion.errors import StorageError

    broken = False
    for name in backup_names(folder):
        try:
            manifest = open_backup(folder, name).manifest
        except StorageError as error:
            broken = True
            console.print(clean(f"✗ {name}: {error}"), style="bold red", soft_wrap=True)
            continue
        size = manifest.database.size_bytes + sum(one.size_bytes for one in manifest.pictures)
        lacking = f", {len(manifest.lacking)} lacking" if manifest.lacking else ""
        line = (
            f"{name}: {manifest.kind}, version {manifest.schema_revision}, program {manifest.program}, "
            f"{len(manifest.pictures)} pictures{lacking}, {size / 1e6:.1f} MB"
        )
        console.print(clean(line), soft_wrap=True)
    if broken:
        raise typer.Exit(UNDONE)


def _tell_restored(console: Console, found: Backup, report: StoreReport, settings: Settings) -> None:
    from api.cli_verify import show_report

    line = f"Backup {found.name} restored into {settings.data_dir}; verifying it gave:"
    console.print(clean(line), soft_wrap=True)
    show_report(console, report)
    console.print(clean(f"To run it: corrosion serve --data {settings.data_dir}"), soft_wrap=True)
    if not report.sound:
        raise typer.Exit(UNDONE)
