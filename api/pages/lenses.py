"""The lenses page: a survey's lens profiles, and the form that makes one from photos of a board."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.context import ContextDep
from api.pages.surveys import survey_frame
from api.pages.templating import render
from corrosion.lens import LEAST_COVERED, LEAST_VIEWS, MOST_RMS_PX
from corrosion.model import LensProfile

router = APIRouter()


@router.get("/surveys/{survey_id}/lenses")
def lenses_page(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Show the profiles that the survey's photos may name."""
    view = context.services.survey(survey_id)
    profiles = [LensProfile.model_validate(one) for one in view.row.document["lenses"]]
    used = [photo.row.document.get("lens") for photo in context.services.photos(survey_id)]
    return render(
        request,
        "lenses.html",
        **survey_frame(request, view),
        profiles=[(one, used.count(one.id)) for one in profiles],
        units=view.structure.units,
        least_views=LEAST_VIEWS,
        least_covered=LEAST_COVERED,
        most_rms_px=MOST_RMS_PX,
    )
