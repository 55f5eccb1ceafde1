"""What a survey's record says beside its file, for the report and the archive."""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.history import log
from api.sealing.records import GivenSignature, record_of
from api.sealing.rows import seal_of
from api.sealing.tables import CitationRow, SealRow
from corrosion.record.facts import Cited, HistoryHead, RecordFacts, Seal, Signature


def record_facts(session: Session, survey_id: str) -> RecordFacts:
    """Return the facts of a survey's record; signatures that became void are left out.

    Raises
    ------
    NotFoundError
        If there is no such survey.
    """
    record, _ = record_of(session, survey_id)
    revises = record.cites.get("revises")
    head = log.head(session)
    return RecordFacts(
        signatures=tuple(_signature(one) for one in record.signatures if one.valid),
        seal=_seal(record.seal),
        revision=record.revision,
        revises=_cited(revises),
        revision_reason=revises.reason if revises else "",
        no_decision=record.seal.no_decision if record.seal else "",
        history_head=HistoryHead(head.seq, head.hash),
        carried_from=_cited(record.cites.get("carried")),
    )


def kept_of(session: Session, survey_id: str) -> str | None:
    """Return what a sealed survey keeps beside its file (`api.sealing.kept`); None while it is open.

    An archive that holds this text too brings bench log and candidates back (`restore_sealed`).
    """
    seal = seal_of(session, survey_id)
    return None if seal is None else seal.kept


def _signature(given: GivenSignature) -> Signature:
    row = given.row
    return Signature(role=row.role, signed_at=row.created.isoformat(), **row.document)


def _seal(row: SealRow | None) -> Seal | None:
    return None if row is None else Seal(row.by_name, row.at.isoformat(), row.digest)


def _cited(row: CitationRow | None) -> Cited | None:
    if row is None:
        return None
    return Cited(row.cited_id, row.cited_name, row.cited_revision, row.cited_digest)
