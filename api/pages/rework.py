"""The page of earlier rework and thickness readings, with the instruments that read them."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request, Response

from api.context import Context, ContextDep
from api.pages.rework_check import Kind, check_part
from api.pages.surveys import survey_display, survey_frame
from api.pages.templating import render
from api.pages.withdrawn import withdrawn_parts
from api.services import SurveyView
from api.tables import ReadingRow, RemovalRow
from corrosion.model import (
    Instrument,
    Photo,
    PolygonShape,
    Removal,
    RunOut,
    Structure,
    ThicknessReading,
)
from corrosion.terms import Face, MeasuredFrom, Origin, ProfileKind
from corrosion.units import LengthUnit, mm_per

router = APIRouter()


@router.get("/surveys/{survey_id}/rework")
def rework_page(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Show what was removed before and what remains, and the forms to enter it."""
    view = context.services.survey(survey_id)
    structure = Structure.model_validate(view.structure.document)
    return render(
        request,
        "rework.html",
        **survey_frame(request, view),
        **_lists(context, view),
        members=structure.members,
        faces=list(Face),
        layout=[_drawn(one) for one in view.structure.document["members"]],
    )


@router.get("/surveys/{survey_id}/rework/lists")
def rework_lists(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the lists of the page again, after a change."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _lists(context, view)
    return render(request, "rework_lists.html", **parts)


@router.post("/surveys/{survey_id}/rework/check/{kind}")
def rework_check(
    request: Request, survey_id: str, kind: Kind, body: dict[str, Any], context: ContextDep
) -> dict[str, Any]:
    """Say what is wrong with an entry and what it would mean; nothing is stored."""
    view = context.services.survey(survey_id)
    return asdict(check_part(view, kind, body, survey_display(request, view).units))


def _drawn(member: dict[str, Any]) -> dict[str, Any]:
    """Member as the pad draws it, in the structure's unit."""
    return {
        "id": member["id"],
        "outline": member["outline"],
        "offset_is": member.get("offset_is") or "offset",
    }


def _lists(context: Context, view: SurveyView) -> dict[str, Any]:
    unit: LengthUnit = "in" if view.structure.units == "in" else "mm"
    removals = context.services.entries(RemovalRow, view.row.id)
    readings = context.services.entries(ReadingRow, view.row.id)
    parts = [Removal.model_validate(row.document) for row in removals]
    read = [ThicknessReading.model_validate(row.document) for row in readings]
    instruments = [Instrument.model_validate(one) for one in view.row.document["instruments"]]
    used = _uses(context, view, parts, read)
    return {
        "removals": [_removal(row, part, unit) for row, part in zip(removals, parts, strict=True)],
        "readings": [
            {"row": row, "part": part, "mm": mm_per(unit)} for row, part in zip(readings, read, strict=True)
        ],
        "instruments": [
            {"part": one, "u": one.u_systematic * mm_per(unit), "used": used[one.id]} for one in instruments
        ],
        "strangers": sorted(set(used) - {one.id for one in instruments}),
        "withdrawn": withdrawn_parts(context, view.row.id, {"removal", "reading"}),
        "on_record": {
            "instruments": [one.id for one in instruments],
            "removals": [
                one.model_dump(mode="json", include={"id", "member", "face", "footprint"}) for one in parts
            ],
            "readings": [one.model_dump(mode="json", include={"id", "member", "at"}) for one in read],
        },
    }


def _uses(
    context: Context, view: SurveyView, removals: list[Removal], readings: list[ThicknessReading]
) -> Counter[str]:
    """Count the depths and thicknesses that each instrument read, those of marks too."""
    photos = [Photo.model_validate(one.row.document) for one in context.services.photos(view.row.id)]
    names = [depth.instrument for photo in photos for mark in photo.marks for depth in mark.depths]
    names += [one.depth.instrument for one in removals] + [one.instrument for one in readings]
    return Counter(name for name in names if name)


def _removal(row: RemovalRow, part: Removal, unit: LengthUnit) -> dict[str, Any]:
    return {
        "row": row,
        "part": part,
        "mm": mm_per(unit),
        "centre": footprint_middle(part),
        "profile": profile_words(part.profile, part.run_out),
        "from_words": {
            MeasuredFrom.ORIGINAL: "original contour",
            MeasuredFrom.CURRENT: "surface as found",
        }[part.measured_from],
        "origin": {Origin.EARLIER: "earlier", Origin.SURVEY: "this survey", Origin.PLANNED: "planned"}[
            part.origin
        ],
    }


def footprint_middle(part: Removal) -> tuple[float, float]:
    """Return the middle of a footprint, in the survey's unit: its centre, or the middle of its extent."""
    shape = part.footprint
    if not isinstance(shape, PolygonShape):
        return shape.center
    stations, offsets = zip(*shape.coordinates[0], strict=True)
    return (min(stations) + max(stations)) / 2, (min(offsets) + max(offsets)) / 2


def profile_words(profile: ProfileKind, run_out: RunOut | None) -> str:
    """Write a profile; a run-out both in all and per side, so that neither is taken for the other."""
    if profile is not ProfileKind.FAIRED or run_out is None:
        return str(profile)
    return f"faired, {2 * run_out.side:g}:1 in all ({run_out.side:g}:1 per side)"
