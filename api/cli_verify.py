"""``corrosion verify``: find what was changed past the program, in the store or in an archive."""
# ruff: noqa: PLC0415

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.console import make_console, progress
from corrosion.errors import CorrosionError, StorageError

if TYPE_CHECKING:
    from rich.console import Console

    from api.history.faults import StoreReport
    from api.settings import Settings

UNSOUND = 1
EXIT_CODES = "Exit codes: 0 nothing is wrong; 1 something is wrong or cannot be read; 2 wrong usage."


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command(epilog=EXIT_CODES)(verify)


def verify(
    bag: Annotated[
        Path | None,
        typer.Argument(
            metavar="[BAG]",
            help="An archive, folder or zip; without it the service's own store is verified.",
            show_default=False,
        ),
    ] = None,
    data: Annotated[
        Path | None,
        typer.Option("--data", metavar="DIR", help="Folder of the service's data, as in 'serve'."),
    ] = None,
    head: Annotated[
        str,
        typer.Option(
            "--head",
            metavar="HASH",
            help="Hash of the history's last line as noted elsewhere earlier; it must still be there.",
        ),
    ] = "",
    trust: Annotated[
        list[Path] | None,
        typer.Option(
            "--trust",
            metavar="KEY.pub",
            help="Public key one of which must have signed the archive. May be repeated.",
        ),
    ] = None,
) -> None:
    """Look for anything that was changed past the program, and name it. Reads only; the service may run.

    In the service's store: the history's chain of hashes, every row against the history, the bytes of every
    picture against its hash. In an archive: every file against its checksums.
    """
    console = make_console()
    if bag is not None:
        if data is not None or head:
            raise typer.BadParameter("--data and --head belong to the service's store, not to an archive.")
        _leave(sound=_verify_bag(bag, trust or [], console))
        return
    if trust:
        raise typer.BadParameter("it belongs to an archive.", param_hint="--trust")
    if head and not re.fullmatch(r"[0-9a-fA-F]{64}", head):
        raise typer.BadParameter("a hash has 64 hexadecimal digits.", param_hint="--head")
    from api.settings import Settings

    settings = Settings.from_environment()
    if data is not None:
        settings = settings.model_copy(update={"data_dir": data})
    report = _verify_store(settings, head.lower())
    show_report(console, report)
    _leave(sound=report.sound)


def _leave(*, sound: bool) -> None:
    if not sound:
        raise typer.Exit(UNSOUND)


def _verify_store(settings: Settings, noted: str) -> StoreReport:
    from api.database import Database
    from api.files import PictureFiles
    from api.history.verify import verify_store

    folder, file = settings.data_dir, settings.data_dir / "corrosion.sqlite3"
    # Opening either store would make an empty one, and an empty one is sound.
    missing = file if settings.database_url is None else folder if settings.picture_url is None else None
    if missing is not None and not missing.exists():
        raise StorageError(
            "there is no store here.",
            place=str(missing),
            remedy="Give the folder of the service's data with --data or CORROSION_DATA_DIR.",
        )
    database = Database(settings.database_url or f"sqlite:///{file.resolve()}")
    try:
        files = PictureFiles(
            settings.picture_url,
            folder=folder / "pictures",
            incoming=folder / "incoming",
            endpoint=settings.picture_endpoint,
        )
        with progress() as report:
            return verify_store(database, files, noted=noted, progress=report)
    finally:
        database.close()


def show_report(console: Console, report: StoreReport) -> None:
    """Print what a verification found, each fault with its place."""
    from corrosion.report.words import clean

    words = {"history": "History", "row": "Row", "picture": "Picture"}
    for fault in report.faults:
        line = f"✗ {words[fault.kind]}, {fault.place}: {fault.problem}."
        console.print(clean(line), style="bold red", soft_wrap=True)
    for note in report.notes:
        console.print(clean(note), soft_wrap=True)
    console.print(
        f"{report.lines} lines of history, {report.rows} rows, {report.files} stored files "
        f"({report.size_bytes / 1e6:.1f} MB) read.",
        soft_wrap=True,
    )
    if not report.sound:
        console.print(
            f"Not sound: {len(report.faults)} things are not as they were written.", style="bold red"
        )
        return
    console.print("Sound: nothing was changed past the program.", style="bold green")
    if report.head is not None:
        console.print(
            f"Head: line {report.head.seq}, {report.head.hash}\n"
            "Note it where nobody who can write to this store can: a later --head then shows a history "
            "that was rewritten as a whole.",
            soft_wrap=True,
        )


def _verify_bag(path: Path, trust: list[Path], console: Console) -> bool:
    try:
        from corrosion.archive import load_trusted, verify_bag
    except ImportError as error:
        raise CorrosionError(
            "archives cannot be verified by this installation.", remedy="Install the program anew."
        ) from error
    from corrosion.report.words import clean

    with progress() as report:
        found = verify_bag(path, trusted=[load_trusted(one) for one in trust], progress=report)
    for problem in found.problems:
        console.print(clean(f"✗ {problem}"), style="bold red", soft_wrap=True)
    for note in found.notes:
        console.print(clean(note), soft_wrap=True)
    sound = found.sound
    console.print(f"{found.files} files ({found.size_bytes / 1e6:.1f} MB) read.", soft_wrap=True)
    console.print(f"It is {found.signature}.", soft_wrap=True)
    if sound:
        console.print("Sound: every file is what its checksums say.", style="bold green")
    else:
        console.print(f"Not sound: {len(found.problems)} problems.", style="bold red")
    return sound
