"""The pages of archives: a survey's archive to download, and an archive to import."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from api.archiving import Options
from api.context import ContextDep
from api.errors import InvalidError, kind_of
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.routes.archives import ReportPaper, archive_answer, received
from corrosion.errors import CorrosionError

router = APIRouter()
SHOWN = 50
MEANINGS = {
    "report.pdf": "the report as it was",
    "history.jsonl": "every change before it came here",
    "record.json": "signatures and seal",
    "survey.json": "the survey as it came",
    "survey.schema.json": "what the fields of the survey file are",
    "assessment.json": "results with their uncertainties",
    "originals.csv": "which file is which photo",
    "kept.json": "bench log and candidates' surveys",
    "README.txt": "what the archive holds",
    "photos/": "photo",
    "tables/": "results as a table",
    "earlier/": "from an archive before that one",
}


@router.get("/surveys/{survey_id}/archive")
def download(
    survey_id: str,
    context: ContextDep,
    paper: Annotated[ReportPaper, Query()] = ReportPaper.A4,
    incomplete: Annotated[bool, Query()] = False,
) -> Response:
    """Send a survey's archive; what stands in the way is told on a page."""
    return archive_answer(
        context, survey_id, Options("" if paper is ReportPaper.NONE else paper, incomplete)
    )


@router.get("/surveys/{survey_id}/archived")
def archived_page(request: Request, survey_id: str, context: ContextDep) -> Response:
    """List the files of the archive a survey was imported from."""
    files = context.archives.came_with(survey_id)
    frame = survey_frame(request, context.services.survey(survey_id))
    return render(request, "archived.html", **frame, files=[(row, _meaning(row.path)) for row in files])


def _meaning(path: str) -> str:
    """Say in plain words what a file of an archive is."""
    folder, _, _ = path.partition("/")
    return MEANINGS.get(path) or MEANINGS.get(f"{folder}/", "")


@router.get("/archives")
def archives_page(request: Request) -> Response:
    """Show the form that takes an archive."""
    return render(request, "archives.html", error=None, faults=[], more=0)


@router.post("/archives")
async def take_in(request: Request, context: ContextDep) -> Response:
    """Import an archive and go to its survey, or say everything that is wrong with it."""
    try:
        incoming = await received(request, context)
        try:
            done = await run_in_threadpool(context.bag_imports.take_in, Path(incoming.path))
        finally:
            incoming.discard()
    except CorrosionError as error:
        faults = error.faults if isinstance(error, InvalidError) else []
        return render(
            request,
            "archives.html",
            status=kind_of(error).status,
            error=error,
            faults=faults[:SHOWN],
            more=max(0, len(faults) - SHOWN),
        )
    return RedirectResponse(f"/surveys/{done.view.row.id}", 303)
