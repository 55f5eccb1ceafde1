"""``corrosion report``: the survey as a PDF to file, or its summary on one page."""
# ruff: noqa: PLC0415

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli_target import found_references
from api.console import Report, make_console, progress, show
from api.outputs import Paper, check_output, write_whole
from corrosion.errors import CorrosionError, RecordError

if TYPE_CHECKING:
    from corrosion.model import SurveyFile
    from corrosion.record import RecordFacts
    from corrosion.record.subject import Subject
    from corrosion.results import Assessment

INCOMPLETE = 3


def register(app: typer.Typer, epilog: str) -> None:
    """Add the command to the command line."""
    app.command(epilog=epilog)(report)


def report(
    survey: Annotated[
        Path,
        typer.Argument(
            metavar="SURVEY", help="Survey file (JSON); its photos lie beside it.", show_default=False
        ),
    ],
    out: Annotated[Path, typer.Option("--out", "-o", metavar="OUT.pdf", help="Where the PDF goes.")],
    paper: Annotated[Paper, typer.Option("--paper", help="Size of the paper.")] = Paper.A4,
    summary: Annotated[
        bool, typer.Option("--summary", help="Make the summary on one page instead of the full report.")
    ] = False,
    facts: Annotated[
        Path | None,
        typer.Option(
            "--facts",
            metavar="RECORD.json",
            help="Signatures, seal and history as an archive holds them (record.json); without them the "
            "report is a draft.",
        ),
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 3 if something in the survey could not be used.")
    ] = False,
) -> None:
    """Write a survey as PDF/A-2a: verdicts, maps, photos with their marks, plan, decision, hashes."""
    from corrosion.model import load_survey
    from corrosion.record.pdf import report_pdf, summary_pdf
    from corrosion.report.tables import problems_list

    document = load_survey(survey)
    inputs = [survey, *(survey.parent / photo.file for photo in document.photos)]
    check_output(out, inputs=inputs, endings=(".pdf",))
    record = None if facts is None else read_facts(facts)
    with progress() as told:
        subject = subject_from_file(survey, document, told)
        if summary:
            pages = summary_pdf(subject, paper.value, record)
        else:
            pages = report_pdf(subject, paper.value, record, told)
    write_whole(out, lambda unfinished: _write(unfinished, pages))
    console = make_console()
    show(console, problems_list(subject.problems))
    console.print(f"Written to {out}: {len(pages) / 1e6:.1f} MB, PDF/A-2a", soft_wrap=True)
    if strict and subject.problems:
        raise typer.Exit(INCOMPLETE)


def read_facts(path: Path) -> RecordFacts:
    """Read signatures, seal and history from a file.

    Raises
    ------
    RecordError
        If the file cannot be read, or is not what the program wrote.
    """
    from corrosion.record import facts_from_json

    try:
        return facts_from_json(json.loads(path.read_text(encoding="utf-8")))
    except RecordError as error:
        raise error.at(str(path)) from error
    except (OSError, ValueError) as error:
        raise RecordError(
            f"the record's facts cannot be read ({error}).",
            place=str(path),
            remedy="Name the record.json of an archive, or leave --facts out.",
        ) from error


def subject_from_file(path: Path, document: SurveyFile, told: Report) -> Subject:
    """Work out everything a report of a survey file speaks of.

    Parameters
    ----------
    path : Path
        The survey file; its bytes' digest stands on every page.
    document : SurveyFile
        The same, read.
    told : callable
        Progress.
    """
    from corrosion.intake import photo_path
    from corrosion.record.subject import subject_of

    assessment = _assessed(path, document, told)
    others, problems = _candidates(assessment, path, told)
    photos = {photo.id: photo for photo in assessment.survey.photos}

    def read(photo: str) -> bytes | None:
        try:
            return photo_path(photos[photo], path.parent).read_bytes()
        except (CorrosionError, OSError):
            # The table of problems has told of it; the report shows that the picture is not at hand.
            return None

    return subject_of(assessment, path.read_bytes(), read=read, candidates=others, problems=problems)


def _assessed(path: Path, document: SurveyFile, told: Report) -> Assessment:
    from corrosion.intake import photo_sizes
    from corrosion.survey import assess

    survey, missed = found_references(document, path, told)
    sizes, problems = photo_sizes(survey, path.parent, progress=told)
    try:
        assessment = assess(survey, sizes=sizes, progress=told)
    except CorrosionError as error:
        raise error.at(str(path)) from error
    return replace(assessment, problems=[*problems, *missed, *assessment.problems])


def _candidates(
    assessment: Assessment, path: Path, told: Report
) -> tuple[dict[str, Assessment], list[str]]:
    """Assess the surveys of second-hand parts, whose files are named relative to the survey's."""
    from corrosion.model import load_survey

    decision = assessment.survey.decision
    surveyed: dict[str, Assessment] = {}
    problems = []
    for candidate in decision.candidates if decision else []:
        if candidate.survey is None:
            continue
        file = path.parent / candidate.survey
        try:
            surveyed[candidate.id] = _assessed(file, load_survey(file), told)
        except CorrosionError as error:
            problems.append(f"candidate {candidate.id}: its survey cannot be used: {error}")
            continue
        problems += [f"candidate {candidate.id}: {words}" for words in surveyed[candidate.id].problems]
    return surveyed, problems


def _write(path: Path, pages: bytes) -> None:
    path.write_bytes(pages)
