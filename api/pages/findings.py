"""The findings page and its exports."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request, Response

from api.context import ContextDep
from api.downloads import attachment
from api.pages.exports import to_csv, to_workbook
from api.pages.map_page import photo_addresses
from api.pages.progress import assess_or_say, kept_of
from api.pages.rows import finding_rows
from api.pages.surveys import survey_display, survey_frame
from api.pages.templating import render
from corrosion.terms import Flag

router = APIRouter()
MEDIA_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@router.get("/surveys/{survey_id}/findings")
def findings_page(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Show all findings by zone and station."""
    view = context.services.survey(survey_id)
    kept, problem = assess_or_say(context, survey_id)
    rows = finding_rows(kept) if kept else []
    used = {flag for row in rows for flag in row.finding.flags}
    return render(
        request,
        "findings.html",
        **survey_frame(request, view),
        rows=rows,
        flags=[flag for flag in Flag if flag in used],
        addresses=photo_addresses(context, survey_id),
        assessment=kept.assessment if kept else None,
        problem=problem,
    )


@router.get("/surveys/{survey_id}/findings.{kind}")
def export(
    request: Request,
    survey_id: str,
    kind: Annotated[Literal["csv", "xlsx"], Path()],
    context: ContextDep,
) -> Response:
    """Give the findings as a file, in the unit that is shown."""
    view = context.services.survey(survey_id)
    rows = finding_rows(kept_of(context, survey_id))
    unit = survey_display(request, view).units
    title = f"{view.structure.name}: {view.row.name or 'survey'}"
    data = to_csv(rows, unit) if kind == "csv" else to_workbook(rows, unit, title)
    name = re.sub(r"\W+", "-", view.row.name or view.structure.name).strip("-") or "survey"
    headers = {
        "Content-Disposition": attachment(f"{name}-findings.{kind}"),
        "Cache-Control": "private, no-cache",
    }
    return Response(data, media_type=MEDIA_TYPES[kind], headers=headers)
