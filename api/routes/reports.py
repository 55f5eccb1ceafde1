"""Reports: have one made, see how far it is, fetch it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path as FilePath
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import Field

from api.context import ContextDep
from api.downloads import attachment, serve_bytes
from api.reports import Asked, Kind, Making, Paper, Status
from api.routes import problems
from api.schemas import Wire

router = APIRouter(tags=["record"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
CHUNK = 1 << 16


class ReportStatus(Wire):
    """How far a report is."""

    status: Annotated[Status, Field(description="`none`: not asked for since the survey changed.")]
    step: Annotated[str, Field(description="What is being done: survey, maps, photos, pages.")]
    done: int
    total: int
    problem: Annotated[str, Field(description="Why it failed; empty otherwise.")]
    size_bytes: int | None
    href: Annotated[str | None, Field(description="Where the finished file is.")]


def _form(
    paper: Annotated[Paper, Query(description="Size of the paper.")] = "a4",
    kind: Annotated[Kind, Query(description="The full report, or its summary on one page.")] = "full",
) -> tuple[Paper, Kind]:
    return paper, kind


FormDep = Annotated[tuple[Paper, Kind], Depends(_form)]


@router.get("/surveys/{survey_id}/report", summary="See how far a report is", responses=problems(404))
def report_status(
    survey_id: SurveyId, form: FormDep, response: Response, context: ContextDep
) -> ReportStatus:
    """Tell whether the report of the survey as it is now is ready, or how far it is."""
    response.headers["Cache-Control"] = "no-store"
    asked = Asked(survey_id, *form)
    return _wire(asked, context.reports.look(asked))


@router.post(
    "/surveys/{survey_id}/report",
    status_code=202,
    summary="Have a report made",
    responses=problems(403, 404, 409),
)
def make_report(
    survey_id: SurveyId, form: FormDep, response: Response, context: ContextDep
) -> ReportStatus:
    """Begin to make the report in the background; one that is ready, or on its way, is not made again.

    Ask for its status until it is `ready` or `failed`. PDF/A-2a; a survey that is not sealed is marked as a
    draft on every page.
    """
    asked = Asked(survey_id, *form)
    response.headers["Cache-Control"] = "no-store"
    # Only then: what is no survey's identifier need not fit into a header.
    status = _wire(asked, context.reports.start(asked))
    response.headers["Location"] = _place(asked, "report")
    return status


@router.get(
    "/surveys/{survey_id}/report.pdf",
    summary="Fetch a report",
    response_class=Response,
    responses=problems(404, 409, 416)
    | {200: {"description": "The pages.", "content": {"application/pdf": {}}}},
)
def report_file(survey_id: SurveyId, form: FormDep, request: Request, context: ContextDep) -> Response:
    """Fetch the finished report; 409 while the report of the survey as it is now is not ready."""
    asked = Asked(survey_id, *form)
    path, key = context.reports.file(asked)
    name = context.services.survey(asked.survey_id).row.name or "survey"
    words: Literal["report", "summary"] = "report" if asked.kind == "full" else "summary"
    answer = serve_bytes(
        request,
        lambda start, stop: _pieces(path, start, stop),
        total=path.stat().st_size,
        media_type="application/pdf",
        tag=f'"{key}"',
        disposition=attachment(f"{name} {words}.pdf"),
    )
    # The same address gives another file once the survey has changed.
    answer.headers["Cache-Control"] = "private, no-cache"
    return answer


def _pieces(path: FilePath, start: int, stop: int) -> Iterator[bytes]:
    with path.open("rb") as stream:
        stream.seek(start)
        left = stop - start
        while left > 0 and (piece := stream.read(min(CHUNK, left))):
            left -= len(piece)
            yield piece


def _place(asked: Asked, name: str) -> str:
    return f"/api/surveys/{asked.survey_id}/{name}?paper={asked.paper}&kind={asked.kind}"


def _wire(asked: Asked, made: Making) -> ReportStatus:
    return ReportStatus(
        status=made.status,
        step=made.step,
        done=made.done,
        total=made.total,
        problem=made.problem,
        size_bytes=made.size_bytes,
        href=_place(asked, "report.pdf") if made.status == "ready" else None,
    )
