"""Whom an open survey waits for, cheap enough for a list of many surveys."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.database import Database
from api.sealing.records import record_of
from api.sealing.statements import Subject
from api.sealing.tables import SignatureRow

MOST_CHECKED = 40
"""So many signed surveys are looked at for changes since; a longer list would keep its page waiting."""


def waiting_for(database: Database, survey_ids: Sequence[str]) -> dict[str, str]:
    """Say of open surveys what they wait for, in the order that a record is completed.

    Parameters
    ----------
    survey_ids : sequence of str
        Surveys that are not sealed, the ones of most interest first.

    Returns
    -------
    dict of str to str
        By survey, such as ``"the planner to sign"``; nothing for signed ones beyond `MOST_CHECKED`.
    """
    with database.reading() as session:
        signed = set(
            session.scalars(select(SignatureRow.survey_id).where(SignatureRow.survey_id.in_(survey_ids)))
        )
        checked = [one for one in survey_ids if one in signed][:MOST_CHECKED]
        words = dict.fromkeys(set(survey_ids) - signed, "the inspector to sign")
        return words | {one: _next_hand(session, one) for one in checked}


def _next_hand(session: Session, survey_id: str) -> str:
    record, _ = record_of(session, survey_id)
    subjects: tuple[tuple[Subject, str], ...] = (("findings", "inspector"), ("decision", "planner"))
    for subject, who in subjects:
        if not record.valid(subject):
            return f"the {who} to sign" + (" again: it was changed since" if record.void(subject) else "")
    return "the clerk to seal"
