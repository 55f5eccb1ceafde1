"""Structures: the layout that surveys are made on."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api import wire
from api.context import ContextDep, ExpectedVersion, PageDep, etag
from api.downloads import not_modified
from api.routes import EDIT, problems
from api.schemas import StructureIn, StructureRecord, StructureSummary

router = APIRouter(prefix="/structures", tags=["structures"])
StructureId = Annotated[str, Path(description="Identifier of the structure.")]


@router.get("", summary="List structures", responses=problems(422))
def list_structures(context: ContextDep, page: PageDep) -> list[StructureSummary]:
    """List structures, newest first."""
    return [wire.structure_summary(row, surveys) for row, surveys in context.services.structures(page)]


@router.post("", status_code=201, summary="Enter a structure", responses=problems(400, 403, 413, 422))
def add_structure(body: StructureIn, response: Response, context: ContextDep) -> StructureRecord:
    """Enter a structure with its members, limits and stations; lengths in `units`."""
    row = context.services.add_structure(body.structure, body.units)
    etag(response, row.version)
    response.headers["Location"] = f"/api/structures/{row.id}"
    return wire.structure_record(row)


@router.get(
    "/{structure_id}", summary="Read a structure", response_model=StructureRecord, responses=problems(404)
)
def read_structure(
    structure_id: StructureId, request: Request, response: Response, context: ContextDep
) -> StructureRecord | Response:
    """Read a structure and its ETag."""
    row = context.services.structure(structure_id)
    etag(response, row.version)
    if not_modified(request, f'"{row.version}"'):
        return Response(status_code=304, headers=dict(response.headers))
    return wire.structure_record(row)


@router.put("/{structure_id}", summary="Edit a structure", responses=problems(*EDIT))
def edit_structure(
    structure_id: StructureId,
    body: StructureIn,
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> StructureRecord:
    """Replace a structure. The unit stays, and so does every member that its surveys name."""
    row = context.services.edit_structure(structure_id, expected, body.structure, body.units)
    etag(response, row.version)
    return wire.structure_record(row)
