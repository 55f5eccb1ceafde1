"""The work list: bench cards, their PDF, and the log of what was done on them."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime, Field, StringConstraints

from api import wire
from api.context import ContextDep, etag
from api.downloads import not_modified
from api.routes import problems
from api.routes.planning import answers, computed_headers
from api.schemas import EXAMPLE_ID, RemovalRecord, Wire
from api.worklist import Tick

router = APIRouter(tags=["planning"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
CardId = Annotated[str, Path(description="Id of the card on the work list.", examples=["SK1-7f3a90c2"])]
EXAMPLE_CARD: dict[str, Any] = {
    "id": "SK1-7f3a90c2",
    "number": 1,
    "kind": "blend",
    "target": {"words": {"target": "0.083 mm", "stop": "0.084 mm"}},
    "steps": [{"name": "blended", "text": "Blend to 0.083 mm below the original surface."}],
    "ticks": [],
}
EXAMPLE_TICK = {
    "who": "Inspector A",
    "what": "re-measured",
    "when": "2031-04-23T14:05:00+02:00",
    "note": "0.081 mm, DG-2",
}
Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]


class TickIn(Wire):
    """A line for a card's log."""

    who: Annotated[Words, Field(description="Who did it.")]
    what: Annotated[Words, Field(description="A step of the card, or `stopped`, or `note`.")]
    when: Annotated[AwareDatetime | None, Field(description="When, with its zone; now if unset.")] = None
    note: Annotated[str, Field(max_length=1000)] = ""


class TickRecord(Wire):
    """A line of a card's log. Lines are added, never changed or taken away."""

    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    card: str
    fingerprint: Annotated[str, Field(description="Of what the card asked for when it was logged.")]
    logged: Annotated[dt.datetime, Field(description="When the line came in, UTC.")]
    current: Annotated[bool, Field(description="Whether the card still asks for the same.")]
    who: str
    what: str
    when: dt.datetime
    note: str


@router.get(
    "/surveys/{survey_id}/worklist",
    summary="List the bench cards",
    response_class=JSONResponse,
    responses=answers("The cards, in the order of work.", {"cards": [EXAMPLE_CARD]}, 404, 422),
)
def worklist(survey_id: SurveyId, request: Request, context: ContextDep) -> Response:
    """List bench cards in the order of work, each with its log.

    What may be begun stands first: `blend`, `fair out`, `measure first`, `treat and protect`; what must
    not be blended is on cards to `hold`, without any step that takes metal off. `words` under `target`
    are rounded so that nobody grinds deeper than computed. A planning aid: approved data govern.
    """
    headers = computed_headers(context, survey_id, context.worklists.log_state(survey_id))
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    return JSONResponse(context.worklists.listing(survey_id), headers=headers)


@router.get(
    "/surveys/{survey_id}/worklist.pdf",
    summary="Print the bench cards",
    response_class=Response,
    responses=problems(404, 422) | {200: {"description": "The pages.", "content": {"application/pdf": {}}}},
)
def worklist_pdf(
    survey_id: SurveyId,
    request: Request,
    context: ContextDep,
    paper: Annotated[Literal["a4", "letter"], Query(description="Size of the paper.")] = "a4",
) -> Response:
    """Print the work list as PDF/A-2a: cautions, one card on each half page, and what is held."""
    today = dt.datetime.now(dt.UTC).date()
    headers = computed_headers(context, survey_id, paper, today)
    if not_modified(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    headers["Content-Disposition"] = 'inline; filename="worklist.pdf"'
    pages = context.worklists.pdf(survey_id, paper, today)
    return Response(pages, media_type="application/pdf", headers=headers)


@router.post(
    "/surveys/{survey_id}/worklist/{card}/ticks",
    status_code=201,
    summary="Log what was done on a card",
    responses=problems(400, 403, 404, 413, 422),
)
def add_tick(
    survey_id: SurveyId,
    card: CardId,
    body: Annotated[TickIn, Body(examples=[EXAMPLE_TICK])],
    context: ContextDep,
) -> TickRecord:
    """Log who did what, and when. The log only grows; a wrong line is set right by a `note`.

    A depth read at the bench does not go in here: it goes in as a blend-out mark or a removal, so that the
    sum counts it.
    """
    tick = Tick(body.who, body.what, body.when, body.note)
    return TickRecord.model_validate(context.worklists.tick(survey_id, card, tick))


@router.post(
    "/surveys/{survey_id}/worklist/{card}/keep",
    status_code=201,
    summary="Keep a card's plan",
    responses=problems(400, 403, 404, 409, 413, 422),
)
def keep_plan(survey_id: SurveyId, card: CardId, response: Response, context: ContextDep) -> RemovalRecord:
    """Keep a card's planned removal in the survey when work on it begins.

    Planned removals count in no sum. Once the blend-out is entered the card shows the difference between
    plan and actual.
    """
    row = context.worklists.keep(survey_id, card, context.services)
    etag(response, row.version)
    response.headers["Location"] = f"/api/removals/{row.id}"
    return wire.removal_record(row)
