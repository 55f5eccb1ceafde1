"""Comparing two surveys of one structure."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from api.compare import comparison_document
from api.context import ContextDep
from api.downloads import not_modified
from api.routes import problems
from api.routes.results import MEASURED, REVALIDATED

router = APIRouter(tags=["results"])

Level = Annotated[
    float,
    Query(gt=0, lt=1, description="Significance level, two-sided; intervals cover the rest."),
]
EXAMPLE = {
    "format": "corrosion-comparison",
    "years": 2.0,
    "level": 0.05,
    "findings": [
        {
            "change": "grown",
            "growth": [{"quantity": "depth", "difference": MEASURED, "per_year_interval": [0.11, 0.2]}],
            "limit": {"reach": "between", "earliest": "2036-11-02", "latest": "2039-09-23"},
        }
    ],
}


@router.get(
    "/surveys/{survey_id}/compare/{other}",
    summary="Compare with an earlier survey",
    response_class=JSONResponse,
    responses=problems(404, 422)
    | {
        200: {
            "description": "The comparison.",
            "content": {"application/json": {"schema": {"type": "object"}, "example": EXAMPLE}},
        }
    },
)
def compare_surveys(
    survey_id: Annotated[str, Path(description="Identifier of the later survey.")],
    other: Annotated[str, Path(description="Identifier of the earlier survey.")],
    request: Request,
    context: ContextDep,
    level: Level = 0.05,
) -> Response:
    """Match the findings of two surveys by place and say what became of each.

    Growth of area and depth comes with its uncertainty and an interval of the rate per year; the date at
    which the limit would be reached is an interval, an open end, or null with the reason. Lengths are in
    mm, areas in mm2. Both surveys need a date, and `other` the earlier one.
    """
    states = (context.exchange.state(survey_id), context.exchange.state(other))
    tag = '"' + "-".join(str(part) for state in states for part in state) + f'-{level}"'
    headers = {"ETag": tag, "Cache-Control": REVALIDATED}
    if not_modified(request, tag):
        return Response(status_code=304, headers=headers)
    return JSONResponse(comparison_document(context, survey_id, other, level), headers=headers)
