"""What is planned and decided: planning, rules, blend plan, disposition, unseen area, decision."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import Field

from api.context import Context, ContextDep, ExpectedVersion, etag
from api.downloads import not_modified
from api.planning import Choice, PlanState
from api.routes import EDIT, Responses, problems
from api.routes.results import REVALIDATED, SVG_POLICY
from api.schemas import EXAMPLE_ID, Units, Wire
from corrosion.model.base import Identifier
from corrosion.model.decision import Decision
from corrosion.model.planning import Planning, RuleRow
from corrosion.repair import planned_reinforcements
from corrosion.report.decision import decision_json, decision_lines
from corrosion.report.planning_json import disposition_json, plan_json, unseen_faces_json
from corrosion.report.reinforcement import reinforcements_json
from corrosion.rules import chosen_rules, load_rule_set, rule_set_names

router = APIRouter(tags=["planning"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
RATIO_SOURCE = "AC 43.13-1B, para 6-115c"
EXAMPLE_RULE: dict[str, Any] = {
    "id": "skin-light",
    "label": "Skin, light",
    "applies_to": ["skin"],
    "when": [{"quantity": "depth_share", "op": "<", "value": 0.1}],
    "action": "blend",
    "words": "Blend it out.",
    "source": "Repair scheme RS-12",
    "edition": "Revision B",
    "paragraph": "4.1",
}
EXAMPLE_PLANNING: dict[str, Any] = {
    "allowance": {"depth": 0.03, "source": "Shop instruction SI-3"},
    "run_out": {"ratio": {"total": 20}, "source": RATIO_SOURCE},
    "edge_distance": {"distance": 6.0, "source": "Repair scheme RS-12, paragraph 4.3"},
    "rules": [EXAMPLE_RULE],
}
SPREAD = {"low": 4, "likely": 6, "high": 12}
EXAMPLE_DECISION: dict[str, Any] = {
    "rates": {"currency": "EUR", "hour": {"low": 80, "likely": 90, "high": 110}},
    "actions": [{"id": "blend", "name": "Blend and treat", "member": "SK1", "hours": SPREAD}],
    "hidden": {"hours": SPREAD},
    "candidates": [
        {
            "id": "second-hand",
            "kind": "second-hand",
            "price": {"low": 4000, "likely": 5000, "high": 7000},
            "survey": EXAMPLE_ID,
        }
    ],
}


class PlanningRecord(Wire):
    """A survey's planning as stored. Version 0: nothing was stated yet."""

    survey_id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: Annotated[int, Field(description="The ETag without its quotes.")]
    units: Units
    planning: Planning


class DecisionRecord(Wire):
    """A survey's decision as stored; null where nothing is to be decided. Version 0: never stated."""

    survey_id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: Annotated[int, Field(description="The ETag without its quotes.")]
    units: Units
    decision: Decision | None


class Rules(Wire):
    """Rules a survey works by: its own rows, or the name of an example set, or neither."""

    rules: Annotated[list[RuleRow], Field(default_factory=list)]
    rule_set: Identifier | None = None


class RulesRecord(Rules):
    """Rules as stored, the rows that are in force, and the example sets there are."""

    survey_id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: Annotated[int, Field(description="Of the planning they are part of.")]
    in_force: Annotated[list[RuleRow], Field(description="The survey's own rows or those of its set.")]
    title: Annotated[str, Field(description="What the rules in force are called.")]
    sets: Annotated[dict[str, str], Field(description="Example sets: name and title.")]


def answers(description: str, example: dict[str, Any], *statuses: int) -> Responses:
    """Return the OpenAPI entries of a route that answers with computed JSON."""
    content = {"application/json": {"schema": {"type": "object"}, "example": example}}
    return problems(*statuses) | {200: {"description": description, "content": content}}


def state_tag(states: tuple[PlanState, ...], *extra: object) -> str:
    """Write what results rest on as an ETag."""
    parts = [str(part) for own, *versions in states for part in (*own, *versions)]
    return '"' + "-".join([*parts, *map(str, extra)]) + '"'


def computed_headers(context: Context, survey_id: str, *extra: object) -> dict[str, str]:
    """Return the headers of a result: its ETag, and that clients ask again each time."""
    return {"ETag": state_tag(context.planner.state(survey_id), *extra), "Cache-Control": REVALIDATED}


@router.get("/surveys/{survey_id}/planning", summary="Read the planning", responses=problems(404))
def read_planning(survey_id: SurveyId, response: Response, context: ContextDep) -> PlanningRecord:
    """Read what plans rest on, each with its source: allowance, run-out ratio, distances, rules; its ETag.

    Lengths are in the survey's unit. Nothing has a default: what is not stated stays *not determined*.
    """
    return _planning(response, context.planner.choice(survey_id, "planning"))


@router.put("/surveys/{survey_id}/planning", summary="State the planning", responses=problems(*EDIT))
def edit_planning(
    survey_id: SurveyId,
    body: Annotated[Planning, Body(examples=[EXAMPLE_PLANNING])],
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> PlanningRecord:
    """Replace the planning. A figure or rule without a source is refused (422)."""
    return _planning(response, context.planner.choose(survey_id, "planning", expected, body))


@router.get("/surveys/{survey_id}/rules", summary="Read the rules", responses=problems(404))
def read_rules(survey_id: SurveyId, response: Response, context: ContextDep) -> RulesRecord:
    """Read the rules a survey works by, those of the example set it names, and which sets there are."""
    return _rules(response, context.planner.choice(survey_id, "planning"))


@router.put("/surveys/{survey_id}/rules", summary="State the rules", responses=problems(*EDIT))
def edit_rules(
    survey_id: SurveyId,
    body: Annotated[Rules, Body(examples=[{"rules": [EXAMPLE_RULE]}])],
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> RulesRecord:
    """Replace the rules alone; they are part of the planning and share its ETag.

    A rule without source, edition or paragraph is refused (422): a rule nobody vouches for is none.
    """
    if body.rule_set is not None:
        load_rule_set(body.rule_set)
    planner = context.planner
    stored = _planning_of(planner.choice(survey_id, "planning"))
    changed = stored.model_dump(mode="json") | body.model_dump(mode="json")
    planning = context.planner.checked(Planning, changed)
    return _rules(response, planner.choose(survey_id, "planning", expected, planning))


@router.get("/surveys/{survey_id}/decision", summary="Read the decision", responses=problems(404))
def read_decision(survey_id: SurveyId, response: Response, context: ContextDep) -> DecisionRecord:
    """Read what a decision between repair and replacement is made of, and its ETag."""
    return _decision(response, context.planner.choice(survey_id, "decision"))


@router.put("/surveys/{survey_id}/decision", summary="State the decision", responses=problems(*EDIT))
def edit_decision(
    survey_id: SurveyId,
    body: Annotated[Decision | None, Body(examples=[EXAMPLE_DECISION])],
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> DecisionRecord:
    """Replace actions, rates and candidates; null takes them away.

    A candidate that was surveyed with this service names its survey by identifier. All hours, prices and
    rates are the user's: the service has none of its own.
    """
    return _decision(response, context.planner.choose(survey_id, "decision", expected, body))


@router.get(
    "/surveys/{survey_id}/plan",
    summary="Plan the blends",
    response_class=JSONResponse,
    responses=answers("Blend plan of every member.", {"members": [{"blends": []}]}, 404, 422),
)
def plan(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """Plan a blend for every pit and cluster, before any metal is touched.

    Depth, footprint, run-out (total length to depth and on each side), conflicts, the sum after the blend
    with its verdict, the depth at which the bench must stop, and what blending a cluster separately would
    take off. What cannot be planned says why. Values in mm; `display` in the survey's display unit.
    """
    headers = computed_headers(context, survey_id)
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    plans = context.planner.plans(survey_id)
    return JSONResponse(plan_json(plans.dispositions, plans.unit), headers=headers)


@router.get(
    "/surveys/{survey_id}/disposition",
    summary="Say what is to be done",
    response_class=JSONResponse,
    responses=answers("Disposition of every finding and member.", {"members": []}, 404, 422),
)
def disposition(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """Say of every finding and member what is to be done, with the chain of reasons and the rule.

    Actions are `leave and protect`, `blend`, `reinforce`, `replace member`, `not determined`. A licensed
    person decides and signs.
    """
    headers = computed_headers(context, survey_id)
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    plans = context.planner.plans(survey_id)
    return JSONResponse(disposition_json(plans.dispositions, plans.unit), headers=headers)


@router.get(
    "/surveys/{survey_id}/reinforcements",
    summary="Estimate the reinforcements",
    response_class=JSONResponse,
    responses=answers(
        "Fasteners and sheet of each, by the published splice tables.", {"reinforcements": []}, 404, 422
    ),
)
def reinforcements(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """Estimate the reinforcements that the planning asks for: fasteners, rows, spacing, sheet.

    For hours and kits; not approved data. What no table covers is `null` with the reason.
    """
    headers = computed_headers(context, survey_id)
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    plans = context.planner.plans(survey_id)
    found = planned_reinforcements(plans.assessment.survey)
    return JSONResponse(reinforcements_json(found, plans.unit), headers=headers)


@router.get(
    "/surveys/{survey_id}/unseen",
    summary="Estimate what was not seen",
    response_class=JSONResponse,
    responses=answers("Deepest unseen pit of every face.", {"faces": [{"member": "SK1"}]}, 404, 422),
)
def unseen(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """Estimate the deepest pit in the unseen area of every face, or say why that is refused."""
    headers = computed_headers(context, survey_id)
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    plans = context.planner.plans(survey_id)
    return JSONResponse(unseen_faces_json(plans.unseen, plans.unit), headers=headers)


@router.get(
    "/surveys/{survey_id}/decision/result",
    summary="Compare repair and replacement",
    response_class=JSONResponse,
    responses=answers("The comparison.", {"options": [], "comparisons": [], "drivers": []}, 404, 422),
)
def decision_result(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """Compare the repair with every candidate: spread, probabilities, drivers, break-even price.

    `measurements` says what would be worth knowing better; `words` tells all of it in plain words. The
    same seed gives the same digits. 404 while the survey states no decision.
    """
    headers = computed_headers(context, survey_id)
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    result = context.planner.plans(survey_id).decision
    return JSONResponse(decision_json(result) | {"words": decision_lines(result)}, headers=headers)


@router.get(
    "/surveys/{survey_id}/decision/plot.svg",
    summary="Draw the decision",
    response_class=Response,
    responses=problems(404, 422) | {200: {"description": "The plot.", "content": {"image/svg+xml": {}}}},
)
def decision_plot(
    survey_id: SurveyId,
    request: Request,
    context: ContextDep,
    plot: Annotated[
        Literal["money", "days", "drivers", "break-even"],
        Query(description="Spread of money or days, what drives the difference, or the break-even price."),
    ] = "money",
) -> Response:
    """Draw one plot of the decision; 422 with the reason where it is not determined."""
    headers = computed_headers(context, survey_id) | {"Content-Security-Policy": SVG_POLICY}
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    drawn = context.planner.plot(survey_id, plot)
    return Response(drawn, media_type="image/svg+xml", headers=headers)


def _planning_of(choice: Choice) -> Planning:
    return Planning() if choice.document is None else Planning.model_validate(choice.document)


def _planning(response: Response, choice: Choice) -> PlanningRecord:
    etag(response, choice.version)
    return PlanningRecord.model_validate(
        {
            "survey_id": choice.survey_id,
            "version": choice.version,
            "units": choice.units,
            "planning": choice.document or {},
        }
    )


def _decision(response: Response, choice: Choice) -> DecisionRecord:
    etag(response, choice.version)
    return DecisionRecord.model_validate(
        {
            "survey_id": choice.survey_id,
            "version": choice.version,
            "units": choice.units,
            "decision": choice.document,
        }
    )


def _rules(response: Response, choice: Choice) -> RulesRecord:
    etag(response, choice.version)
    planning = _planning_of(choice)
    chosen = chosen_rules(planning)
    return RulesRecord(
        survey_id=choice.survey_id,
        version=choice.version,
        rules=planning.rules,
        rule_set=planning.rule_set,
        in_force=chosen.rows,
        title=chosen.name,
        sets={name: load_rule_set(name).title for name in rule_set_names()},
    )
