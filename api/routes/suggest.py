"""What the program finds in a picture by itself. Nothing is stored by asking."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Body, Path
from pydantic import ConfigDict, Field

from api.context import Context, ContextDep
from api.routes import problems
from api.schemas import Wire
from api.suggest import Finder
from corrosion.model import Scale
from corrosion.model.base import Finite
from corrosion.reference_sizes import COIN_U_MM, COINS
from corrosion.suggest import Suggestion
from corrosion.target import CHECK_BAR_MM, SHEETS

router = APIRouter(tags=["photos"])
PhotoId = Annotated[str, Path(description="Identifier of the photo in the service.")]
Point = Annotated[tuple[Finite, Finite], Field(description="(x, y), px.")]
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


class SuggestIn(Wire):
    """Where to look, and for what."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"kind": "pit", "at": [412.5, 300.25]}]}
    )
    kind: Literal["pit", "blend-out"]
    at: Annotated[Point, Field(description="A point inside it, px.")]


class SweepIn(Wire):
    """Where to look."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"region": [[100, 80], [900, 80], [900, 600], [100, 600]]}]},
    )
    region: Annotated[
        list[Point] | None,
        Field(
            min_length=3, max_length=1000, description="Corners of a polygon; null for the whole picture."
        ),
    ] = None


class PolygonShape(Wire):
    """A polygon as a mark's shape has it."""

    type: Literal["Polygon"] = "Polygon"
    coordinates: list[list[Point]]


class Proposal(Wire):
    """An outline that somebody has still to accept."""

    kind: Literal["pit", "blend-out"]
    shape: Annotated[PolygonShape, Field(description="Ready to be a mark's shape.")]
    method: Annotated[str, Field(description="How it was found, with the version of the method.")]
    parameters: Annotated[
        dict[str, float | str], Field(description="All that is needed to find it again, and its checks.")
    ]
    score: Annotated[float, Field(description="0 to 1: evidence for its kind. A rank, not a probability.")]
    u_edge_px: Annotated[float, Field(description="Standard uncertainty of where its edge is, px.")]


class Proposals(Wire):
    """What was found, best first; empty if nothing was."""

    proposals: list[Proposal]


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
    found = _finder(context).reference(photo_id, body)
    return FoundScale(scale=found.scale, found=found.words, points=found.points_px)


@router.post(
    "/photos/{photo_id}/suggest", summary="Propose the outline of one thing", responses=problems(*MISSED)
)
def suggest(photo_id: PhotoId, body: SuggestIn, context: ContextDep) -> Proposals:
    """Propose the edge of the pit or blend-out at a point. Nothing is stored: a person accepts it or not.

    Where no edge is seen round the point none is made up: a problem (422) says so, and what to try.
    """
    return Proposals(proposals=[_proposal(_finder(context).outline(photo_id, body.kind, body.at))])


@router.post("/photos/{photo_id}/sweep", summary="Propose all pits", responses=problems(*MISSED))
def sweep(photo_id: PhotoId, body: SweepIn, context: ContextDep) -> Proposals:
    """Propose the pits of the picture or of a region that are not marked yet, best first.

    The scale reference is left out. Nothing is stored. An empty list is no proof of clean metal: pits under
    product, and pits finer than about 12 px, are not found.
    """
    return Proposals(proposals=[_proposal(one) for one in _finder(context).sweep(photo_id, body.region)])


def _proposal(found: Suggestion) -> Proposal:
    ring = [(round(float(x), 3), round(float(y), 3)) for x, y in found.outline_px]
    return Proposal(
        kind="pit" if found.kind == "pit" else "blend-out",
        shape=PolygonShape(coordinates=[ring]),
        method=found.method,
        parameters=dict(found.parameters),
        score=round(found.score, 3),
        u_edge_px=round(found.edge_u_px, 3),
    )


def _finder(context: Context) -> Finder:
    return Finder(context.services, context.files, context.settings, context.executor)
