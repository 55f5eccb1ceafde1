"""Readings of remaining thickness."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Path, Response

from api import wire
from api.context import ContextDep, ExpectedVersion, etag
from api.routes import EDIT_PART, WITHDRAW, Reason, problems
from api.schemas import EXAMPLE_READING, ReadingRecord
from api.tables import ReadingRow
from corrosion.model import ThicknessReading

router = APIRouter(tags=["readings"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
ReadingId = Annotated[str, Path(description="Identifier of the thickness reading in the service.")]
ThicknessReadingBody = Annotated[ThicknessReading, Body(examples=[EXAMPLE_READING])]


@router.get("/surveys/{survey_id}/readings", summary="List readings", responses=problems(404))
def list_readings(survey_id: SurveyId, context: ContextDep) -> list[ReadingRecord]:
    """List the survey's readings in the order of its file. Lengths are in the survey's unit."""
    return [wire.reading_record(row) for row in context.services.entries(ReadingRow, survey_id)]


@router.post(
    "/surveys/{survey_id}/readings",
    status_code=201,
    summary="Add a reading",
    responses=problems(400, 403, 404, 409, 413, 422),
)
def add_reading(
    survey_id: SurveyId, body: ThicknessReadingBody, response: Response, context: ContextDep
) -> ReadingRecord:
    """Add a thickness reading; its id must be new in the survey and its member must exist."""
    row = context.services.add_entry(ReadingRow, survey_id, body)
    etag(response, row.version)
    response.headers["Location"] = f"/api/readings/{row.id}"
    return wire.reading_record(row)


@router.get("/readings/{reading_id}", summary="Read a reading", responses=problems(404, 410))
def read_reading(reading_id: ReadingId, response: Response, context: ContextDep) -> ReadingRecord:
    """Read a thickness reading and its ETag."""
    row = context.services.entry(ReadingRow, reading_id)
    etag(response, row.version)
    return wire.reading_record(row)


@router.put("/readings/{reading_id}", summary="Edit a reading", responses=problems(*EDIT_PART))
def edit_reading(
    reading_id: ReadingId,
    body: ThicknessReadingBody,
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> ReadingRecord:
    """Replace a thickness reading; its id stays."""
    row = context.services.edit_entry(ReadingRow, reading_id, expected, body)
    etag(response, row.version)
    return wire.reading_record(row)


@router.delete(
    "/readings/{reading_id}", status_code=204, summary="Withdraw a reading", responses=problems(*WITHDRAW)
)
def withdraw_reading(
    reading_id: ReadingId, context: ContextDep, expected: ExpectedVersion, reason: Reason = ""
) -> None:
    """Take back a thickness reading that was entered wrongly.

    It leaves lists, assessment and export, and its id is free for a new one. Nothing is deleted: the
    survey's list of what was withdrawn keeps it with time and reason.
    """
    context.services.withdraw(ReadingRow, reading_id, expected, reason)
