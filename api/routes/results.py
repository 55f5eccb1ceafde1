"""Results: measures, the assessment, the ledger of a spot, maps."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from api.context import ContextDep
from api.downloads import not_modified
from api.exchange import State
from api.results import Place
from api.routes import Responses, problems
from corrosion.model.base import PlainLength
from corrosion.terms import Face

router = APIRouter(tags=["results"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
MemberQuery = Annotated[str, Query(description="Id of the member.", examples=["SK1"])]
REVALIDATED = "private, no-cache"

# Matplotlib's drawings style their own elements; they hold no script and load nothing.
SVG_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
MEASURED = {
    "value": 0.31,
    "u": 0.0112,
    "U": 0.0224,
    "unit": "mm",
    "flags": [],
    "budget": {"reading": 0.01, "instrument DG-2": 0.005},
    "display": "0.310 ± 0.022 mm",
}


def _answers(description: str, example: dict[str, Any], *statuses: int) -> Responses:
    content = {"application/json": {"schema": {"type": "object"}, "example": example}}
    return problems(*statuses) | {200: {"description": description, "content": content}}


def _state_tag(state: State) -> str:
    return '"' + "-".join(str(part) for part in state) + '"'


@router.get(
    "/photos/{photo_id}/measures",
    summary="Measure a photo",
    response_class=JSONResponse,
    responses=_answers(
        "Measures of every mark.", {"photos": [{"marks": [{"depth": MEASURED}]}]}, 404, 410, 422
    ),
)
def measures(
    photo_id: Annotated[str, Path(description="Identifier of the photo.")], context: ContextDep
) -> Response:
    """Measure one photo's marks: every value with its uncertainty, budget and flags.

    Values are in mm and mm2; `display` is the text for people in the survey's display unit. A mark that
    cannot be measured says why in `problem`.
    """
    return JSONResponse(context.results.measures(photo_id), headers={"Cache-Control": REVALIDATED})


@router.get(
    "/surveys/{survey_id}/assessment",
    summary="Assess a survey",
    response_class=JSONResponse,
    responses=_answers("The assessment.", {"verdict": "not determined", "members": []}, 404, 422),
)
def assessment(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """Measure every photo, place it, and sum what was removed against the limits.

    Verdicts are `within`, `too close to call`, `over` or `not determined`; what could not be measured,
    placed or judged is in `problems`. Values are in mm; `display` texts in the survey's display unit.
    """
    headers = {"ETag": _state_tag(context.exchange.state(survey_id)), "Cache-Control": REVALIDATED}
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    return JSONResponse(context.results.assessment(survey_id), headers=headers)


@router.get(
    "/surveys/{survey_id}/spot",
    summary="Read the ledger of a spot",
    response_class=JSONResponse,
    responses=_answers("The sum there and its entries.", {"spot": {"removed": MEASURED}}, 404, 422),
)
def spot(
    survey_id: SurveyId,
    context: ContextDep,
    member: MemberQuery,
    station: Annotated[
        str,
        Query(
            description="Station in the survey's unit, with its plug suffix if it has one.",
            examples=["340B+10.25"],
            max_length=80,
        ),
    ],
    offset: Annotated[PlainLength, Query(description="Offset in the survey's unit.")],
) -> Response:
    """Return what is gone at one place, its limit, margin and verdict, and which entries add up there."""
    found = context.results.spot(survey_id, Place(member, station, offset))
    return JSONResponse(found, headers={"Cache-Control": REVALIDATED})


@router.get(
    "/surveys/{survey_id}/map.{kind}",
    summary="Draw the removal map of a member",
    response_class=Response,
    responses=problems(404, 422)
    | {200: {"description": "The map.", "content": {"image/png": {}, "image/svg+xml": {}}}},
)
def draw(
    survey_id: SurveyId,
    kind: Annotated[Literal["png", "svg"], Path(description="Format of the picture.")],
    request: Request,
    context: ContextDep,
    member: MemberQuery,
    face: Annotated[Face | None, Query(description="One face's own removal; the sum if unset.")] = None,
    mode: Annotated[
        Literal["share", "margin"],
        Query(description="share: removed as a share of the limit; margin: how much may still come off."),
    ] = "share",
) -> Response:
    """Draw a member's layout with what was removed, what is left to give and what was not seen."""
    tag = _state_tag(context.exchange.state(survey_id))
    headers = {"ETag": tag, "Cache-Control": REVALIDATED}
    if not_modified(request, tag):
        return Response(status_code=304, headers=headers)
    drawn = context.results.map(survey_id, member, face, kind, mode)
    if kind == "svg":
        headers["Content-Security-Policy"] = SVG_POLICY
    media_type = "image/png" if kind == "png" else "image/svg+xml"
    return Response(drawn, media_type=media_type, headers=headers)
