"""``corrosion archive``, ``archive-key``, ``import``: surveys as bags that can be verified for years."""
# ruff: noqa: PLC0415

from __future__ import annotations

import datetime as dt
import getpass
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.actor import Actor, Role, acting_as
from api.console import make_console, progress
from corrosion import __version__
from corrosion.errors import ArchiveError, CorrosionError, StorageError
from corrosion.report.words import clean

if TYPE_CHECKING:
    from rich.console import Console

    from api.archiving import Options
    from api.context import Context
    from corrosion.archive import BagForm, Signer, WrittenBag

UNDONE = 1
ZIP_ENDING = ".zip"
EXIT_CODES = "Exit codes: 0 done; 1 something could not be archived, imported or read; 2 wrong usage."


class ReportPaper(StrEnum):
    """Paper of the report, or none."""

    A4 = "a4"
    LETTER = "letter"
    NONE = "none"


Data = Annotated[
    Path | None,
    typer.Option("--data", metavar="DIR", help="Folder of the service's data, as in 'corrosion serve'."),
]
Key = Annotated[
    Path | None,
    typer.Option(
        "--key",
        metavar="KEY",
        help="Sign with this private key from 'corrosion archive-key'. If it has a passphrase, that is "
        "asked for, or read from the first line of standard input.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    app.command(epilog=EXIT_CODES)(archive)
    app.command(name="archive-key", epilog=EXIT_CODES)(archive_key)
    app.command(name="import", epilog=EXIT_CODES)(import_bag)


def archive(  # noqa: PLR0913, PLR0917 - the options of a command
    survey_file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[SURVEY]", help="Survey file (JSON); its photos lie beside it.", show_default=False
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--out",
            metavar="OUT",
            help="The archive to make: a zip if it ends in .zip, else a folder. With --all or --sealed the "
            "folder that takes the archives, one zip each.",
            show_default=False,
        ),
    ] = None,
    survey: Annotated[
        str | None,
        typer.Option("--survey", metavar="ID", help="Archive this survey of the service's store."),
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Archive every survey of the service's store.")
    ] = False,
    sealed: Annotated[bool, typer.Option("--sealed", help="Archive every sealed survey of it.")] = False,
    key: Key = None,
    paper: Annotated[ReportPaper, typer.Option("--paper", help="Paper of the report.")] = ReportPaper.A4,
    incomplete: Annotated[
        bool,
        typer.Option("--incomplete", help="Go on without originals that are missing; the bag says which."),
    ] = False,
    data: Data = None,
) -> None:
    """Archive a survey as a bag (BagIt, RFC 8493): originals, survey file, results, report, checksums.

    An archive is written whole or not at all and never over another one. Run again with --all or --sealed,
    it goes on where it broke off.
    """
    chosen = [name for name, given in (("SURVEY", survey_file), ("--survey", survey)) if given is not None]
    chosen += [name for name, given in (("--all", every), ("--sealed", sealed)) if given]
    if len(chosen) != 1:
        raise typer.BadParameter("name one of SURVEY, --survey, --all and --sealed")
    if out is None:
        raise typer.BadParameter("name the archive to make with -o")
    signer = None if key is None else _signer(key)
    size = "" if paper is ReportPaper.NONE else str(paper)
    if survey_file is not None:
        _archive_file(survey_file, out, signer, paper=size, incomplete=incomplete)
        return
    from api.archiving import Options

    with _service(data, must_exist=True) as context:
        options = Options(size, incomplete)
        if survey is not None:
            _archive_one(context, survey, out, signer, options)
        else:
            _archive_many(context, out, signer, options, sealed=sealed)


def _archive_file(path: Path, out: Path, signer: Signer | None, *, paper: str, incomplete: bool) -> None:
    from corrosion.archive import info_of, payload_of, record_from_files, software_agent, write_bag

    _must_not_exist(out)
    with progress() as report:
        record, problems = record_from_files(path, paper=paper, incomplete=incomplete, progress=report)
        day = dt.datetime.now(dt.UTC).date().isoformat()
        info = info_of(record, day=day, identifier=path.stem, agent=software_agent(__version__))
        payload = payload_of(record)
        done = write_bag(out, payload, info, form=_form(out), signer=signer, progress=report)
    for problem in problems:
        make_console(stderr=True).print(clean(f"  ! {problem}"), soft_wrap=True)
    _tell(make_console(), done)


def _archive_one(context: Context, survey: str, out: Path, signer: Signer | None, options: Options) -> None:
    _must_not_exist(out)
    with progress() as report:
        collected = context.archives.collect(survey, options, report)
        done = context.archives.write(collected, out, _form(out), signer=signer, progress=report)
    _tell(make_console(), done)


def _archive_many(
    context: Context, folder: Path, signer: Signer | None, options: Options, *, sealed: bool
) -> None:
    """Archive many surveys, a line each; one that fails does not stop the others."""
    folder.mkdir(parents=True, exist_ok=True)
    console = make_console()
    surveys = context.archives.surveys(sealed=sealed)
    counts = {"archived": 0, "there already": 0, "failed": 0}
    with progress() as report:
        for number, (survey, name) in enumerate(surveys, start=1):
            try:
                result, line = _next_of_many(context, survey, folder, signer, options)
            except CorrosionError as error:
                result, line = "failed", f"survey {survey} {name!r}: {error}"
            counts[result] += 1
            console.print(clean(f"{result}: {line}"), soft_wrap=True)
            report("surveys", number, len(surveys))
    console.print(f"{', '.join(f'{n} {word}' for word, n in counts.items())}.", soft_wrap=True)
    if counts["failed"]:
        raise typer.Exit(UNDONE)


def _next_of_many(
    context: Context, survey: str, folder: Path, signer: Signer | None, options: Options
) -> tuple[str, str]:
    from corrosion.archive import BagForm, listed_digest

    name, digest = context.archives.survey_digest(survey)
    target = folder / f"{name}{ZIP_ENDING}"
    if target.exists():
        # An archive is there whole or not at all, so that one of this state needs no second look.
        if listed_digest(target, "survey.json") == digest:
            return "there already", str(target)
        raise ArchiveError(
            "holds another state of the survey.",
            place=str(target),
            remedy="Move it elsewhere, or name another folder, to archive the survey as it is now.",
        )
    collected = context.archives.collect(survey, options)
    done = context.archives.write(collected, target, BagForm.ZIP, signer=signer)
    return "archived", f"{target}, {done.files} files, {done.size_bytes / 1e6:.1f} MB"


def _tell(console: Console, done: WrittenBag) -> None:
    words = f"Written to {done.path}: {done.files} files, {done.size_bytes / 1e6:.1f} MB, with checksums."
    console.print(clean(words), soft_wrap=True)
    if done.fingerprint:
        console.print(f"Signed with the key {done.fingerprint}.", soft_wrap=True)
    console.print(clean(f"To check it: corrosion verify {done.path}"), soft_wrap=True)


def _form(out: Path) -> BagForm:
    from corrosion.archive import BagForm

    return BagForm.ZIP if out.suffix.lower() == ZIP_ENDING else BagForm.FOLDER


def _must_not_exist(out: Path) -> None:
    """Refuse before any work is done for it."""
    if out.exists() or out.is_symlink():
        raise ArchiveError(
            "exists already; an archive is never overwritten.",
            place=str(out),
            remedy="Choose another name.",
        )


def archive_key(
    path: Annotated[
        Path, typer.Argument(metavar="KEY", help="File for the private key.", show_default=False)
    ],
    passphrase: Annotated[
        bool,
        typer.Option(
            "--passphrase/--no-passphrase",
            help="Encrypt the private key with a passphrase, asked for at the terminal or read from the "
            "first line of standard input; or leave it open to whoever reads the file.",
        ),
    ] = True,
) -> None:
    """Make a key to sign archives with: the private one in KEY, for you alone, the public one in KEY.pub.

    Give KEY.pub, or its fingerprint, to those who are to check your archives, by a way that others cannot
    tamper with. Keep KEY where you keep what must not be lost or copied.
    """
    from corrosion.archive import make_key

    signer = make_key(path, _passphrase(again=True) if passphrase else None)
    console = make_console()
    console.print(clean(f"Private key: {path} (for you alone). Public key: {path}.pub"), soft_wrap=True)
    console.print(f"Fingerprint: {signer.fingerprint}", soft_wrap=True)


def _signer(path: Path) -> Signer:
    from corrosion.archive import load_signer, needs_passphrase

    return load_signer(path, _passphrase(again=False) if needs_passphrase(path) else None)


def _passphrase(*, again: bool) -> str:
    if sys.stdin.isatty():
        return str(typer.prompt("Passphrase of the key", hide_input=True, confirmation_prompt=again))
    line = sys.stdin.readline().rstrip("\r\n")
    if not line:
        raise CorrosionError(
            "no passphrase was given.",
            place="standard input",
            remedy="Run it at a terminal, or send the passphrase as the first line.",
        )
    return line


def import_bag(
    bag: Annotated[Path, typer.Argument(metavar="BAG", help="Archive, folder or zip.", show_default=False)],
    structure: Annotated[
        str | None,
        typer.Option(
            "--structure",
            metavar="ID",
            help="Structure the survey belongs to; it must equal the archive's. A new one if not given.",
        ),
    ] = None,
    trusted: Annotated[
        list[Path] | None,
        typer.Option(
            "--trusted",
            metavar="KEY.pub",
            help="Take the archive only if this public key signed it; may be repeated.",
            show_default=False,
        ),
    ] = None,
    data: Data = None,
) -> None:
    """Import an archive into the service's store: verified first, then all of it or nothing."""
    from corrosion.archive import BagLimits, load_trusted

    keys = [load_trusted(path) for path in trusted or []]
    if not bag.exists():
        raise ArchiveError("there is no such file or folder.", place=str(bag), remedy="Name a bag.")
    with _service(data, must_exist=False) as context, progress() as report:
        done = context.bag_imports.take_in(
            bag, structure_id=structure, trusted=keys, limits=BagLimits(), progress=report
        )
    console = make_console()
    for note in done.notes:
        console.print(clean(note), soft_wrap=True)
    console.print(clean(f"The archive is {done.report.signature}."), soft_wrap=True)
    state = "sealed survey" if done.view.seal else "survey"
    words = f"Imported {state} {done.view.row.name!r} as {done.view.row.id}: {done.report.files} files."
    console.print(clean(words), soft_wrap=True)


@contextmanager
def _service(data: Path | None, *, must_exist: bool) -> Iterator[Context]:
    """Open the service's store; whoever has the machine may do everything with it."""
    from api.app import build_context
    from api.settings import Settings

    settings = Settings.from_environment()
    if data is not None:
        settings = settings.model_copy(update={"data_dir": data})
    if must_exist and settings.database_url is None and not settings.sqlite_path.exists():
        # Opening it would make an empty one.
        raise StorageError(
            "there is no store here.",
            place=str(settings.sqlite_path),
            remedy="Give the folder of the service's data with --data or CORROSION_DATA_DIR.",
        )
    context = build_context(settings)
    actor = Actor("command", f"command line ({getpass.getuser()})", frozenset(Role), "command")
    try:
        with acting_as(actor):
            yield context
    finally:
        context.close()
