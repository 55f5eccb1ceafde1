"""``corrosion compare``: two or more surveys of one structure, in order of date."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli_target import found_references
from api.console import make_console, progress, show
from api.outputs import STANDARD_OUTPUT, check_output, write_json
from corrosion.errors import CorrosionError

if TYPE_CHECKING:
    from corrosion.compare import Comparison
    from corrosion.model import SurveyFile
    from corrosion.results import Assessment
    from corrosion.units import LengthUnit

INCOMPLETE = 3
SERIES_FORMAT = "corrosion-comparisons"


def register(app: typer.Typer, epilog: str) -> None:
    """Add the command to the command line."""
    app.command(epilog=epilog)(compare)


def compare(
    surveys: Annotated[
        list[Path],
        typer.Argument(
            metavar="EARLIER LATER...",
            help="Survey files (JSON), oldest first. Their photos need not be there.",
            show_default=False,
        ),
    ],
    json_to: Annotated[
        str | None,
        typer.Option(
            "--json",
            metavar="PATH",
            help="Also write the comparison as JSON; '-' writes it to standard output and the tables to "
            "standard error.",
        ),
    ] = None,
    level: Annotated[
        float, typer.Option("--level", help="Significance level, two-sided; intervals cover the rest.")
    ] = 0.05,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 3 if a photo or mark could not be used.")
    ] = False,
) -> None:
    """Compare surveys of one structure: what grew and how fast, what is new, what nobody looked at again.

    With more than two surveys each is compared with the one before it, and the last with the first.
    """
    from corrosion.compare import compare_all
    from corrosion.compare.json_form import comparison_json
    from corrosion.model import load_survey

    files = [(path, load_survey(path)) for path in surveys]
    if json_to is not None and json_to != STANDARD_OUTPUT:
        check_output(Path(json_to), inputs=[inp for path, file in files for inp in _inputs(path, file)])
    assessed = [_assessed(path, file) for path, file in files]
    problems = [words for _, found in assessed for words in found]
    steps = compare_all([assessment for assessment, _ in assessed], level=level)
    later = assessed[-1][0].survey
    unit = later.display_units or later.units
    _show(steps, problems, unit, to_stderr=json_to == STANDARD_OUTPUT)
    if json_to is not None:
        documents = [comparison_json(step, unit) | {"survey_problems": problems} for step in steps]
        series = {"format": SERIES_FORMAT, "version": 1, "comparisons": documents}
        write_json(json_to, documents[0] if len(documents) == 1 else series)
    if strict and problems:
        raise typer.Exit(INCOMPLETE)


def _inputs(path: Path, survey: SurveyFile) -> list[Path]:
    return [path, *(path.parent / photo.file for photo in survey.photos)]


def _assessed(path: Path, survey: SurveyFile) -> tuple[Assessment, list[str]]:
    """Assess a survey with or without its photos; say what that leaves unknown."""
    from corrosion.intake import photo_sizes
    from corrosion.survey import assess

    here = [photo for photo in survey.photos if (path.parent / photo.file).is_file()]
    with progress() as report:
        survey, missed = found_references(survey, path, report)
        present = survey.model_copy(
            update={"photos": [one for one in survey.photos if one.id in {p.id for p in here}]}
        )
        sizes, problems = photo_sizes(present, path.parent, progress=report)
        try:
            assessment = assess(survey, sizes=sizes, progress=report)
        except CorrosionError as error:
            raise error.at(str(path)) from error
    unsized = [p.id for p in survey.photos if p.size is None and p.id not in sizes]
    if unsized:
        problems.append(
            f"photos {', '.join(unsized)}: neither the picture nor its size is there, so what they show "
            "counts as not seen."
        )
    return assessment, [f"{path}: {words}" for words in [*problems, *missed, *assessment.problems]]


def _show(steps: list[Comparison], problems: list[str], unit: LengthUnit, *, to_stderr: bool) -> None:
    from corrosion.compare import tables
    from corrosion.compare.words import ASSUMPTION
    from corrosion.report.tables import problems_list
    from corrosion.report.words import CAUTION

    console = make_console(stderr=to_stderr)
    for step in steps:
        show(
            console,
            tables.findings_table(step, unit) or "Neither survey has a finding.",
            tables.notes_table(step),
            tables.members_table(step, unit),
            tables.meanings_table(step),
        )
    known = dict.fromkeys([*(words for step in steps for words in step.problems), *problems])
    show(console, problems_list(list(known)), ASSUMPTION, CAUTION)
