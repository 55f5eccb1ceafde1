"""Known scale references, and finding one in a picture. Nothing is stored by asking."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Path
from pydantic import Field

from api.context import ContextDep
from api.routes import problems
from api.schemas import Wire
from api.suggest import Finder
from corrosion.model import Scale
from corrosion.model.base import PixelPoint
from corrosion.reference_sizes import COIN_U_MM, COINS
from corrosion.target import CHECK_BAR_MM, SHEETS

router = APIRouter(tags=["photos"])
PhotoId = Annotated[str, Path(description="Identifier of the photo in the service.")]
Point = Annotated[PixelPoint, Field(description="(x, y), px.")]
EXAMPLE_RULE = {"kind": "rule", "image": [[120, 640], [1480, 655]], "tick": 1.0, "labels": [20, 140]}
MISSED = (400, 403, 404, 410, 413, 422, 503)
# Marker families with which loose square markers are commonly printed.
DICTIONARIES = ("4x4_50", "5x5_100", "6x6_250", "apriltag_36h11")


class FoundScale(Wire):
    """A scale reference as it was found; not stored yet."""

    scale: Annotated[
        Scale, Field(description="The reference with its found points; save it with PUT scale.")
    ]
    found: Annotated[str, Field(description="What was found, in words.")]
    points: Annotated[list[Point], Field(description="Every found point, for showing.")]


class CoinSize(Wire):
    """A coin's published size."""

    name: str
    diameter_mm: float
    thickness_mm: float
    source: Annotated[str, Field(description="Where the size is published.")]


class SheetName(Wire):
    """A printed sheet of the program's own."""

    name: str
    title: str


class ReferenceSizes(Wire):
    """What a scale reference may be named by."""

    coins: list[CoinSize]
    coin_u_mm: Annotated[float, Field(description="Standard uncertainty of a coin's diameter: wear.")]
    sheets: list[SheetName]
    check_bar_mm: Annotated[float, Field(description="Nominal length of a sheet's check bars.")]
    dictionaries: Annotated[list[str], Field(description="Common dictionaries of plain square markers.")]


@router.get("/reference-sizes", summary="List known references")
def reference_sizes() -> ReferenceSizes:
    """List coins with their published sizes, the program's own sheets and common marker dictionaries."""
    coins = [
        CoinSize(name=c.name, diameter_mm=c.diameter_mm, thickness_mm=c.thickness_mm, source=c.source)
        for c in COINS
    ]
    return ReferenceSizes(
        coins=coins,
        coin_u_mm=COIN_U_MM,
        sheets=[SheetName(name=sheet.name, title=sheet.title) for sheet in SHEETS.values()],
        check_bar_mm=CHECK_BAR_MM,
        dictionaries=list(DICTIONARIES),
    )


@router.post(
    "/photos/{photo_id}/find-scale",
    summary="Find a scale reference in the picture",
    responses=problems(*MISSED),
)
def find_scale(
    photo_id: PhotoId, body: Annotated[Scale, Body(examples=[EXAMPLE_RULE])], context: ContextDep
) -> FoundScale:
    """Find a rule's ticks along its line, a disc's rim round its seed, or a printed target anywhere.

    Nothing is stored; lengths are in the survey's unit. A miss is a problem (422) that says what to try.
    """
    finder = Finder(context.services, context.files, context.settings, context.executor)
    found = finder.reference(photo_id, body)
    return FoundScale(scale=found.scale, found=found.words, points=found.points_px)
