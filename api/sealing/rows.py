"""Looking up seals, and refusing what they forbid. Everything else about seals builds on this."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import SealedError
from api.sealing.tables import CitationRow, SealRow, SignatureRow
from api.tables import StructureRow, SurveyRow

TEXT_LENGTH = 4000


def plain(text: str) -> str:
    """Return a text fit for a text column: PostgreSQL has no NUL."""
    return text.replace("\x00", "").strip()[:TEXT_LENGTH]


def refuse_sealed(session: Session, survey: SurveyRow) -> None:
    """Raise `SealedError`, saying who sealed it when and the way out, if a survey is sealed."""
    seal = seal_of(session, survey.id)
    if seal is None:
        return
    newer = revision_of(session, survey.id)
    way_out = (
        f"Make the change in its revision, survey {newer.survey_id}."
        if newer
        else "Open a revision of it on its Record page: a copy that can be edited and cites this one."
    )
    raise SealedError(
        f"the survey {survey.name!r} was sealed by {seal.by_name} on {seal.at:%Y-%m-%d %H:%M} UTC "
        "and does not change any more.",
        place=f"survey {survey.id}",
        remedy=way_out,
    )


def seal_of(session: Session, survey_id: str) -> SealRow | None:
    """Return a survey's seal; None while it is open."""
    return session.get(SealRow, survey_id)


def seals_of(session: Session, surveys: Sequence[str]) -> dict[str, SealRow]:
    """Return the seals of those of some surveys that are sealed, by survey."""
    statement = select(SealRow).where(SealRow.survey_id.in_(surveys))
    return {row.survey_id: row for row in session.scalars(statement)}


def revision_of(session: Session, survey_id: str) -> CitationRow | None:
    """Return the citation of the survey that revises another one, if any does."""
    statement = select(CitationRow).where(CitationRow.cited_id == survey_id, CitationRow.kind == "revises")
    return session.scalars(statement.order_by(CitationRow.created)).first()


def frozen_structure(live: StructureRow, seal: SealRow) -> StructureRow:
    """Return a structure as a seal froze it.

    It is a row of no table: it can be read, but nothing that is done to it is stored.
    """
    return StructureRow(id=live.id, version=live.version, created=live.created, **seal.structure)


def signatures_of(session: Session, survey_id: str) -> list[SignatureRow]:
    """Return every signature a survey was given, also void ones, in the order they were given."""
    statement = select(SignatureRow).where(SignatureRow.survey_id == survey_id)
    return list(session.scalars(statement.order_by(SignatureRow.created, SignatureRow.id)))


def citations_of(session: Session, survey_id: str) -> dict[str, CitationRow]:
    """Return what a survey cites, by kind: ``revises`` and ``carried``."""
    statement = select(CitationRow).where(CitationRow.survey_id == survey_id)
    return {row.kind: row for row in session.scalars(statement)}


def cited_by(session: Session, survey_id: str) -> list[CitationRow]:
    """Return the citations of a survey by others, oldest first."""
    statement = select(CitationRow).where(CitationRow.cited_id == survey_id)
    return list(session.scalars(statement.order_by(CitationRow.created, CitationRow.id)))
