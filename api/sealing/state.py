"""The exact state of a survey, as the texts that are signed and frozen."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import NotFoundError
from api.exchange import Export, export_in
from api.sealing.kept import (
    Kept,
    KeptCandidate,
    KeptCitation,
    KeptTick,
    kept_text,
    sha256_of,
    state_digest,
)
from api.sealing.rows import citations_of, seal_of
from api.tables import TickRow
from corrosion.model import dump_survey


@dataclass(frozen=True)
class SurveyState:
    """A survey as it is now, or as it was sealed.

    Attributes
    ----------
    export : Export
        With all hashes.
    file, kept : str
        The survey file, and what its results rest on beside it (`api.sealing.kept`).
    digest : str
        What a signature given now is bound to: any later change gives another one, and the same content
        the same one.
    """

    export: Export
    file: str
    kept: str
    digest: str


def state_of(session: Session, survey_id: str) -> SurveyState:
    """Put together what is signed; `NotFoundError` if there is no such survey."""
    export = export_in(session, survey_id, with_hashes=True)
    seal = seal_of(session, survey_id)
    if seal is not None:
        return SurveyState(export, seal.frozen, seal.kept, seal.state)
    file, kept = dump_survey(export.file), kept_text(_kept(session, survey_id, export))
    return SurveyState(export, file, kept, state_digest(sha256_of(file), sha256_of(kept)))


def _kept(session: Session, survey_id: str, export: Export) -> Kept:
    return Kept(
        sizes=export.sizes,
        ticks=[_tick(row) for row in _ticks(session, survey_id)],
        candidates=_candidates(session, export),
        citations=[
            KeptCitation.model_validate(
                {
                    "kind": kind,
                    "survey": row.cited_id,
                    "revision": row.cited_revision,
                    "digest": row.cited_digest,
                    "reason": row.reason,
                }
            )
            for kind, row in sorted(citations_of(session, survey_id).items())
        ],
    )


def _ticks(session: Session, survey_id: str) -> list[TickRow]:
    statement = select(TickRow).where(TickRow.survey_id == survey_id)
    return list(session.scalars(statement.order_by(TickRow.created, TickRow.id)))


def _tick(row: TickRow) -> KeptTick:
    logged = row.created.isoformat()
    return KeptTick(card=row.card, fingerprint=row.fingerprint, logged=logged, **row.document)


def _candidates(session: Session, export: Export) -> dict[str, KeptCandidate]:
    """Copy the surveys of the decision's candidates: the comparison rests on them too."""
    decision = export.file.decision
    found: dict[str, KeptCandidate] = {}
    for name in [one.survey for one in decision.candidates if one.survey] if decision else []:
        try:
            its = export_in(session, name, with_hashes=True)
        except NotFoundError:
            # Not here: the decision says itself that it was not given.
            continue
        found[name] = KeptCandidate(file=its.text, sizes=its.sizes)
    return found
