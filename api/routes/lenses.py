"""Lens profiles over HTTP: calibrate from board photos, straighten by one edge. Nothing is stored."""

from __future__ import annotations

import math
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from api.context import ContextDep
from api.lenses import Boards, calibrate_from_form, straightened
from api.routes import problems
from api.schemas import Wire
from corrosion.calibrate import Calibration
from corrosion.model import LensProfile
from corrosion.model.base import Identifier, PixelPoint

router = APIRouter(tags=["lenses"])

EXAMPLE_EDGE = {"id": "edge", "points": [[40, 66], [220, 60], [400, 58], [580, 60], [760, 66]]}
TEXT = {"type": "string"}
FORM: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["id", "columns", "rows", "square", "files"],
                    "properties": {
                        "id": TEXT,
                        "columns": TEXT,
                        "rows": TEXT,
                        "square": TEXT,
                        "marker": TEXT,
                        "dictionary": TEXT,
                        "device": TEXT,
                        "adapter": TEXT,
                        "focus": TEXT,
                        "nearest": TEXT,
                        "furthest": TEXT,
                        "partial": TEXT,
                        "files": {"type": "array", "items": {"type": "string", "format": "binary"}},
                    },
                },
                "example": {"id": "probe", "columns": "9", "rows": "6", "square": "5", "files": ["b1.png"]},
            }
        },
    }
}


class View(Wire):
    """How one photo of the board fits."""

    name: str
    corners: int
    rms_px: float
    worst_px: float
    distance: Annotated[float, Field(description="Lens to board along its normal, in the square's unit.")]
    tilt_deg: float


class ModelFit(Wire):
    """One lens model that was tried."""

    name: str
    rms_px: float
    aic_behind: Annotated[float, Field(description="Akaike's criterion less the chosen model's.")]


class Missed(Wire):
    """A photo that helps nothing, and why."""

    name: str
    why: str


class CalibrationOut(Wire):
    """A proposed profile and what shows whether to trust it."""

    profile: LensProfile
    views: list[View]
    models: list[ModelFit]
    cells: Annotated[list[list[int]], Field(description="Corners in each part of the frame, by rows.")]
    covered: float
    missed: list[Missed]


class EdgeIn(Wire):
    """Points along an edge that is straight in fact, px, and the name of the profile to make."""

    id: Identifier
    points: Annotated[list[PixelPoint], Field(min_length=2, max_length=1000)]


@router.post(
    "/surveys/{survey_id}/lenses/calibrate",
    summary="Calibrate a lens from board photos",
    responses=problems(400, 403, 404, 413, 422),
    openapi_extra=FORM,
)
async def calibrate(
    survey_id: Annotated[str, Path(description="Identifier of the survey in the service.")],
    request: Request,
    context: ContextDep,
) -> CalibrationOut:
    """Make a lens profile from photos of a flat board of squares; the fields come before the photos.

    Nothing is stored, neither photos nor profile: put the profile among the survey's `lenses` if its
    residuals and its coverage of the frame are good.
    """
    await run_in_threadpool(context.services.survey, survey_id)
    made, boards = await calibrate_from_form(request, context)
    return _shown(made, boards)


@router.post(
    "/photos/{photo_id}/straighten",
    summary="Make a rough lens profile from one straight edge",
    responses=problems(400, 403, 404, 410, 413, 422),
)
def straighten_photo(
    photo_id: Annotated[str, Path(description="Identifier of the photo in the service.")],
    body: Annotated[EdgeIn, Body(examples=[EXAMPLE_EDGE])],
    context: ContextDep,
) -> LensProfile:
    """Make a profile from five points or more along an edge that is straight in fact. Nothing is stored."""
    return straightened(context, photo_id, body.id, body.points)


def _shown(made: Calibration, boards: Boards) -> CalibrationOut:
    best = made.candidates[0].aic
    return CalibrationOut(
        profile=made.profile,
        views=[
            View(
                name=one.name,
                corners=one.corners,
                rms_px=one.rms_px,
                worst_px=one.worst_px,
                distance=one.distance_mm,
                tilt_deg=math.degrees(one.tilt_rad),
            )
            for one in made.views
        ],
        models=[
            ModelFit(name=one.name, rms_px=one.rms_px, aic_behind=one.aic - best) for one in made.candidates
        ],
        cells=made.cells.tolist(),
        covered=made.covered,
        missed=[Missed(name=name, why=why) for name, why in boards.missed],
    )
