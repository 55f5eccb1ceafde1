"""Health, formats and the list of problems."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel

from api.context import ContextDep
from api.errors import KINDS, OTHER_KINDS, PROBLEM_BASE, NotFoundError
from api.routes import problems
from corrosion.model import survey_schema

router = APIRouter(tags=["system"])


class Health(BaseModel):
    """Whether the service can do its work."""

    status: str
    database: str


class ProblemKindRecord(BaseModel):
    """A kind of problem: its `type` as answered, its status and title."""

    type: str
    status: int
    title: str


@router.get("/health", summary="Ask whether the service works", responses=problems(503))
def health(context: ContextDep) -> Health:
    """Ask the database for an answer; 503 if there is none."""
    context.database.ping()
    return Health(status="ok", database="sqlite" if context.database.is_sqlite else "server")


@router.get("/schema", summary="Read the survey file's JSON Schema")
def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the survey file."""
    return survey_schema()


@router.get("/problems", summary="List the kinds of problem")
def list_problems() -> list[ProblemKindRecord]:
    """List every `type` that an error answer (RFC 9457) can have."""
    return _kinds()


@router.get("/problems/{slug}", summary="Read what a problem type means", responses=problems(404))
def read_problem(
    slug: Annotated[str, Path(description="Last step of a problem's `type`.", examples=["stale"])],
) -> ProblemKindRecord:
    """Return the status and title of one kind of problem."""
    for kind in _kinds():
        if kind.type == PROBLEM_BASE + slug:
            return kind
    raise NotFoundError(f"there is no problem type {slug!r}.", remedy="GET /api/problems lists them.")


def _kinds() -> list[ProblemKindRecord]:
    kinds = [*KINDS.values(), *OTHER_KINDS]
    return [
        ProblemKindRecord(type=PROBLEM_BASE + kind.slug, status=kind.status, title=kind.title)
        for kind in sorted(kinds, key=lambda kind: (kind.status, kind.slug))
    ]
