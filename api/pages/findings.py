"""The findings page and its exports."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Request, Response

from api.context import Context, ContextDep
from api.downloads import attachment
from api.pages.exports import to_csv, to_workbook
from api.pages.map_page import photo_addresses
from api.pages.progress import assess_or_say
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
def findings_page(request: Request, survey_id: str, context: ContextDep, wait: int = 0) -> Response:
    """Show all findings by zone and station; they follow if not at hand (`wait`: with them)."""
    view = context.services.survey(survey_id)
    ready = bool(wait) or context.results.is_ready(survey_id)
    parts = _table(context, survey_id) if ready else {}
    return render(request, "findings.html", **survey_frame(request, view), ready=ready, **parts)


@router.get("/surveys/{survey_id}/findings/table")
def findings_table(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the part of the page that needs the sums."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _table(context, survey_id)
    return render(request, "findings_table.html", **parts)


def _table(context: Context, survey_id: str) -> dict[str, Any]:
    kept, problem = assess_or_say(context, survey_id)
    rows = finding_rows(kept) if kept else []
    used = {flag for row in rows for flag in row.finding.flags}
    return {
        "rows": rows,
        "flags": [flag for flag in Flag if flag in used],
        "addresses": photo_addresses(context, survey_id),
        "assessment": kept.assessment if kept else None,
        "problem": problem,
    }


@router.get("/surveys/{survey_id}/findings.{kind}")
def export(
    request: Request,
    survey_id: str,
    kind: Annotated[Literal["csv", "xlsx"], Path()],
    context: ContextDep,
) -> Response:
    """Give the findings as a file, in the unit that is shown."""
    view = context.services.survey(survey_id)
    rows = finding_rows(context.results.assessed(survey_id))
    unit = survey_display(request, view).units
    title = f"{view.structure.name}: {view.row.name or 'survey'}"
    data = to_csv(rows, unit) if kind == "csv" else to_workbook(rows, unit, title)
    name = re.sub(r"\W+", "-", view.row.name or view.structure.name).strip("-") or "survey"
    headers = {
        "Content-Disposition": attachment(f"{name}-findings.{kind}"),
        "Cache-Control": "private, no-cache",
    }
    return Response(data, media_type=MEDIA_TYPES[kind], headers=headers)
