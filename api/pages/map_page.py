"""The map page and its data: a member's layout with all that was found on it, in mm."""

from __future__ import annotations

from typing import Annotated, Any

import shapely
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import JSONResponse
from shapely.geometry.base import BaseGeometry

from api.context import Context, ContextDep
from api.errors import NotFoundError
from api.pages.grid import colour_ramp, removal_patches
from api.pages.progress import assess_or_say
from api.pages.surveys import survey_display, survey_frame
from api.pages.templating import VERDICT_CLASS, render
from api.results import Kept
from corrosion.model import Limit, Member, Structure, in_millimetres
from corrosion.removal.reasons import judge_member
from corrosion.report.json_form import geometry, measured, number, spot_json
from corrosion.report.words import KIND_WORDS, verdict_words
from corrosion.results import Finding, MemberAssessment
from corrosion.terms import VERDICT_ORDER, Face, Origin
from corrosion.units import LengthUnit

router = APIRouter()

# Finer than a screen shows at the closest zoom; the sums never use it.
DRAWN_MM = 0.01
MemberQuery = Annotated[str, Query(max_length=80)]
REVALIDATE = {"Cache-Control": "private, no-cache"}


@router.get("/surveys/{survey_id}/map")
def map_page(request: Request, survey_id: str, context: ContextDep, member: MemberQuery = "") -> Response:
    """Show the map of one member; the first one if none is named."""
    view = context.services.survey(survey_id)
    structure = Structure.model_validate(view.structure.document)
    names = [one.id for one in structure.members]
    chosen = member if member in names else next(iter(names), "")
    return render(
        request,
        "map.html",
        **survey_frame(request, view),
        members=structure.members,
        chosen=chosen,
        layout=_bare(context, survey_id, chosen) if chosen else None,
    )


@router.get("/surveys/{survey_id}/map/data")
def map_data(request: Request, survey_id: str, context: ContextDep, member: MemberQuery) -> Response:
    """Return a member's layout, footprints, marks and unseen areas; every length in mm."""
    view = context.services.survey(survey_id)
    kept, problem = assess_or_say(context, survey_id)
    if kept is None:
        return JSONResponse(
            {"member": _bare(context, survey_id, member), "problem": problem}, headers=REVALIDATE
        )
    assessed = _assessed_member(kept, member)
    body = {
        "member": _layout(assessed.member),
        "problem": "",
        "verdict": str(assessed.verdict),
        "reasons": _reasons(kept, assessed, survey_display(request, view).units),
        "survey_units": view.structure.units,
        "ramp": colour_ramp(),
        "verdicts": [
            {"class": VERDICT_CLASS[verdict], "words": verdict_words(verdict)} for verdict in VERDICT_ORDER
        ],
    }
    return JSONResponse(body | _found(context, survey_id, kept, assessed), headers=REVALIDATE)


@router.get("/surveys/{survey_id}/map/grid")
def map_grid(
    survey_id: str, context: ContextDep, member: MemberQuery, face: Face | None = None
) -> Response:
    """Return the removal of a member as rasters over the marked area, in mm."""
    kept = context.results.assessed(survey_id)
    patches = removal_patches(kept.removal(member), face)
    return JSONResponse({"patches": patches}, headers=REVALIDATE)


def _bare(context: Context, survey_id: str, member_id: str) -> dict[str, Any]:
    """Draw a member's layout alone, which needs no sums, in mm."""
    file = context.exchange.export(survey_id).file.model_copy(update={"photos": []})
    return _layout(_member_of(in_millimetres(file).structure.members, member_id))


def _member_of(members: list[Member], member_id: str) -> Member:
    found = next((one for one in members if one.id == member_id), None)
    if found is None:
        names = ", ".join(repr(one.id) for one in members)
        raise NotFoundError(f"there is no member {member_id!r}.", remedy=f"Members: {names}.")
    return found


def _assessed_member(kept: Kept, member_id: str) -> MemberAssessment:
    _member_of([one.member for one in kept.assessment.members], member_id)
    return next(one for one in kept.assessment.members if one.member.id == member_id)


def _reasons(kept: Kept, assessed: MemberAssessment, unit: LengthUnit) -> list[str]:
    """Say the reasons of the verdict in the unit the person chose, where it is not the survey's own."""
    if unit == (kept.assessment.survey.display_units or kept.unit):
        return assessed.reasons
    removal = kept.removal(assessed.member.id)
    return judge_member(removal, assessed.readings, assessed.coverage, assessed.least_margin, unit)[1]


def _layout(member: Member) -> dict[str, Any]:
    """Member as drawn; `member` is in mm."""
    return {
        "id": member.id,
        "offset_is": member.offset_is or "offset",
        "outer_view": member.outer_view,
        "thickness": member.thickness_measured or member.thickness,
        "outline": member.outline,
        "limit": _limit(member.limit),
        "limit_zones": [
            {"id": zone.id, "outline": zone.outline, "limit": _limit(zone.limit)}
            for zone in member.limit_zones
        ],
        "thickness_zones": [
            {"id": zone.id, "outline": zone.outline, "thickness": zone.thickness}
            for zone in member.thickness_zones
        ],
        "fasteners": [{"at": one.at, "diameter": one.diameter} for one in member.fasteners],
        "stations": [{"label": one.label, "at": one.at} for one in member.stations],
    }


def drawn(shape: BaseGeometry | None) -> dict[str, Any] | None:
    """Return a shape for the screen: its outline moved by at most `DRAWN_MM`, its digits to match."""
    if shape is None:
        return None
    return geometry(shapely.transform(shapely.simplify(shape, DRAWN_MM), lambda points: points.round(3)))


def _limit(limit: Limit | None) -> dict[str, Any] | None:
    return None if limit is None else limit.model_dump(mode="json")


def _found(context: Context, survey_id: str, kept: Kept, assessed: MemberAssessment) -> dict[str, Any]:
    """Everything the survey put on one member."""
    addresses = photo_addresses(context, survey_id)
    member_id = assessed.member.id
    unit: LengthUnit = kept.assessment.survey.display_units or "mm"
    return {
        "photos": [
            {
                "name": photo.photo_id,
                "address": addresses.get(photo.photo_id, ""),
                "face": str(photo.face),
                "footprint": drawn(photo.footprint),
                "problem": photo.problem,
            }
            for photo in kept.assessment.placed
            if photo.member_id == member_id
        ],
        "findings": [
            _finding(finding, unit, addresses)
            for finding in kept.assessment.findings
            if finding.member_id == member_id and finding.outline is not None
        ],
        "unseen": {str(face): drawn(cover.unseen) for face, cover in assessed.coverage.items()},
        "seen_share": {str(face): number(cover.share) for face, cover in assessed.coverage.items()},
        "readings": [
            {
                "id": check.reading.id,
                "at": check.reading.at,
                "agrees": check.agrees,
                "removed_by_reading": number(check.removed_by_reading),
                "removed_by_entries": number(check.removed_by_entries),
                "verdict": str(check.spot.verdict),
            }
            for check in assessed.readings
        ],
        "entries": [
            {"id": entry.id, "face": str(entry.face), "origin": str(entry.origin)}
            | {"outline": drawn(entry.footprint)}
            for entry in kept.removal(member_id).entries
            if entry.origin is not Origin.SURVEY
        ],
        "deepest": spot_json(assessed.deepest, unit),
        "cell_error_mm": number(assessed.cell_error_mm),
    }


def _finding(finding: Finding, unit: LengthUnit, addresses: dict[str, str]) -> dict[str, Any]:
    return {
        "id": finding.id,
        "kind": str(finding.kind),
        "words": KIND_WORDS[finding.kind],
        "face": str(finding.face) if finding.face else None,
        "station": finding.station_text,
        "outline": drawn(finding.outline),
        "position": finding.position,
        "depth": measured(finding.depth, unit, thickness=True),
        "sources": [
            {"photo": photo, "mark": mark, "address": addresses.get(photo, "")}
            for photo, mark in finding.sources
        ],
    }


def photo_addresses(context: Context, survey_id: str) -> dict[str, str]:
    """Address of every photo's page, by the photo's id in the survey file."""
    return {view.row.key: f"/photos/{view.row.id}" for view in context.services.photos(survey_id)}
