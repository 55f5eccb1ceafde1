"""Pages of structures: what is open, a new structure, one structure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from api.context import Context, ContextDep
from api.pages.drawing import Drawing, draw
from api.pages.layout_file import COLUMNS, EXAMPLE, Units, read_layout
from api.pages.templating import display_of, render
from api.sealing.waiting import waiting_for
from api.services import Page, SurveyView
from api.tables import StructureRow
from corrosion.model import Limit, Member, Structure

router = APIRouter()
EVERYTHING = Page(limit=1000)


@dataclass(frozen=True)
class MemberView:
    """One member as the structure's page shows it."""

    member: Member
    drawing: Drawing
    limit: str


@router.get("/")
def start(request: Request, context: ContextDep) -> Response:
    """Show what is open: structures and their surveys."""
    surveys: dict[str, list[dict[str, Any]]] = {}
    listed = context.services.surveys(EVERYTHING, None)
    hands = _hands(context, listed)
    for view, photos, waiting in listed:
        surveys.setdefault(view.structure.id, []).append(
            {
                "id": view.row.id,
                "name": view.row.name,
                "date": view.row.document["survey"].get("date"),
                "photos": photos,
                "waiting": waiting,
                "sealed": view.seal is not None,
                "hand": hands.get(view.row.id, ""),
            }
        )
    structures = [
        {"id": row.id, "name": row.name, "zone": row.document.get("zone"), "units": row.units}
        | {"members": len(row.document["members"]), "surveys": surveys.get(row.id, [])}
        for row, _ in context.services.structures(EVERYTHING)
    ]
    return render(request, "start.html", structures=structures)


@router.get("/structures/new")
def new_structure(request: Request) -> Response:
    """Show the form for a new structure."""
    return render(request, "structure_new.html", columns=COLUMNS, row=None)


@router.get("/structures/{structure_id}/edit")
def correct_structure(request: Request, structure_id: str, context: ContextDep) -> Response:
    """Show the same form for a structure that is stored, to correct it."""
    row = context.services.structure(structure_id)
    return render(request, "structure_new.html", columns=COLUMNS, row=row)


@router.get("/structures/layout-example.csv")
def layout_example() -> Response:
    """Give a layout file to start from."""
    headers = {"Content-Disposition": 'attachment; filename="layout-example.csv"'}
    return Response(EXAMPLE, media_type="text/csv; charset=utf-8", headers=headers)


@router.post("/structures/layout")
async def read_layout_file(
    request: Request,
    name: Annotated[str, Query(max_length=200)] = "layout",
    units: Annotated[Units, Query()] = "mm",
) -> dict[str, Any]:
    """Read a layout file (the request's body) and give it back as a structure; nothing is stored."""
    body = await request.body()
    structure, stated = await run_in_threadpool(read_layout, body, name=name, units=units)
    return {
        "units": stated,
        "structure": structure.model_dump(mode="json"),
        "drawings": [draw(member, stated).__dict__ for member in structure.members],
    }


@router.get("/structures/{structure_id}")
def one_structure(request: Request, structure_id: str, context: ContextDep) -> Response:
    """Show a structure: its members, its surveys, and how to start one."""
    row = context.services.structure(structure_id)
    listed = context.services.surveys(EVERYTHING, structure_id)
    hands = _hands(context, listed)
    surveys = [
        {"id": view.row.id, "name": view.row.name, "date": view.row.document["survey"].get("date")}
        | {"inspector": view.row.document["survey"].get("inspector"), "photos": photos, "waiting": waiting}
        | {"sealed": view.seal is not None, "hand": hands.get(view.row.id, "")}
        for view, photos, waiting in listed
    ]
    return render(
        request,
        "structure.html",
        display=display_of(request, "in" if row.units == "in" else "mm"),
        row=row,
        structure=Structure.model_validate(row.document),
        members=_members(row),
        surveys=surveys,
    )


def _hands(context: Context, listed: list[tuple[SurveyView, int, int]]) -> dict[str, str]:
    """Say of the open surveys of a list whom each waits for."""
    return waiting_for(context.database, [view.row.id for view, *_ in listed if view.seal is None])


def _members(row: StructureRow) -> list[MemberView]:
    structure = Structure.model_validate(row.document)
    return [
        MemberView(member, draw(member, row.units), limit_words(member.limit, row.units))
        for member in structure.members
    ]


def limit_words(limit: Limit | None, units: str) -> str:
    """Write a limit with its source; no limit is said, never guessed."""
    if limit is None:
        return "not set: nothing on this member can be judged"
    most = (
        f"{limit.depth:g} {units}"
        if limit.depth is not None
        else f"{100 * (limit.fraction or 0):g} % of thickness"
    )
    return f"{most} ({limit.source})"
