"""The record: signatures, the seal, and what follows on a sealed survey."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Response
from pydantic import Field, StringConstraints

from api import wire
from api.context import ContextDep
from api.routes import problems
from api.schemas import EXAMPLE_ID, EXAMPLE_SHA256, SurveyRecord, Wire
from api.sealing.records import GivenSignature, Record, missing
from api.sealing.statements import DEFAULT_STATEMENTS, Subject, Typed
from api.sealing.successors import Opened
from api.sealing.tables import CitationRow

router = APIRouter(prefix="/surveys/{survey_id}", tags=["record"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
Digest = Annotated[
    str,
    Field(
        pattern=r"^[0-9a-f]{64}$",
        description="`digest` of the record as it was read: what the person saw is what is signed.",
        examples=[EXAMPLE_SHA256],
    ),
]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]
EXAMPLE_SIGN: dict[str, Any] = {
    "digest": EXAMPLE_SHA256,
    "name": "Inspector A",
    "certificate_number": "INV-0042",
    "certificate_kind": "invented mechanic's licence",
    "statement": DEFAULT_STATEMENTS["findings"],
    "place": "Shop 2",
    "date": "2031-04-24",
}


EXAMPLE_SEAL = {"digest": EXAMPLE_SHA256, "no_decision": "Only looked at; the owner decides later."}
EXAMPLE_REVISION = {"reason": "The depth of B1 was read with the wrong gauge."}
EXAMPLE_NEXT = {"name": "Two years on"}


class SignIn(Wire):
    """A signature, as the person types it. Nothing of it is looked up."""

    digest: Digest
    name: Line
    certificate_number: Annotated[str, Field(max_length=200)] = ""
    certificate_kind: Annotated[str, Field(max_length=200)] = ""
    statement: Annotated[Words, Field(min_length=1, description="In the person's own words.")]
    place: Line
    date: Annotated[dt.date, Field(description="The date that the person gives.")]


class SealIn(Wire):
    """The clerk's seal."""

    digest: Digest
    no_decision: Annotated[
        Words, Field(description="Why there is no decision, where no planner signs one.")
    ] = ""


class RevisionIn(Wire):
    """Why a sealed survey has to be corrected."""

    reason: Annotated[Words, Field(min_length=1)]


class NextIn(Wire):
    """What the next survey is called; made from the old one's name if empty."""

    name: Annotated[Words, Field(max_length=400)] = ""


class SignatureOut(Wire):
    """A signature as given; one that is not `valid` was given on another state of the survey, so void."""

    id: str
    subject: Subject
    role: str
    valid: bool
    digest: str
    signed_at: dt.datetime
    account: Annotated[str, Field(description="Name of the account it was given under.")]
    name: str
    certificate_number: str
    certificate_kind: str
    statement: str
    place: str
    date: str


class SealOut(Wire):
    """The seal. `digest` is the SHA-256 of the survey file that `GET .../file` gives from now on."""

    by: str
    at: dt.datetime
    digest: str
    no_decision: str


class CitationOut(Wire):
    """A citation between two surveys."""

    survey_id: str
    name: str
    revision: int
    digest: str
    reason: str


class RecordOut(Wire):
    """What stands under a survey, and what is missing before it can be sealed."""

    survey_id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    standing: Literal["open", "signed", "sealed", "superseded"]
    digest: Digest
    revision: int
    signatures: list[SignatureOut]
    missing: Annotated[list[str], Field(description="In plain words; empty once it is sealed.")]
    has_decision: bool
    seal: SealOut | None
    revises: CitationOut | None
    carried_from: CitationOut | None
    revised_by: Annotated[str | None, Field(description="Survey that corrects this one.")]
    carried_to: Annotated[list[str], Field(description="Surveys that go on from this one.")]


class OpenedOut(Wire):
    """A survey that follows on a sealed one."""

    survey: SurveyRecord
    left_out: Annotated[list[str], Field(description="What could not be taken along, in plain words.")]


@router.get("/record", summary="Read the record's standing", responses=problems(404))
def read_record(survey_id: SurveyId, context: ContextDep) -> RecordOut:
    """Read who signed what, whether it still counts, the seal, and what is missing."""
    return record_out(context.records.record(survey_id))


@router.post(
    "/signatures/findings",
    status_code=201,
    summary="Sign the findings",
    responses=problems(400, 403, 404, 409, 412, 413, 422),
)
def sign_findings(
    survey_id: SurveyId, body: Annotated[SignIn, Body(examples=[EXAMPLE_SIGN])], context: ContextDep
) -> RecordOut:
    """Sign, as inspector, what was found, in the state the survey is in now.

    Any later change makes the signature void: it is kept, and shown as void. A signed survey is an
    attachment to the maintenance record, never the maintenance entry.
    """
    return record_out(context.records.sign(survey_id, "findings", body.digest, _typed(body)))


@router.post(
    "/signatures/decision",
    status_code=201,
    summary="Sign the decision",
    responses=problems(400, 403, 404, 409, 412, 413, 422),
)
def sign_decision(
    survey_id: SurveyId, body: Annotated[SignIn, Body(examples=[EXAMPLE_SIGN])], context: ContextDep
) -> RecordOut:
    """Sign, as planner, what is to be done; otherwise as for the findings."""
    return record_out(context.records.sign(survey_id, "decision", body.digest, _typed(body)))


@router.post(
    "/seal", status_code=201, summary="Seal a survey", responses=problems(400, 403, 404, 409, 412, 413, 422)
)
def seal(
    survey_id: SurveyId, body: Annotated[SealIn, Body(examples=[EXAMPLE_SEAL])], context: ContextDep
) -> RecordOut:
    """Freeze a survey with its structure, limits, hashes and bench log. It does not change any more.

    It takes every picture, and valid signatures: the inspector's and the planner's, or the inspector's and
    the reason why there is no decision.
    """
    return record_out(context.records.seal(survey_id, body.digest, body.no_decision))


@router.post(
    "/revisions",
    status_code=201,
    summary="Open a revision of a sealed survey",
    responses=problems(400, 403, 404, 409, 413, 422),
)
def open_revision(
    survey_id: SurveyId,
    body: Annotated[RevisionIn, Body(examples=[EXAMPLE_REVISION])],
    response: Response,
    context: ContextDep,
) -> OpenedOut:
    """Copy a sealed survey into a new one that can be corrected and cites it with its digest."""
    return _opened(context.successors.open_revision(survey_id, body.reason), response)


@router.post(
    "/next",
    status_code=201,
    summary="Open the next survey of the structure",
    responses=problems(400, 403, 404, 409, 413, 422),
)
def open_next(
    survey_id: SurveyId,
    body: Annotated[NextIn, Body(examples=[EXAMPLE_NEXT])],
    response: Response,
    context: ContextDep,
) -> OpenedOut:
    """Open a survey whose earlier rework is everything that was removed up to the sealed one.

    So the sum at every place goes on where it stood. Photos and decision are not taken over.
    """
    return _opened(context.successors.carry_forward(survey_id, body.name), response)


def _typed(body: SignIn) -> Typed:
    return Typed(
        name=body.name,
        statement=body.statement,
        place=body.place,
        date=body.date.isoformat(),
        certificate_number=body.certificate_number.strip(),
        certificate_kind=body.certificate_kind.strip(),
    )


def _opened(opened: Opened, response: Response) -> OpenedOut:
    response.headers["Location"] = f"/api/surveys/{opened.view.row.id}"
    return OpenedOut(survey=wire.survey_record(opened.view), left_out=opened.left_out)


def record_out(record: Record) -> RecordOut:
    """Wire form of a record."""
    sealed = record.seal
    return RecordOut(
        survey_id=record.view.row.id,
        standing=record.standing,
        digest=record.digest,
        revision=record.revision,
        signatures=[_signature(one) for one in record.signatures],
        missing=[] if sealed else missing(record, ""),
        has_decision=record.has_decision,
        seal=sealed
        and SealOut(by=sealed.by_name, at=sealed.at, digest=sealed.digest, no_decision=sealed.no_decision),
        revises=_cited(record.cites.get("revises")),
        carried_from=_cited(record.cites.get("carried")),
        revised_by=record.revised_by.survey_id if record.revised_by else None,
        carried_to=[row.survey_id for row in record.carried_to],
    )


def _signature(given: GivenSignature) -> SignatureOut:
    row = given.row
    return SignatureOut(
        id=row.id,
        subject=given.subject,
        role=row.role,
        valid=given.valid,
        digest=row.digest,
        signed_at=row.created,
        account=row.by_name,
        **row.document,
    )


def _cited(row: CitationRow | None) -> CitationOut | None:
    if row is None:
        return None
    return CitationOut(
        survey_id=row.cited_id,
        name=row.cited_name,
        revision=row.cited_revision,
        digest=row.cited_digest,
        reason=row.reason,
    )
