"""``corrosion decide``: blend plan, disposition, unseen area, repair or replace, bench cards."""
# ruff: noqa: PLC0415

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from api.cli_target import found_references
from api.console import make_console, progress, show
from api.outputs import STANDARD_OUTPUT, OutputError, Paper, check_output, write_json, write_whole
from corrosion.errors import CorrosionError

if TYPE_CHECKING:
    from typing import Any

    from corrosion.decision import DecisionResult
    from corrosion.disposition import MemberDisposition
    from corrosion.model import SurveyFile
    from corrosion.photo.picture import UInt8Array
    from corrosion.results import Assessment
    from corrosion.worklist import Card

INCOMPLETE = 3
DECIDE_FORMAT = "corrosion-decide"


class PlotOf(StrEnum):
    """What the plot shows."""

    MONEY = "money"
    DAYS = "days"
    DRIVERS = "drivers"
    BREAK_EVEN = "break-even"


def register(app: typer.Typer, epilog: str) -> None:
    """Add the command to the command line."""
    app.command(epilog=epilog)(decide)


def decide(
    survey: Annotated[
        Path,
        typer.Argument(
            metavar="SURVEY", help="Survey file (JSON); its photos lie beside it.", show_default=False
        ),
    ],
    json_to: Annotated[
        str | None,
        typer.Option(
            "--json",
            metavar="PATH",
            help="Also write plan, disposition, unseen area, decision and cards as JSON; '-' writes it to "
            "standard output and the tables to standard error.",
        ),
    ] = None,
    plot_to: Annotated[
        Path | None,
        typer.Option("--plot", metavar="OUT.svg|.png", help="Also draw the decision; --of chooses what."),
    ] = None,
    of: Annotated[PlotOf, typer.Option("--of", help="What the plot shows.")] = PlotOf.MONEY,
    cards_to: Annotated[
        Path | None, typer.Option("--worklist", metavar="OUT.pdf", help="Also print the bench cards.")
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper of the bench cards.")] = Paper.A4,
    strict: Annotated[
        bool,
        typer.Option("--strict", help="Exit with 3 if a photo, mark or candidate could not be used."),
    ] = False,
) -> None:
    """Plan the blends, say what is to be done with every finding, and compare repair with replacement."""
    from corrosion.disposition import dispose
    from corrosion.model import load_survey
    from corrosion.worklist import build_cards

    document = load_survey(survey)
    inputs = [survey, *(survey.parent / photo.file for photo in document.photos)]
    if json_to is not None and json_to != STANDARD_OUTPUT:
        check_output(Path(json_to), inputs=inputs)
    for path, endings in ((plot_to, (".svg", ".png")), (cards_to, (".pdf",))):
        if path is not None:
            check_output(path, inputs=inputs, endings=endings)
    assessment = _assessed(survey, document)
    try:
        members = dispose(assessment)
        cards = build_cards(assessment, members)
    except CorrosionError as error:
        raise error.at(str(survey)) from error
    result, missing = _decided(assessment, survey)
    problems = [*assessment.problems, *missing]
    whole = _show(assessment, members, result, cards, problems, to_stderr=json_to == STANDARD_OUTPUT)
    if plot_to is not None:
        _plot(result, plot_to, of)
    if cards_to is not None:
        _print(assessment, members, cards, survey.parent, cards_to, paper)
    if json_to is not None:
        write_json(json_to, whole)
    if strict and problems:
        raise typer.Exit(INCOMPLETE)


def _assessed(path: Path, survey: SurveyFile) -> Assessment:
    from corrosion.intake import photo_sizes
    from corrosion.survey import assess

    with progress() as report:
        survey, missed = found_references(survey, path, report)
        sizes, problems = photo_sizes(survey, path.parent, progress=report)
        try:
            assessment = assess(survey, sizes=sizes, progress=report)
        except CorrosionError as error:
            raise error.at(str(path)) from error
    return replace(assessment, problems=[*problems, *missed, *assessment.problems])


def _decided(assessment: Assessment, path: Path) -> tuple[DecisionResult | None, list[str]]:
    """Decide, with the surveys of the candidates, whose files are named relative to the survey's."""
    from corrosion.decision import decide as compare
    from corrosion.model import load_survey

    decision = assessment.survey.decision
    if decision is None:
        return None, []
    surveyed: dict[str, Assessment] = {}
    problems = []
    for candidate in decision.candidates:
        if candidate.survey is None:
            continue
        file = path.parent / candidate.survey
        try:
            surveyed[candidate.id] = _assessed(file, load_survey(file))
        except CorrosionError as error:
            problems.append(f"candidate {candidate.id}: its survey cannot be used: {error}")
            continue
        problems += [f"candidate {candidate.id}: {words}" for words in surveyed[candidate.id].problems]
    return compare(decision, assessment, surveyed), problems


def _show(
    assessment: Assessment,
    members: list[MemberDisposition],
    result: DecisionResult | None,
    cards: list[Card],
    problems: list[str],
    *,
    to_stderr: bool,
) -> dict[str, Any]:
    """Print the tables and return all of it as JSON."""
    from corrosion.decision import unseen_depths
    from corrosion.repair import LABEL, planned_reinforcements
    from corrosion.report import planning_json, planning_tables, tables
    from corrosion.report.decision import decision_json
    from corrosion.report.reinforcement import reinforcement_line, reinforcements_json
    from corrosion.worklist import worklist_json

    survey = assessment.survey
    unit = survey.display_units or survey.units
    hidden = survey.decision.hidden if survey.decision else None
    reinforced = planned_reinforcements(survey)
    lines = [reinforcement_line(one, unit) for one in reinforced]
    faces = [one for m in assessment.members for one in unseen_depths(assessment, m, hidden)]
    show(
        make_console(stderr=to_stderr),
        planning_tables.plan_table(members, unit),
        planning_tables.disposition_table(members),
        "\n".join([f"Reinforcements ({LABEL})", *lines]) if lines else None,
        planning_tables.unseen_table(faces, unit),
        "The survey states no decision between repair and replacement."
        if result is None
        else planning_tables.decision_table(result),
        tables.problems_list(problems),
        planning_json.PLAN_CAUTION,
    )
    return {
        "format": DECIDE_FORMAT,
        "version": planning_json.FORM_VERSION,
        "plan": planning_json.plan_json(members, unit),
        "disposition": planning_json.disposition_json(members, unit),
        "reinforcements": reinforcements_json(reinforced, unit)["reinforcements"],
        "unseen": planning_json.unseen_faces_json(faces, unit),
        "decision": None if result is None else decision_json(result),
        "worklist": worklist_json(cards, unit),
        "problems": problems,
    }


def _plot(result: DecisionResult | None, path: Path, of: PlotOf) -> None:
    from corrosion.report.decision_plots import draw_decision

    drawn = False

    def write(unfinished: Path) -> None:
        nonlocal drawn
        kind: Literal["svg", "png"] = "png" if path.suffix.lower() == ".png" else "svg"
        drawn = result is not None and draw_decision(result, unfinished, of.value, kind=kind)
        if not drawn:
            raise OutputError(
                f"the plot of {of} has nothing to show: it is not determined.",
                place=str(path),
                remedy="The table says what is missing; state it in the survey's decision.",
            )

    write_whole(path, write)


def _print(
    assessment: Assessment,
    members: list[MemberDisposition],
    cards: list[Card],
    folder: Path,
    path: Path,
    paper: Paper,
) -> None:
    from corrosion.intake import photo_path
    from corrosion.photo import load_picture
    from corrosion.worklist.pdf import worklist_pdf

    photos = {photo.id: photo for photo in assessment.survey.photos}

    def pixels(photo: str) -> UInt8Array | None:
        try:
            return load_picture(photo_path(photos[photo], folder), name=photo).pixels
        except CorrosionError:
            # The table of problems has told of it; a card without its photo is still a card.
            return None

    today = dt.datetime.now(dt.UTC).date()
    pages = worklist_pdf(assessment, members, cards, paper=paper.value, pictures=pixels, made=today)

    def write(unfinished: Path) -> None:
        unfinished.write_bytes(pages)

    write_whole(path, write)
