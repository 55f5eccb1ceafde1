"""Search over everything, saved searches, retention labels."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query, Response
from fastapi.responses import StreamingResponse
from pydantic import BeforeValidator

from api.context import ContextDep, ExpectedVersion, etag
from api.downloads import attachment
from api.routes import WITHDRAW, Reason, problems
from api.routes.surveys import SurveyId
from api.search.params import SearchParams
from api.search.retention import Day, MarkIn, RetentionLabel, checked_day
from api.search.saved import SavedSearchIn, params_of
from api.search.schemas import (
    DueList,
    IndexState,
    LabelRecord,
    MarkRecord,
    SavedSearchRecord,
    SearchPage,
    UnfinishedRecord,
    csv_lines,
    hit_record,
    label_record,
    mark_record,
    saved_record,
)
from api.search.tables import SavedSearchRow
from api.tables import now

router = APIRouter(tags=["search"])


class PageParams(SearchParams):
    """A search and which page of its result is wanted."""

    limit: Annotated[int, Query(ge=1, le=200, description="Most items of one page.")] = 50
    cursor: Annotated[
        str, Query(max_length=500, description="`next` of the page before, with the same search.")
    ] = ""


def address_of_search(params: SearchParams) -> str:
    """Return the page that shows a search's result."""
    return f"/search?{urlencode(params.pairs())}"


@router.get("/search", summary="Search", responses=problems(422))
def search(params: Annotated[PageParams, Query()], context: ContextDep) -> SearchPage:
    """Find structures, surveys, findings, photos, rework and people.

    What changed just now is indexed first, as far as a second allows; `indexing` says how many surveys
    are left. Any text is a search: nothing in it is an operator.
    """
    answer = context.search.find(params.query(), limit=params.limit, cursor=params.cursor)
    return SearchPage(
        items=[hit_record(hit, params.units) for hit in answer.found.hits],
        total=answer.found.total,
        total_is_exact=answer.found.exact,
        next=answer.found.next,
        units=params.units,
        indexing=answer.waiting,
    )


@router.get(
    "/search.csv",
    summary="Search, as CSV",
    response_class=StreamingResponse,
    responses=problems(422) | {200: {"description": "The whole result.", "content": {"text/csv": {}}}},
)
def search_csv(params: Annotated[SearchParams, Query()], context: ContextDep) -> Response:
    """Give a whole result as CSV, while it is being read; cells that look like formulas are made text."""
    context.search.catch_up()
    hits = context.search.finder.everything(params.query())
    headers = {"Content-Disposition": attachment("search.csv"), "Cache-Control": "private, no-cache"}
    return StreamingResponse(
        csv_lines(hits, params.units), media_type="text/csv; charset=utf-8", headers=headers
    )


@router.get("/search/state", summary="Read how far the index is")
def state(context: ContextDep) -> IndexState:
    """Count what is still to be indexed, and name the surveys that are indexed without findings."""
    unfinished = [
        UnfinishedRecord(survey_id=one.survey_id, survey=one.name, problem=one.problem)
        for one in context.search.indexer.unfinished()
    ]
    return IndexState(indexing=context.search.indexer.waiting(), unfinished=unfinished)


@router.get("/search/saved", summary="List saved searches")
def list_saved(context: ContextDep) -> list[SavedSearchRecord]:
    """List your own saved searches and those that others share."""
    return [_saved(row) for row in context.search.saved.mine()]


@router.post(
    "/search/saved", status_code=201, summary="Save a search", responses=problems(400, 403, 413, 422)
)
def save(body: SavedSearchIn, response: Response, context: ContextDep) -> SavedSearchRecord:
    """Keep a search under a name."""
    row = context.search.saved.add(body)
    etag(response, row.version)
    return _saved(row)


@router.delete(
    "/search/saved/{saved_id}",
    status_code=204,
    summary="Take a saved search off the list",
    responses=problems(400, 403, 404, 412, 422, 428),
)
def withdraw_saved(
    saved_id: Annotated[str, Path(description="Identifier of the saved search.")],
    context: ContextDep,
    expected: ExpectedVersion,
) -> None:
    """Take a saved search off the list: its owner may, a clerk may, an administrator may."""
    context.search.saved.withdraw(saved_id, expected)


def _saved(row: SavedSearchRow) -> SavedSearchRecord:
    return saved_record(row, address_of_search(params_of(row)))


@router.get("/retention/labels", summary="List retention labels")
def list_labels(context: ContextDep) -> list[LabelRecord]:
    """List the labels that can be set on surveys."""
    return [label_record(row) for row in context.search.retention.labels()]


@router.post(
    "/retention/labels",
    status_code=201,
    summary="Enter a retention label",
    responses=problems(400, 403, 413, 422),
)
def add_label(body: RetentionLabel, response: Response, context: ContextDep) -> LabelRecord:
    """Enter a label: how long to keep, and the document and paragraph that say so."""
    row = context.search.retention.add_label(body)
    etag(response, row.version)
    return label_record(row)


@router.delete(
    "/retention/labels/{label_id}",
    status_code=204,
    summary="Retire a retention label",
    responses=problems(400, 403, 404, 412, 422, 428),
)
def retire_label(
    label_id: Annotated[str, Path(description="Identifier of the label.")],
    context: ContextDep,
    expected: ExpectedVersion,
) -> None:
    """Take a label off the list of those that can be set; where it is set it stays."""
    context.search.retention.retire_label(label_id, expected)


@router.get("/retention/due", summary="List what is due for review", responses=problems(422))
def list_due(
    context: ContextDep,
    on: Annotated[
        Day | None, BeforeValidator(checked_day), Query(description="The day; today (UTC) if unset.")
    ] = None,
) -> DueList:
    """List the surveys whose retention has run out by a day. Nothing is deleted by that."""
    day = on or today()
    retention = context.search.retention
    return DueList(
        on=day,
        due=[mark_record(view) for view in retention.due(day)],
        later=[mark_record(view) for view in retention.coming(day)],
    )


@router.get(
    "/surveys/{survey_id}/retention", summary="List a survey's retention labels", responses=problems(404)
)
def list_marks(survey_id: SurveyId, context: ContextDep) -> list[MarkRecord]:
    """List the labels on a survey, lifted ones too."""
    return [mark_record(view) for view in context.search.retention.marks(survey_id)]


@router.post(
    "/surveys/{survey_id}/retention",
    status_code=201,
    summary="Set a retention label on a survey",
    responses=problems(400, 403, 404, 409, 413, 422),
)
def set_mark(survey_id: SurveyId, body: MarkIn, response: Response, context: ContextDep) -> MarkRecord:
    """Set a label on a survey; it changes nothing in the survey, so a sealed one may bear it too."""
    view = context.search.retention.mark(survey_id, body)
    etag(response, view.row.version)
    return mark_record(view)


@router.delete(
    "/retention/marks/{mark_id}",
    status_code=204,
    summary="Lift a retention label from a survey",
    responses=problems(*WITHDRAW),
)
def lift_mark(
    mark_id: Annotated[str, Path(description="Identifier of the label on the survey.")],
    context: ContextDep,
    expected: ExpectedVersion,
    reason: Reason,
) -> None:
    """Lift a label from a survey; that it was set stays on record, with the reason."""
    context.search.retention.lift(mark_id, expected, reason)


def today() -> str:
    """Return the day, UTC."""
    return now().date().isoformat()
