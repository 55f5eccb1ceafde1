"""The history: every change, who made it and when."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field

from api.context import ContextDep
from api.history.book import History, Line
from api.history.log import Wanted, entry_text
from api.history.words import KINDS
from api.routes import problems

router = APIRouter(tags=["history"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
Kind = Literal[
    "structure", "survey", "photos", "pictures", "suggestions", "rework", "readings", "plans", "bench",
    "record", "people", "keeping",
]  # fmt: skip
KindQuery = Annotated[Kind | None, Query(description="Only changes of this kind.")]
Before = Annotated[
    int, Query(ge=0, le=2**62, description="Only lines with a smaller number; for the next page.")
]
Limit = Annotated[int, Query(ge=1, le=1000, description="Most lines to return.")]


class HistoryLine(BaseModel):
    """One line of the history."""

    seq: Annotated[int, Field(description="Number of the line, from 1, without gaps.")]
    at: Annotated[datetime, Field(description="When it was written, in UTC.")]
    actor: Annotated[str, Field(description="Who made the change.")]
    via: Annotated[str, Field(description="How they came in: local, session, token or command.")]
    action: Annotated[
        str, Field(description="added, changed, withdrawn, or as found when the history began.")
    ]
    table: Annotated[str, Field(description="What kind of row was changed.")]
    row: Annotated[str, Field(description="Identifier of the row.")]
    survey: Annotated[str | None, Field(description="Survey it belongs to.")]
    structure: Annotated[str | None, Field(description="Structure it belongs to.")]
    headline: Annotated[str, Field(description="What happened, in plain words.")]
    details: Annotated[list[str], Field(description="What changed, one thing each; long lists are cut.")]
    reason: Annotated[str, Field(description="Why, as the person put it; may be empty.")]
    hash: Annotated[str, Field(description="SHA-256 of `text` in UTF-8, in hexadecimal.")]
    text: Annotated[
        str,
        Field(
            description="The line as it was hashed: canonical JSON with what changed, before and after, "
            "and the hash of the line before it."
        ),
    ]


class HistoryHead(BaseModel):
    """Where the history ends."""

    seq: Annotated[int, Field(description="Number of the last line; 0 before the first.")]
    hash: Annotated[str, Field(description="Its hash; 64 zeros before the first.")]


@router.get("/surveys/{survey_id}/history", summary="List a survey's history", responses=problems(404))
def list_survey_history(
    survey_id: SurveyId, context: ContextDep, kind: KindQuery = None, before: Before = 0, limit: Limit = 100
) -> list[HistoryLine]:
    """List every change of a survey, its parts and its structure, newest first.

    Ask for the next page with the last line's number as `before`.
    """
    wanted = _wanted(survey_id, kind, before, limit)
    return [_record(line) for line in History(context.database).lines(wanted)]


@router.get("/history", summary="List the whole history")
def list_history(
    context: ContextDep, kind: KindQuery = None, before: Before = 0, limit: Limit = 100
) -> list[HistoryLine]:
    """List every change of anything, newest first.

    Ask for the next page with the last line's number as `before`.
    """
    wanted = _wanted(None, kind, before, limit)
    return [_record(line) for line in History(context.database).lines(wanted)]


@router.get("/history/head", summary="Read where the history ends")
def read_head(context: ContextDep) -> HistoryHead:
    """Read the number and the hash of the last line.

    Noted where nobody can change it, the hash later shows whether the history before it was rewritten:
    ``corrosion verify --head HASH``.
    """
    seq, hash_ = History(context.database).head()
    return HistoryHead(seq=seq, hash=hash_)


def _wanted(survey_id: str | None, kind: Kind | None, before: int, limit: int) -> Wanted:
    return Wanted(survey_id, KINDS[kind][1] if kind else (), before=before, limit=limit)


def _record(line: Line) -> HistoryLine:
    entry = line.entry
    return HistoryLine(
        seq=entry.seq,
        at=entry.at,
        actor=entry.actor_name,
        via=entry.via,
        action=entry.action,
        table=entry.table,
        row=entry.row_id,
        survey=entry.survey_id,
        structure=entry.structure_id,
        headline=line.said.headline,
        details=line.said.details,
        reason=entry.reason,
        hash=entry.hash,
        text=entry_text(entry),
    )
