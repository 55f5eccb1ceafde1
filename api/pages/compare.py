"""The comparison pages: what became of every finding since an earlier survey, and how it looks."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from shapely.geometry.base import BaseGeometry

from api.compare import (
    Compared,
    Look,
    Side,
    compared,
    earlier_surveys,
    look,
    picture,
    survey_date,
)
from api.context import Context, ContextDep
from api.pages.map_page import photo_addresses
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.services import SurveyView
from corrosion.compare import CHANGE_MEANING, Change, FindingChange, Reach
from corrosion.compare.pictures import Window, window_of
from corrosion.compare.tables import member_notes
from corrosion.compare.words import (
    ASSUMPTION,
    change_words,
    difference_text,
    growth_words,
    level_words,
    limit_notes,
    limit_words,
    rate_text,
)
from corrosion.errors import CorrosionError
from corrosion.results import Finding

router = APIRouter()

Earlier = Annotated[str, Query(alias="with", max_length=80)]
RowKey = Annotated[str, Query(max_length=200)]
LEVEL = 0.05
SIDES: tuple[Side, Side] = ("earlier", "later")

CHANGE_CLASS: dict[Change, str] = {
    Change.GROWN: "over",
    Change.MERGED: "over",
    Change.NEW: "close",
    Change.FIRST_SEEN: "close",
    Change.AMBIGUOUS: "unknown",
    Change.SMALLER: "unknown",
    Change.NOT_COMPARED: "unknown",
    Change.NOT_SEEN: "unknown",
    Change.NOT_PLACED: "unknown",
    Change.WITHIN_NOISE: "plain",
    Change.NOT_FOUND: "plain",
    Change.UNCHANGED: "within",
    Change.BLENDED: "within",
    Change.ON_RECORD: "within",
}
WORDS: dict[str, Any] = {
    "difference_text": difference_text,
    "rate_text": rate_text,
    "limit_words": limit_words,
    "change_words": change_words,
    "change_class": CHANGE_CLASS.__getitem__,
    "meaning": CHANGE_MEANING.__getitem__,
    "Reach": Reach,
    "assumption": ASSUMPTION,
}


@router.get("/surveys/{survey_id}/compare")
def compare_page(
    request: Request, survey_id: str, context: ContextDep, other: Earlier = "", wait: int = 0
) -> Response:
    """Let a person choose the earlier survey, and show what became of every finding since."""
    view = context.services.survey(survey_id)
    choices = earlier_surveys(context, view)
    chosen = other or (choices[0].row.id if choices else "")
    at_hand = all(context.results.is_ready(one) for one in (survey_id, chosen) if one)
    ready = bool(chosen) and (bool(wait) or at_hand)
    return render(
        request,
        "compare.html",
        **survey_frame(request, view),
        date=survey_date(view),
        choices=[_choice(one) for one in choices],
        chosen=chosen,
        ready=ready,
        **(_table(context, view, chosen) if ready else {}),
    )


@router.get("/surveys/{survey_id}/compare/{other}/table")
def compare_table(request: Request, survey_id: str, other: str, context: ContextDep) -> Response:
    """Give the part of the page that needs the sums of both surveys."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _table(context, view, other)
    return render(request, "compare_table.html", **parts)


@router.get("/surveys/{survey_id}/compare/{other}/look")
def compare_look(
    request: Request, survey_id: str, other: str, context: ContextDep, row: RowKey
) -> Response:
    """Show one row's place in the photos of both surveys, side by side or one over the other."""
    view = context.services.survey(survey_id)
    made = compared(context, survey_id, other, LEVEL)
    change = made.row(row)
    keys = [one.key for one in made.comparison.findings]
    place = keys.index(row)
    return render(
        request,
        "compare_look.html",
        **survey_frame(request, view),
        **WORDS,
        other=other,
        comparison=made.comparison,
        row=change,
        notes=_notes(change),
        looks=[_figure(context, made, change, side, (survey_id, other)) for side in SIDES],
        drawing=_drawing(change),
        place=place + 1,
        rows=len(keys),
        before=keys[place - 1] if place > 0 else "",
        after=keys[place + 1] if place + 1 < len(keys) else "",
    )


@router.get("/surveys/{survey_id}/compare/{other}/{side}.jpg")
def compare_picture(survey_id: str, other: str, side: Side, context: ContextDep, row: RowKey) -> Response:
    """Give one survey's photo of a row's place, warped into the layout frame."""
    data = picture(context, (survey_id, other), LEVEL, row, side)
    return Response(data, media_type="image/jpeg", headers={"Cache-Control": "private, no-cache"})


def _choice(view: SurveyView) -> dict[str, str]:
    return {"id": view.row.id, "name": view.row.name, "date": survey_date(view)}


def _table(context: Context, view: SurveyView, other: str) -> dict[str, Any]:
    try:
        made = compared(context, view.row.id, other, LEVEL)
    except CorrosionError as error:
        return {"problem": str(error), "comparison": None, "other": other}
    rows = [
        {
            "change": one,
            "notes": _notes(one),
            "has_place": window_of(one) is not None,
        }
        for one in made.comparison.findings
    ]
    return {
        **WORDS,
        "problem": "",
        "other": other,
        "comparison": made.comparison,
        "level": level_words(made.comparison),
        "rows": rows,
        "counts": made.comparison.counts(),
        "members": [one for one in made.comparison.members if one.most or member_notes(one)],
        "member_notes": member_notes,
        "addresses": {
            "earlier": photo_addresses(context, other),
            "later": photo_addresses(context, view.row.id),
        },
    }


def _notes(change: FindingChange) -> list[str]:
    """Collect the notes of a row: its own, why an area or depth is a bound, what a date rests on."""
    bounds = [growth_words(one) for one in change.growths if one.note]
    return [*change.notes, *bounds, *limit_notes(change.forecast)]


def _figure(
    context: Context, made: Compared, change: FindingChange, side: Side, ids: tuple[str, str]
) -> dict[str, Any]:
    found: Look = look(context, made, ids[1] if side == "earlier" else ids[0], change, side)
    info = made.comparison.earlier if side == "earlier" else made.comparison.later
    findings = list(change.earlier) if side == "earlier" else [one for one in [change.later] if one]
    return {
        "side": side,
        "date": info.date,
        "name": info.name,
        "problem": found.problem,
        "words": found.choice.words if not found.problem else "",
        "photo": found.choice.photo.id if found.choice.photo else "",
        "address": f"/photos/{found.photo_row}" if found.photo_row else "",
        "paths": _paths(findings, window_of(change)),
    }


def _drawing(change: FindingChange) -> dict[str, Any] | None:
    """Size of the pictures, and a bar of a round length to judge it by, in px; None without a place."""
    window = window_of(change)
    if window is None:
        return None
    width, height = window.size_px
    per_mm = width / (window.high[0] - window.low[0])
    bar = next(
        mm for mm in (100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5) if mm * per_mm < width / 3 or mm == 0.5
    )
    return {"width": width, "height": height, "bar_mm": bar, "bar_px": round(bar * per_mm, 1)}


def _paths(findings: list[Finding], window: Window | None) -> list[str]:
    """Outlines as SVG paths in the pixels of the pictures."""
    if window is None:
        return []
    return [
        _path(one.outline, window)
        for one in findings
        if one.outline is not None and not one.outline.is_empty
    ]


def _path(shape: BaseGeometry, window: Window) -> str:
    matrix = window.to_picture
    rings: list[list[tuple[float, float]]] = []
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == "Polygon":
            rings += [list(part.exterior.coords), *(list(hole.coords) for hole in part.interiors)]
        elif part.geom_type == "Point":
            x, y = part.x, part.y
            reach = 6.0 / matrix[0, 0]
            rings += [[(x - reach, y), (x + reach, y)], [(x, y - reach), (x, y + reach)]]
        else:
            rings.append(list(part.coords))
    return "".join(
        "M"
        + "L".join(
            f"{matrix[0, 0] * s + matrix[0, 2]:.1f} {matrix[1, 1] * o + matrix[1, 2]:.1f}" for s, o in ring
        )
        for ring in rings
    )
