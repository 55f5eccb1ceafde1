"""Pages of a survey: overview, photos, and one photo to be marked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request, Response

from api import wire
from api.context import Context, ContextDep
from api.pages.progress import assess_or_say, members_progress
from api.pages.templating import Display, display_of, render
from api.pages.withdrawn import withdrawn_parts
from api.services import PhotoView, SurveyView
from corrosion.model import Photo, Structure
from corrosion.terms import Face, View
from corrosion.units import mm_per

router = APIRouter()


def survey_frame(request: Request, view: SurveyView) -> dict[str, Any]:
    """Return what every page of a survey needs: its navigation and the unit to show."""
    return {"survey": survey_nav(view), "display": survey_display(request, view)}


def survey_nav(view: SurveyView) -> dict[str, Any]:
    """Return the names and addresses of a survey's navigation, and by whom it was sealed if it was."""
    seal = view.seal
    return {
        "id": view.row.id,
        "name": view.row.name,
        "structure_id": view.structure.id,
        "structure_name": view.structure.name,
        "units": view.structure.units,
        "seal": seal and {"by": seal.by_name, "at": f"{seal.at:%Y-%m-%d %H:%M}"},
    }


def survey_display(request: Request, view: SurveyView) -> Display:
    """Return how to show a survey: as the person chose, else in the survey's own unit."""
    own = view.row.document.get("display_units") or view.structure.units
    return display_of(request, "in" if own == "in" else "mm")


@router.get("/surveys/{survey_id}")
def overview(request: Request, survey_id: str, context: ContextDep, wait: int = 0) -> Response:
    """Show how far a survey has come; the sums follow if they are not at hand (`wait`: with them)."""
    view = context.services.survey(survey_id)
    photos = context.services.photos(survey_id)
    ready = bool(wait) or context.results.is_ready(survey_id)
    return render(
        request,
        "survey.html",
        **survey_frame(request, view),
        head=view.row.document,
        photos=len(photos),
        waiting=[photo.row.document["file"] for photo in photos if photo.picture is None],
        untagged=sum(photo.row.document["member"] is None for photo in photos),
        ready=ready,
        **(_progress(context, view) if ready else {}),
    )


@router.get("/surveys/{survey_id}/progress")
def progress(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the part of the overview that needs the sums."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _progress(context, view)
    return render(request, "survey_progress.html", **parts)


def _progress(context: Context, view: SurveyView) -> dict[str, Any]:
    kept, problem = assess_or_say(context, view.row.id)
    assessment = kept.assessment if kept else None
    structure = Structure.model_validate(view.structure.document)
    photos = [Photo.model_validate(one.row.document) for one in context.services.photos(view.row.id)]
    members = members_progress(structure.members, photos, assessment)
    return {"members": members, "assessment": assessment, "problem": problem}


@router.get("/surveys/{survey_id}/photos")
def photo_list(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Show a survey's photos: bring them in, look through them, tag many at once."""
    view = context.services.survey(survey_id)
    frame = survey_frame(request, view)
    suggested = _suggested(context, view)
    photos = [
        photo_card(photo, view, frame["display"], suggested) for photo in context.services.photos(survey_id)
    ]
    structure = Structure.model_validate(view.structure.document)
    return render(
        request,
        "photos.html",
        **frame,
        photos=photos,
        members=structure.members,
        zones=_zones(structure, photos),
        faces=list(Face),
        views=list(View),
        withdrawn=withdrawn_parts(context, survey_id, {"photo"}),
    )


@router.get("/surveys/{survey_id}/photos/withdrawn")
def withdrawn_photos(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the list of withdrawn photos again, after one more."""
    view = context.services.survey(survey_id)
    return render(
        request,
        "photos_withdrawn.html",
        **survey_frame(request, view),
        withdrawn=withdrawn_parts(context, survey_id, {"photo"}),
    )


@router.get("/surveys/{survey_id}/photos/{photo_id}/card")
def one_card(request: Request, survey_id: str, photo_id: str, context: ContextDep) -> Response:
    """Give one photo's entry of the list again, after an upload or a change of tags."""
    view = context.services.survey(survey_id)
    frame = survey_frame(request, view)
    photo = context.services.photo(photo_id)
    card = photo_card(photo, view, frame["display"], _suggested(context, view))
    return render(request, "photo_card.html", **frame, photo=card)


@router.get("/photos/{photo_id}")
def one_photo(request: Request, photo_id: str, context: ContextDep) -> Response:
    """Show a photo to be scaled, placed and marked."""
    photo = context.services.photo(photo_id)
    view = context.services.survey(photo.row.survey_id)
    before, after = _neighbours(context, photo)
    return render(
        request,
        "photo.html",
        **survey_frame(request, view),
        active="photos",
        photo=wire.photo_record(photo),
        structure=wire.structure_record(view.structure),
        previous_id=before,
        next_id=after,
    )


def _suggested(context: Context, view: SurveyView) -> dict[str, int]:
    """Count the outlines that wait for a decision, by photo; in a sealed survey none does any more."""
    return {} if view.seal else context.proposals.open_in(view.row.id)


def photo_card(
    view: PhotoView, survey: SurveyView, display: Display, suggested: Mapping[str, int]
) -> dict[str, Any]:
    """Return what the list shows of a photo."""
    photo = Photo.model_validate(view.row.document)
    facts = view.picture.facts if view.picture else {}
    return {
        "id": view.row.id,
        "version": view.row.version,
        "name": view.row.upload_name or photo.id,
        "photo": photo,
        "station": _station_words(photo, survey, display),
        "here": view.picture is not None,
        "size": (view.picture.width, view.picture.height) if view.picture else None,
        "warnings": facts.get("warnings") or [],
        "suggested": suggested.get(view.row.id, 0),
        "state": photo_state(photo, here=view.picture is not None),
    }


def _station_words(photo: Photo, survey: SurveyView, display: Display) -> str:
    """Write a photo's station: a number with its unit, anything else as it was tagged."""
    if photo.station is None or isinstance(photo.station, str):
        return photo.station or ""
    mm = mm_per("in" if survey.structure.units == "in" else "mm")
    return f"{display.place(photo.station * mm)} {display.units}"


def photo_state(photo: Photo, *, here: bool) -> list[str]:
    """Name what a photo still lacks, in the order it is done."""
    lacks = []
    if not here:
        lacks.append("picture missing")
    if photo.member is None or photo.face is None:
        lacks.append("not tagged")
    if photo.scale is None:
        lacks.append("no scale")
    if photo.placement is None:
        lacks.append("not placed")
    if not photo.marks:
        lacks.append("no marks")
    return lacks


def _zones(structure: Structure, photos: list[dict[str, Any]]) -> list[str]:
    of_members = {member.zone for member in structure.members}
    of_photos = {card["photo"].zone for card in photos if card["photo"].zone}
    return sorted(of_members | of_photos)


def _neighbours(context: Context, photo: PhotoView) -> tuple[str | None, str | None]:
    """Return the photos before and after one, for stepping through a survey."""
    ids = [other.row.id for other in context.services.photos(photo.row.survey_id)]
    place = ids.index(photo.row.id)
    before = ids[place - 1] if place > 0 else None
    after = ids[place + 1] if place + 1 < len(ids) else None
    return before, after
