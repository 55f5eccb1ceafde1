"""Surveys: their heads, their files, their import."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from api import wire
from api.context import ContextDep, ExpectedVersion, PageDep, etag
from api.downloads import attachment, not_modified
from api.receive import import_survey
from api.routes import EDIT, problems
from api.schemas import (
    EXAMPLE_SURVEY_FILE,
    ImportReport,
    SurveyHead,
    SurveyIn,
    SurveyRecord,
    SurveySummary,
    WithdrawnRecord,
)

router = APIRouter(prefix="/surveys", tags=["surveys"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
IMPORT_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"type": "object", "description": "A survey file; see GET /api/schema."},
                "example": EXAMPLE_SURVEY_FILE,
            },
            "multipart/form-data": {
                "example": {"survey": "survey.json", "files": ["f1.jpg", "f2.jpg"]},
                "schema": {
                    "type": "object",
                    "required": ["survey"],
                    "properties": {
                        "survey": {"type": "string", "format": "binary", "description": "survey.json"},
                        "files": {
                            "type": "array",
                            "items": {"type": "string", "format": "binary"},
                            "description": "Pictures, after the survey file; the rest can follow later.",
                        },
                    },
                },
            },
        },
    }
}


@router.get("", summary="List surveys", responses=problems(422))
def list_surveys(
    context: ContextDep,
    page: PageDep,
    structure_id: Annotated[str | None, Query(description="Only surveys of this structure.")] = None,
) -> list[SurveySummary]:
    """List surveys, newest first, with how many of their pictures are still waited for."""
    found = context.services.surveys(page, structure_id)
    return [wire.survey_summary(view, photos, waiting) for view, photos, waiting in found]


@router.post("", status_code=201, summary="Open a survey", responses=problems(400, 403, 413, 422))
def add_survey(body: SurveyIn, response: Response, context: ContextDep) -> SurveyRecord:
    """Open a survey on a structure. Its lengths are in the structure's unit."""
    head = body.model_dump(mode="json", exclude={"structure_id"})
    view = context.services.add_survey(body.structure_id, head, body.survey.name)
    etag(response, view.row.version)
    response.headers["Location"] = f"/api/surveys/{view.row.id}"
    return wire.survey_record(view)


@router.post(
    "/import",
    status_code=201,
    summary="Import a survey file",
    responses=problems(400, 403, 404, 409, 413, 422, 503),
    openapi_extra=IMPORT_BODY,
)
async def import_file(
    request: Request,
    response: Response,
    context: ContextDep,
    structure_id: Annotated[
        str | None, Query(description="Structure it belongs to; must equal the file's. New one if unset.")
    ] = None,
) -> ImportReport:
    """Import a survey file, alone as JSON or as a form with its pictures.

    The survey is stored as a whole or not at all. In a form the part `survey` comes first. Each picture
    is matched to its photo by SHA-256, else by file name; pictures that were not sent can be uploaded to
    the survey's photos later and are matched the same way.
    """
    view, files = await import_survey(request, context, structure_id)
    etag(response, view.row.version)
    response.headers["Location"] = f"/api/surveys/{view.row.id}"
    return ImportReport(
        survey=wire.survey_record(view),
        files=[wire.file_result(taken) for taken in files],
        waiting=context.exchange.waiting(view.row.id),
    )


@router.get("/{survey_id}", summary="Read a survey", response_model=SurveyRecord, responses=problems(404))
def read_survey(
    survey_id: SurveyId, request: Request, response: Response, context: ContextDep
) -> SurveyRecord | Response:
    """Read a survey's head and its ETag."""
    view = context.services.survey(survey_id)
    etag(response, view.row.version)
    if not_modified(request, f'"{view.row.version}"'):
        return Response(status_code=304, headers=dict(response.headers))
    return wire.survey_record(view)


@router.put("/{survey_id}", summary="Edit a survey", responses=problems(*EDIT))
def edit_survey(
    survey_id: SurveyId,
    body: SurveyHead,
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> SurveyRecord:
    """Replace a survey's head: who, when, settings, instruments, lens profiles, display unit."""
    head = body.model_dump(mode="json")
    view = context.services.edit_survey(survey_id, expected, head, body.survey.name)
    etag(response, view.row.version)
    return wire.survey_record(view)


@router.get("/{survey_id}/withdrawn", summary="List what was withdrawn", responses=problems(404))
def list_withdrawn(survey_id: SurveyId, context: ContextDep) -> list[WithdrawnRecord]:
    """List the photos, removals and readings that were taken back, the latest first, each as it was."""
    return [wire.withdrawn_record(row) for row in context.services.withdrawn(survey_id)]


@router.get(
    "/{survey_id}/file",
    summary="Export the survey file",
    response_class=Response,
    responses=problems(404)
    | {
        200: {"description": "survey.json", "content": {"application/json": {"schema": {"type": "object"}}}}
    },
)
def export_file(
    survey_id: SurveyId,
    context: ContextDep,
    hashes: Annotated[
        bool, Query(description="Also state hash and size of stored pictures where the photo does not.")
    ] = False,
) -> Response:
    """Export the survey as a file. What was imported comes out equal, in its own unit."""
    export = context.exchange.export(survey_id, with_hashes=hashes)
    file = export.file
    name = re.sub(r"\W+", "-", file.survey.name or file.structure.name).strip("-") or "survey"
    return Response(
        export.text,
        media_type="application/json",
        headers={"Content-Disposition": attachment(f"{name}.json"), "Cache-Control": "private, no-cache"},
    )
