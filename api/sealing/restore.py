"""A sealed survey comes back from an archive as it was sealed: signatures, seal, citations, bench log."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session

from api import repository as repo
from api.actor import current_actor
from api.errors import ConflictError
from api.sealing.kept import Kept, kept_text, read_kept, sha256_of, state_digest
from api.sealing.rows import plain, seal_of
from api.sealing.statements import SUBJECT_OF
from api.sealing.successors import copy_log
from api.sealing.tables import CitationRow, SealRow, SignatureRow
from api.tables import SurveyRow
from corrosion.errors import RecordError
from corrosion.model import SurveyFile, parse_survey
from corrosion.record.facts import Cited, RecordFacts, facts_from_json


def restore_sealed(
    session: Session,
    survey: SurveyRow,
    facts_json: Mapping[str, Any],
    frozen_text: str,
    kept: str | None = None,
) -> RecordFacts:
    """Put signatures, seal and citations of an archived record on a survey that was just imported.

    Parameters
    ----------
    survey : SurveyRow
        Entered from `frozen_text`, in this transaction.
    facts_json : mapping
        What `corrosion.record.facts.facts_json` wrote.
    frozen_text : str
        The survey file, byte for byte as it was sealed.
    kept : str, optional
        What `api.sealing.facts.kept_of` gave; without it the bench log and the candidates' surveys are
        not known here.

    Raises
    ------
    RecordError
        If the seal is not on this file, or a part cannot be read.
    ConflictError
        If the survey is sealed already.
    """
    facts = facts_from_json(facts_json)
    file = parse_survey(frozen_text, place="archived survey")
    _cite(session, survey, facts)
    if kept is None:
        kept = kept_text(Kept(sizes={one.id: one.size for one in file.photos if one.size}))
    beside = read_kept(kept)
    copy_log(session, beside, survey.id)
    state = state_digest(sha256_of(frozen_text), sha256_of(kept))
    _sign(session, survey, facts, state)
    _seal(session, survey, facts, file, (frozen_text, kept, state))
    session.flush()
    return facts


def _seal(
    session: Session, survey: SurveyRow, facts: RecordFacts, file: SurveyFile, texts: tuple[str, str, str]
) -> None:
    frozen, kept, state = texts
    seal = facts.seal
    if seal is None:
        return
    if sha256_of(frozen) != seal.digest:
        raise RecordError(
            f"the seal is on a file with SHA-256 {seal.digest}, this one has {sha256_of(frozen)}.",
            remedy="The archived survey file was changed after it was sealed; do not trust it.",
        )
    if seal_of(session, survey.id) is not None:
        raise ConflictError("the survey is sealed already.", place=f"survey {survey.id}")
    session.add(
        SealRow(
            survey_id=survey.id,
            at=_time(seal.at),
            by_key="archive",
            by_name=repo.short_name(seal.by),
            digest=seal.digest,
            state=state,
            no_decision=plain(facts.no_decision),
            structure={
                "name": repo.short_name(file.structure.name),
                "units": file.units,
                "document": repo.dump(file.structure),
            },
            results={},
            frozen=frozen,
            kept=kept,
            kept_digest=sha256_of(kept),
        )
    )


def _sign(session: Session, survey: SurveyRow, facts: RecordFacts, state: str) -> None:
    typed = ("name", "statement", "place", "date", "certificate_number", "certificate_kind")
    for one in facts.signatures:
        if one.role not in SUBJECT_OF:
            raise RecordError(
                f"a signature's role is {one.role!r}; it can be {' or '.join(sorted(SUBJECT_OF))}.",
                remedy="The facts are not as the program wrote them; do not trust the record.",
            )
        session.add(
            SignatureRow(
                survey_id=survey.id,
                role=one.role,
                digest=state,
                created=_time(one.signed_at),
                by_key="archive",
                by_name=repo.short_name(one.name),
                document={name: getattr(one, name) for name in typed},
            )
        )


def _time(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text).astimezone(UTC)
    except ValueError as error:
        raise RecordError(
            f"{text!r} is not a time.",
            place="facts of the record",
            remedy="The facts are not as the program wrote them; do not trust the record.",
        ) from error


def _cite(session: Session, survey: SurveyRow, facts: RecordFacts) -> None:
    cited: dict[str, Cited | None] = {"revises": facts.revises, "carried": facts.carried_from}
    for kind, one in cited.items():
        if one is not None:
            session.add(
                CitationRow(
                    survey_id=survey.id,
                    kind=kind,
                    cited_id=repo.short_name(one.survey),
                    cited_name=repo.short_name(one.name),
                    cited_revision=one.revision,
                    cited_digest=one.digest,
                    reason=plain(facts.revision_reason) if kind == "revises" else "",
                    by_key="archive",
                    by_name=repo.short_name(current_actor().name),
                )
            )
