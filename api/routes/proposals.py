"""Outlines that the program proposes: asking for them, listing them, accepting or dropping each."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query
from pydantic import ConfigDict, Field

from api.context import Context, ContextDep
from api.proposals import Kept
from api.routes import problems
from api.schemas import EXAMPLE_SHA256, Wire
from api.suggest import Finder
from api.tables import ProposalRow
from corrosion.model.base import Identifier, PixelPoint

router = APIRouter(tags=["photos"])
PhotoId = Annotated[str, Path(description="Identifier of the photo in the service.")]
ProposalId = Annotated[str, Path(description="Identifier of the proposal.")]
Point = Annotated[PixelPoint, Field(description="(x, y), px.")]
SEARCH = (400, 403, 404, 409, 410, 413, 422, 503)
DECIDE = (400, 403, 404, 409, 410, 413, 422)


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


class AcceptIn(Wire):
    """Which mark a proposal became."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"mark": "P1", "edited": False}]}
    )
    mark: Annotated[Identifier, Field(description="Id of a mark that the photo has; save the marks first.")]
    edited: Annotated[
        bool,
        Field(
            description="Whether a person takes the outline to reshape it. It also counts as edited where "
            "the mark's outline is not the proposed one."
        ),
    ] = False


class PolygonShape(Wire):
    """A polygon as a mark's shape has it."""

    type: Literal["Polygon"] = "Polygon"
    coordinates: list[list[Point]]


class Decision(Wire):
    """What a person decided about a proposal."""

    by: Annotated[str, Field(description="Name of the person.")]
    at: datetime
    mark: Annotated[str | None, Field(description="Id of the mark it became; null if it was dropped.")]
    edited: Annotated[bool, Field(description="Whether the mark's outline is not the one proposed.")]


class Proposal(Wire):
    """An outline that the program proposes. It is no mark, and in no sum, until a person accepts it."""

    id: Annotated[str, Field(description="Identifier, for accepting and dropping it.")]
    name: Annotated[str, Field(description="What it is called on its photo.", examples=["S3"])]
    kind: Literal["pit", "blend-out"]
    shape: Annotated[PolygonShape, Field(description="Ready to be a mark's shape.")]
    method: Annotated[str, Field(description="How it was found, with the version of the method.")]
    parameters: Annotated[
        dict[str, float | str], Field(description="All that is needed to find it again, and its checks.")
    ]
    score: Annotated[float, Field(description="0 to 1: evidence for its kind. A rank, not a probability.")]
    u_edge_px: Annotated[float, Field(description="Standard uncertainty of where its edge is, px.")]
    picture_sha256: Annotated[
        str, Field(description="SHA-256 of the picture it was found in.", examples=[EXAMPLE_SHA256])
    ]
    asked: Annotated[
        Literal["point", "sweep"], Field(description="Whether a person pointed at it, or a sweep found it.")
    ]
    asked_by: Annotated[str, Field(description="Name of the person who asked.")]
    asked_at: datetime
    state: Literal["open", "accepted", "dropped"]
    decision: Annotated[Decision | None, Field(description="Null while it is open.")]


class Proposals(Wire):
    """What a search found."""

    proposals: Annotated[
        list[Proposal],
        Field(description="Best first; all are open. Those open before that were found again are in it."),
    ]
    open_before: Annotated[int, Field(description="How many of these were open before.")]
    dropped_before: Annotated[
        int,
        Field(
            description="How many were left out because a person dropped them once. Point at one to get it."
        ),
    ]


@router.post(
    "/photos/{photo_id}/suggest", summary="Propose the outline of one thing", responses=problems(*SEARCH)
)
def suggest(photo_id: PhotoId, body: SuggestIn, context: ContextDep) -> Proposals:
    """Propose the edge of the pit or blend-out at a point, and keep it until a person decides about it.

    The photo's marks stay as they are. An outline that is open already is not kept twice. Where no edge is
    seen round the point none is made up: a problem (422) says so, and what to try.
    """
    sha256 = context.proposals.picture_of(photo_id)
    found = _finder(context).outline(photo_id, body.kind, body.at)
    return _answer(context.proposals.keep(photo_id, sha256, [found], "point"))


@router.post("/photos/{photo_id}/sweep", summary="Propose all pits", responses=problems(*SEARCH))
def sweep(photo_id: PhotoId, body: SweepIn, context: ContextDep) -> Proposals:
    """Propose the pits of the picture or of a region that are not marked yet, best first, and keep them.

    The scale reference is left out, and so is what a person dropped before. The photo's marks stay as they
    are. An empty list is no proof of clean metal: pits under product, and pits finer than about 12 px, are
    not found.
    """
    sha256 = context.proposals.picture_of(photo_id)
    found = _finder(context).sweep(photo_id, body.region)
    return _answer(context.proposals.keep(photo_id, sha256, found, "sweep"))


@router.get(
    "/photos/{photo_id}/proposals", summary="List a photo's proposals", responses=problems(404, 410, 422)
)
def list_proposals(
    photo_id: PhotoId,
    context: ContextDep,
    state: Annotated[
        Literal["open", "all"], Query(description="Only those nobody has decided about, or all ever made.")
    ] = "open",
) -> list[Proposal]:
    """List the outlines proposed on a photo, in the order they were made.

    Open ones are those on the picture that the photo shows. Accepted and dropped ones stay on record with
    who decided and when.
    """
    rows = context.proposals.of_photo(photo_id, everything=state == "all")
    return [_proposal(row) for row in rows]


@router.post("/proposals/{proposal_id}/accept", summary="Accept a proposal", responses=problems(*DECIDE))
def accept_proposal(proposal_id: ProposalId, body: AcceptIn, context: ContextDep) -> Proposal:
    """Record which mark of the photo a proposal became. Save the mark first: this adds none.

    Saving a mark with exactly the proposed outline accepts the proposal already. If somebody accepted it
    before, that stands: the answer names their mark, and asking twice does no harm. If somebody dropped it
    meanwhile it is accepted now, because the mark is there.
    """
    return _proposal(context.proposals.accept(proposal_id, body.mark, edited=body.edited))


@router.post("/proposals/{proposal_id}/drop", summary="Drop a proposal", responses=problems(*DECIDE))
def drop_proposal(proposal_id: ProposalId, context: ContextDep) -> Proposal:
    """Record that a proposal is to become no mark. A later sweep does not propose the same outline again.

    If somebody accepted it before, that stands, and the answer says so.
    """
    return _proposal(context.proposals.drop(proposal_id))


def _answer(kept: Kept) -> Proposals:
    return Proposals(
        proposals=[_proposal(row) for row in kept.rows],
        open_before=kept.open_before,
        dropped_before=kept.dropped_before,
    )


def _proposal(row: ProposalRow) -> Proposal:
    return Proposal.model_validate(
        {
            "id": row.id,
            "name": row.key,
            "kind": row.kind,
            "method": row.method,
            "score": row.score,
            "picture_sha256": row.picture_sha256,
            "asked": row.asked,
            "asked_by": row.by_name,
            "asked_at": row.created,
            "state": row.state,
            "decision": _decision(row),
        }
        | row.document
    )


def _decision(row: ProposalRow) -> Decision | None:
    if row.decided_at is None:
        return None
    return Decision(by=row.decided_name or "", at=row.decided_at, mark=row.mark, edited=row.edited)


def _finder(context: Context) -> Finder:
    return Finder(context.services, context.files, context.settings, context.executor)
