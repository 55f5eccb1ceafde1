"""``corrosion target`` prints scale targets, ``corrosion find`` finds references in a survey's photos."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.console import make_console, progress
from api.outputs import check_output, write_whole

if TYPE_CHECKING:
    from api.console import Report
    from corrosion.model import SurveyFile


def register(app: typer.Typer, epilog: str) -> None:
    """Add both commands to the command line."""
    app.command(epilog=epilog)(target)
    app.command(epilog=epilog)(find)


def target(
    out: Annotated[
        Path | None, typer.Argument(metavar="OUT.pdf", help="Where the page goes.", show_default=False)
    ] = None,
    size: Annotated[
        str, typer.Option("--size", metavar="NAME", help="Which sheet; --list names them all.")
    ] = "sticker-40",
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    every: Annotated[bool, typer.Option("--list", help="List the sheets and leave.")] = False,
) -> None:
    """Make a page with a scale target to print, cut out and lay or stick beside the damage."""
    from corrosion.target import SHEETS, sheet_named
    from corrosion.target.sheet import target_pdf

    console = make_console()
    if every:
        for sheet in SHEETS.values():
            console.print(f"{sheet.name:14} {sheet.title}", soft_wrap=True)
        return
    if out is None:
        raise typer.BadParameter("name the PDF to write, or --list")
    check_output(out, inputs=[], endings=(".pdf",))
    pdf = target_pdf(sheet_named(size), paper)
    _write(out, pdf)
    console.print(
        f"Written to {out}. Print it at 100 % (no fit to page), then measure both 100 mm check bars with a "
        f"steel rule: the survey wants them as check_bar x and y.",
        soft_wrap=True,
    )


def find(
    survey: Annotated[
        Path,
        typer.Argument(
            metavar="SURVEY", help="Survey file (JSON); its photos lie beside it.", show_default=False
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="OUT.json", help="Write the survey with the found points here."),
    ] = None,
) -> None:
    """Find the targets, discs and rules of a survey in its photos, so that it measures without them."""
    from corrosion.model import dump_survey, load_survey

    document = load_survey(survey)
    if out is not None:
        check_output(out, inputs=[survey, *(survey.parent / photo.file for photo in document.photos)])
    with progress() as report:
        filled, missed = found_references(document, survey, report)
    console = make_console(stderr=True)
    for line in missed:
        console.print(line, soft_wrap=True)
    if out is not None:
        _write(out, dump_survey(filled).encode())
        make_console().print(f"Written to {out}.", soft_wrap=True)
    if missed:
        raise typer.Exit(1)


def found_references(
    document: SurveyFile, path: Path, report: Report | None
) -> tuple[SurveyFile, list[str]]:
    """Fill in the references still to be found and say which; return what was missed, too."""
    from corrosion.intake import with_found_references

    done = with_found_references(document, path.parent, progress=report)
    console = make_console(stderr=True)
    for line in done.found:
        console.print(line, soft_wrap=True)
    return done.survey, done.missed


def _write(path: Path, data: bytes) -> None:
    def write(unfinished: Path) -> None:
        unfinished.write_bytes(data)

    write_whole(path, write)
