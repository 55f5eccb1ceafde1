"""The command line: ``corrosion demo | measure | assess | decide | schema | serve``.

Heavy libraries are loaded inside the command that needs them: help is instant, and a missing system
library is one line from that command, not a traceback from all of them.
"""
# ruff: noqa: PLC0415

from __future__ import annotations

import json
import sys
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli_archive import register as register_archive
from api.cli_backup import register as register_backup
from api.cli_compare import register as register_compare
from api.cli_decide import register as register_decide
from api.cli_lens import lens, straighten
from api.cli_people import register as register_people
from api.cli_reindex import register as register_reindex
from api.cli_report import register as register_report
from api.cli_target import found_references, register
from api.cli_verify import register as register_verify
from api.console import forgive_encodings, make_console, progress, show, show_error
from api.outputs import STANDARD_OUTPUT, check_output, write_json, write_whole
from corrosion import __version__
from corrosion.errors import CorrosionError
from corrosion.terms import Face

if TYPE_CHECKING:
    from rich.console import Console

    from corrosion.model import SurveyFile
    from corrosion.results import Assessment

USER_ERROR, USAGE_ERROR, INCOMPLETE = 1, 2, 3
MAP_ENDINGS = (".png", ".svg")
EXIT_CODES = (
    "Exit codes: 0 done, whatever the verdict; 1 the input or an output cannot be used; 2 wrong usage; "
    "3 with --strict: something in the survey could not be used."
)

app = typer.Typer(
    name="corrosion",
    help="Corrosion survey mapper: from inspection photos to thickness removed against a blend limit.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


class MapFace(StrEnum):
    """Face a map shows."""

    BOTH = "both"
    OUTER = "outer"
    INNER = "inner"


SurveyPath = Annotated[
    Path,
    typer.Argument(
        metavar="SURVEY", help="Survey file (JSON); its photos lie beside it.", show_default=False
    ),
]
JsonTarget = Annotated[
    str | None,
    typer.Option(
        "--json",
        metavar="PATH",
        help="Also write every value with its uncertainty, budget and flags as JSON; '-' writes it to "
        "standard output and the tables to standard error.",
    ),
]
Strict = Annotated[
    bool,
    typer.Option("--strict", help="Exit with 3 if a photo or mark could not be used."),
]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"corrosion {__version__}")
        raise typer.Exit


@app.callback()
def options(
    _show: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave."),
    ] = False,
) -> None:
    """Corrosion survey mapper: from inspection photos to thickness removed against a blend limit."""


@app.command(epilog=EXIT_CODES)
def measure(survey: SurveyPath, json_to: JsonTarget = None, strict: Strict = False) -> None:
    """Measure every mark on every photo of a survey, each value with its uncertainty."""
    from corrosion.intake import photo_sizes
    from corrosion.measure import measure_photo
    from corrosion.model import in_millimetres
    from corrosion.report import measures_json, tables

    document = _load(survey)
    _check_json(json_to, survey, document)
    with progress() as report:
        document, missed = found_references(document, survey, report)
        in_mm = in_millimetres(document)
        sizes, problems = photo_sizes(document, survey.parent, progress=report)
        problems += missed
        photos = []
        for number, photo in enumerate(in_mm.photos, start=1):
            photos.append(measure_photo(photo, in_mm, photo.size or sizes.get(photo.id)))
            report("measures", number, len(in_mm.photos))
    problems += [p.problem for p in photos if p.problem]
    problems += [mark.problem for p in photos for mark in p.marks if mark.problem]
    unit = in_mm.display_units or in_mm.units
    show(
        _table_console(json_to),
        tables.measures_table(photos, unit),
        tables.totals_table(photos, unit),
        tables.legend_table(tables.measures_flags(photos)),
        tables.problems_list(problems),
    )
    if json_to is not None:
        write_json(json_to, measures_json(photos, unit, problems=problems))
    _leave(problems, strict=strict)


@app.command(epilog=EXIT_CODES)
def assess(
    survey: SurveyPath,
    json_to: JsonTarget = None,
    map_to: Annotated[
        Path | None,
        typer.Option(
            "--map", metavar="OUT.png|.svg", help="Also draw the removal map of every member with findings."
        ),
    ] = None,
    face: Annotated[
        MapFace, typer.Option("--face", help="What the map adds up: both faces, or one alone.")
    ] = MapFace.BOTH,
    margin: Annotated[
        bool, typer.Option("--margin", help="Let the map show how much more may come off instead.")
    ] = False,
    spot: Annotated[
        list[str] | None,
        typer.Option(
            "--spot",
            metavar="MEMBER:STATION,OFFSET",
            help="Also list what adds up at one place, in the unit the tables show. May be repeated.",
        ),
    ] = None,
    strict: Strict = False,
) -> None:
    """Sum the thickness removed on every member against its limit, and say how much is left to give."""
    from corrosion.report import json_of

    document = _load(survey)
    _check_json(json_to, survey, document)
    if map_to is not None:
        check_output(map_to, inputs=_inputs(survey, document), endings=MAP_ENDINGS)
    assessment = _assess(survey, document)
    console = _table_console(json_to)
    _show_assessment(console, assessment)
    for text in spot or []:
        _show_spot(console, assessment, text)
    if map_to is not None:
        _draw(assessment, map_to, None if face is MapFace.BOTH else Face(face), margin=margin)
    if json_to is not None:
        write_json(json_to, json_of(assessment))
    _leave(assessment.problems, strict=strict)


@app.command()
def schema() -> None:
    """Print the JSON Schema of the survey file."""
    from corrosion.model import survey_schema

    typer.echo(json.dumps(survey_schema(), indent=1, ensure_ascii=False))


@app.command(epilog=EXIT_CODES)
def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder for the map and the JSON; made if missing.")
    ] = Path("demo-output"),
    serving: Annotated[
        bool | None,
        typer.Option(
            "--serve/--no-serve",
            help="Open the survey in the service afterwards, until Ctrl+C; or only write the files. "
            "Without either it is opened if a person sits at the terminal.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Run the whole chain on the made-up survey that comes with the program."""
    from corrosion.demo import SURVEY_NAME, sample_folder
    from corrosion.report import json_of, tables

    survey = sample_folder() / SURVEY_NAME
    document = _load(survey)
    outputs = {name: out / name for name in ("map.png", "map.svg", "assessment.json")}
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CorrosionError(
            f"the folder cannot be made ({error.strerror}).",
            place=str(out),
            remedy="Choose another with --out.",
        ) from error
    for path in outputs.values():
        check_output(path, inputs=_inputs(survey, document))
    assessment = _assess(survey, document)
    console = make_console()
    unit = assessment.survey.display_units or assessment.survey.units
    show(console, tables.measures_table(assessment.photos, unit))
    _show_assessment(console, assessment)
    console.print(_truth_words(assessment, survey.parent))
    for name in ("map.png", "map.svg"):
        _draw(assessment, outputs[name], None)
    write_json(str(outputs["assessment.json"]), json_of(assessment))
    console.print(f"Written to {out}: {', '.join(outputs)}", soft_wrap=True)
    if sys.stdout.isatty() if serving is None else serving:
        _serve_demo(console, out / "service")
    else:
        console.print(f"To open it in the browser: corrosion demo --out {out} --serve", soft_wrap=True)


def _serve_demo(console: Console, folder: Path) -> None:
    """Put the survey into a service of its own and run that until Ctrl+C."""
    from api.app import serve as run
    from api.demo_service import demo_settings, fill

    settings = demo_settings(folder)
    page = fill(settings)

    def opened(url: str) -> None:
        console.print(f"Open {url}{page}  (Ctrl+C stops)", soft_wrap=True)

    run(settings, opened=opened)


@app.command()
def serve(
    data: Annotated[
        Path | None,
        typer.Option(
            "--data", metavar="DIR", help="Folder for the database and the pictures; made if missing."
        ),
    ] = None,
    host: Annotated[
        str | None,
        typer.Option("--host", help="Address to listen on; beyond this machine only with accounts."),
    ] = None,
    port: Annotated[
        int | None, typer.Option("--port", min=0, max=65535, help="Port to listen on; 0 takes a free one.")
    ] = None,
) -> None:
    """Run the service until Ctrl+C. Options go before the CORROSION_* environment variables."""
    from api.app import serve as run
    from api.settings import Settings

    settings = Settings.from_environment()
    given = {"data_dir": data, "host": host, "port": port}
    settings = settings.model_copy(
        update={name: value for name, value in given.items() if value is not None}
    )
    console = make_console(stderr=True)
    run(settings, opened=lambda url: console.print(f"Open {url}  (Ctrl+C stops)", soft_wrap=True))


app.command(name="lens", epilog=EXIT_CODES)(lens)
app.command(name="straighten", epilog=EXIT_CODES)(straighten)
register(app, EXIT_CODES)
register_decide(app, EXIT_CODES)
register_report(app, EXIT_CODES)
register_compare(app, EXIT_CODES)
register_people(app, EXIT_CODES)
register_verify(app)
register_reindex(app, EXIT_CODES)
register_archive(app)
register_backup(app)


def _load(path: Path) -> SurveyFile:
    from corrosion.model import load_survey

    return load_survey(path)


def _inputs(path: Path, survey: SurveyFile) -> list[Path]:
    return [path, *(path.parent / photo.file for photo in survey.photos)]


def _check_json(target: str | None, path: Path, survey: SurveyFile) -> None:
    if target is not None and target != STANDARD_OUTPUT:
        check_output(Path(target), inputs=_inputs(path, survey))


def _table_console(json_to: str | None) -> Console:
    return make_console(stderr=json_to == STANDARD_OUTPUT)


def _assess(path: Path, survey: SurveyFile) -> Assessment:
    from corrosion.intake import photo_sizes
    from corrosion.survey import assess as run

    with progress() as report:
        survey, missed = found_references(survey, path, report)
        sizes, problems = photo_sizes(survey, path.parent, progress=report)
        problems += missed
        try:
            assessment = run(survey, sizes=sizes, progress=report)
        except CorrosionError as error:
            raise error.at(str(path)) from error
    return replace(assessment, problems=[*problems, *assessment.problems])


def _show_assessment(console: Console, assessment: Assessment) -> None:
    from corrosion.report import tables
    from corrosion.report.words import CAUTION

    show(
        console,
        tables.assessment_table(assessment),
        tables.reasons_table(assessment),
        tables.legend_table(tables.assessment_flags(assessment)),
        tables.problems_list(assessment.problems),
        CAUTION,
    )


def _show_spot(console: Console, assessment: Assessment, text: str) -> None:
    from corrosion.report import tables
    from corrosion.report.spots import find_spot

    member, spot = find_spot(assessment, text)
    unit = assessment.survey.display_units or assessment.survey.units
    show(console, tables.ledger_table(spot, unit, name=member))


def _draw(assessment: Assessment, path: Path, face: Face | None, *, margin: bool = False) -> None:
    from corrosion.report.map import draw_maps
    from corrosion.report.map_style import MapStyle

    style = MapStyle(mode="margin" if margin else "share")

    write_whole(path, lambda unfinished: draw_maps(assessment, unfinished, face=face, style=style))


def _truth_words(assessment: Assessment, folder: Path) -> str:
    """Say how near the measured areas come to the rendered truth, one line per kind of mark."""
    from corrosion.demo import compare_areas
    from corrosion.report.words import KIND_WORDS

    return "\n".join(
        f"Areas of {c.count} {KIND_WORDS[c.kind]}s against the rendered truth: "
        f"median {100 * c.median:.1f} % off, largest {100 * c.largest:.1f} %; "
        f"{c.inside} of {c.count} within their U (k = 2)."
        for c in compare_areas(assessment, folder)
    )


def _leave(problems: list[str], *, strict: bool) -> None:
    if strict and problems:
        raise typer.Exit(INCOMPLETE)


def main() -> None:
    """Run the command line; a user's error is one or two lines on standard error and exit code 1."""
    forgive_encodings()
    try:
        app(prog_name="corrosion")
    except CorrosionError as error:
        show_error(error)
        sys.exit(USER_ERROR)


if __name__ == "__main__":
    main()
