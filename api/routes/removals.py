"""Removals: metal known to be gone, or planned to go."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Path, Response

from api import wire
from api.context import ContextDep, ExpectedVersion, etag
from api.routes import EDIT_PART, WITHDRAW, Reason, problems
from api.schemas import EXAMPLE_REMOVAL, RemovalRecord
from api.tables import RemovalRow
from corrosion.model import Removal

router = APIRouter(tags=["removals"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
RemovalId = Annotated[str, Path(description="Identifier of the removal entry in the service.")]
RemovalBody = Annotated[Removal, Body(examples=[EXAMPLE_REMOVAL])]


@router.get("/surveys/{survey_id}/removals", summary="List removals", responses=problems(404))
def list_removals(survey_id: SurveyId, context: ContextDep) -> list[RemovalRecord]:
    """List the survey's removals in the order of its file. Lengths are in the survey's unit."""
    return [wire.removal_record(row) for row in context.services.entries(RemovalRow, survey_id)]


@router.post(
    "/surveys/{survey_id}/removals",
    status_code=201,
    summary="Add a removal",
    responses=problems(400, 403, 404, 409, 413, 422),
)
def add_removal(
    survey_id: SurveyId, body: RemovalBody, response: Response, context: ContextDep
) -> RemovalRecord:
    """Add a removal entry; its id must be new in the survey and its member must exist."""
    row = context.services.add_entry(RemovalRow, survey_id, body)
    etag(response, row.version)
    response.headers["Location"] = f"/api/removals/{row.id}"
    return wire.removal_record(row)


@router.get("/removals/{removal_id}", summary="Read a removal", responses=problems(404, 410))
def read_removal(removal_id: RemovalId, response: Response, context: ContextDep) -> RemovalRecord:
    """Read a removal entry and its ETag."""
    row = context.services.entry(RemovalRow, removal_id)
    etag(response, row.version)
    return wire.removal_record(row)


@router.put("/removals/{removal_id}", summary="Edit a removal", responses=problems(*EDIT_PART))
def edit_removal(
    removal_id: RemovalId,
    body: RemovalBody,
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> RemovalRecord:
    """Replace a removal entry; its id stays."""
    row = context.services.edit_entry(RemovalRow, removal_id, expected, body)
    etag(response, row.version)
    return wire.removal_record(row)


@router.delete(
    "/removals/{removal_id}", status_code=204, summary="Withdraw a removal", responses=problems(*WITHDRAW)
)
def withdraw_removal(
    removal_id: RemovalId, context: ContextDep, expected: ExpectedVersion, reason: Reason = ""
) -> None:
    """Take back a removal entry that was entered wrongly.

    It leaves lists, assessment and export, and its id is free for a new one. Nothing is deleted: the
    survey's list of what was withdrawn keeps it with time and reason.
    """
    context.services.withdraw(RemovalRow, removal_id, expected, reason)
