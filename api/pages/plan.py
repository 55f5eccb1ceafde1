"""The blend plan page: what it rests on, every blend before any metal is touched, and where it lies."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from api.context import Context, ContextDep
from api.pages.plan_rows import (
    ACTION_CLASS,
    ACTION_SYMBOL,
    CONFLICT_WORDS,
    drawn_plan,
    member_rows,
    summary,
)
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.pages.trial import NOTHING, Trial, plans_with
from api.planning import Plans
from api.services import SurveyView
from corrosion.blend import ratio_words
from corrosion.errors import CorrosionError
from corrosion.model import Structure
from corrosion.model.planning import Planning
from corrosion.repair import LABEL, TABLES, planned_reinforcements
from corrosion.terms import SpliceFastener, SpliceJoint

router = APIRouter()


@router.get("/surveys/{survey_id}/plan")
def plan_page(request: Request, survey_id: str, context: ContextDep, wait: int = 0) -> Response:
    """Show the plan with what it rests on; the blends follow later (`wait`: with them)."""
    view = context.services.survey(survey_id)
    ready = bool(wait) or context.results.is_ready(survey_id)
    return render(
        request,
        "plan.html",
        **survey_frame(request, view),
        **settings_data(context, view),
        ready=ready,
        **(_table(request, context, view) if ready else {}),
    )


@router.get("/surveys/{survey_id}/plan/table")
def plan_table(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the part of the page that needs the sums."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _table(request, context, view)
    return render(request, "plan_table.html", **parts)


@router.post("/surveys/{survey_id}/plan/try")
def plan_try(request: Request, survey_id: str, body: Trial, context: ContextDep) -> Response:
    """Give the same part with values that are not kept; nothing is stored."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | table_of(plans_with(request, context, view, body))
    return render(request, "plan_table.html", **parts)


def settings_data(context: Context, view: SurveyView) -> dict[str, Any]:
    """Return what the form of a plan's settings needs."""
    structure = Structure.model_validate(view.structure.document)
    return {
        "members": structure.members,
        "has_fasteners": any(one.fasteners for one in structure.members),
        "has_stations": any(one.stations for one in structure.members),
        "fasteners": [str(one) for one in SpliceFastener],
        "joints": [str(one) for one in SpliceJoint],
        "splice_tables": [one.number for one in TABLES],
        "planned_before": context.planner.choice(view.row.id, "planning").version > 0,
    }


def _table(request: Request, context: Context, view: SurveyView) -> dict[str, Any]:
    try:
        return table_of(plans_with(request, context, view, NOTHING))
    except CorrosionError as error:
        return {"problem": str(error), "rows": [], "planning": Planning()}


def table_of(plans: Plans) -> dict[str, Any]:
    """Return what the table of blends shows."""
    rows = member_rows(plans)
    planning = plans.assessment.survey.planning
    cautions = {caution.id: caution for one in rows for caution in one.disposition.cautions}
    return {
        "problem": "",
        "planning": planning,
        "ratio": ratio_words(planning.run_out.ratio) if planning.run_out else "",
        "rows": rows,
        "summary": summary(rows),
        "reinforcements": planned_reinforcements(plans.assessment.survey),
        "estimate_label": LABEL,
        "cautions": list(cautions.values()),
        "drawn": {one.member.id: drawn_plan(one) for one in rows},
        "conflict_words": CONFLICT_WORDS,
        "action_class": ACTION_CLASS,
        "action_symbol": ACTION_SYMBOL,
    }
