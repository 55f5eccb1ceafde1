"""Signing and sealing: what stands under a survey, what is still missing, and the seal itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

import corrosion
from api import repository as repo
from api.actor import current_actor
from api.database import Database
from api.errors import ConflictError, StaleError
from api.files import PictureFiles
from api.results import Results
from api.sealing.kept import sha256_of
from api.sealing.rows import citations_of, cited_by, plain, seal_of, signatures_of
from api.sealing.state import SurveyState, state_of
from api.sealing.statements import ROLE_OF, SUBJECT_OF, Subject, Typed, check_typed
from api.sealing.tables import CitationRow, SealRow, SignatureRow
from api.services import SurveyView
from api.tables import PhotoRow, PictureRow, StructureRow, SurveyRow, now
from corrosion.errors import CorrosionError, StorageError
from corrosion.results import Assessment
from corrosion.units import LengthUnit

Standing = Literal["open", "signed", "sealed", "superseded"]


@dataclass(frozen=True)
class GivenSignature:
    """A signature, and whether the survey is still as it was when it was given."""

    row: SignatureRow
    valid: bool

    @property
    def subject(self) -> Subject:
        """What was signed."""
        return SUBJECT_OF[self.row.role]


@dataclass(frozen=True)
class Record:
    """What stands under a survey.

    Attributes
    ----------
    digest : str
        State that a signature or the seal has to name.
    waiting : list of str
        Photos whose pictures are not here.
    has_decision : bool
        Whether the survey states what is to be decided.
    revision : int
        1 for the first; a revision has one more than what it revises.
    cites : dict of str to CitationRow
        What it ``revises`` and what it was ``carried`` from.
    cited_by : list of CitationRow
        Later surveys that revise it or were carried from it.
    """

    view: SurveyView
    digest: str
    signatures: list[GivenSignature]
    waiting: list[str]
    has_decision: bool
    revision: int
    cites: dict[str, CitationRow]
    cited_by: list[CitationRow]
    revision_sealed: bool

    @property
    def seal(self) -> SealRow | None:
        """The seal, if there is one."""
        return self.view.seal

    @property
    def revised_by(self) -> CitationRow | None:
        """The citation of the survey that revises this one."""
        return next((row for row in self.cited_by if row.kind == "revises"), None)

    @property
    def carried_to(self) -> list[CitationRow]:
        """Citations of the surveys that go on from this one."""
        return [row for row in self.cited_by if row.kind == "carried"]

    @property
    def standing(self) -> Standing:
        """Where the record stands, in one word."""
        if self.seal is not None:
            return "superseded" if self.revised_by and self.revision_sealed else "sealed"
        return "signed" if self.valid("findings") else "open"

    def valid(self, subject: Subject) -> GivenSignature | None:
        """Return the latest signature on a subject that counts."""
        given = [one for one in self.signatures if one.subject == subject and one.valid]
        return given[-1] if given else None

    def void(self, subject: Subject) -> bool:
        """Whether a subject was signed, but the survey was changed since."""
        return any(one.subject == subject for one in self.signatures) and not self.valid(subject)


class Records:
    """Use cases on signatures and seals."""

    def __init__(self, database: Database, results: Results, files: PictureFiles) -> None:
        self._database = database
        self._results = results
        self._files = files

    def record(self, survey_id: str) -> Record:
        """Return what stands under a survey; `NotFoundError` if there is no such survey."""
        with self._database.reading() as session:
            return record_of(session, survey_id)[0]

    def structure_changed(self, survey_id: str) -> bool:
        """Whether the structure was changed since a survey was sealed, which keeps the old one."""
        with self._database.reading() as session:
            survey = repo.find(session, SurveyRow, survey_id)
            seal = seal_of(session, survey_id)
            live = repo.find(session, StructureRow, survey.structure_id)
            return seal is not None and seal.structure["document"] != live.document

    def sign(self, survey_id: str, subject: Subject, digest: str, typed: Typed) -> Record:
        """Add a signature to a survey in the state that the person saw.

        Raises
        ------
        SealedError
            If the survey is sealed.
        StaleError
            If it has changed since.
        InvalidError
            If something a signature needs is empty.
        """
        check_typed(typed)
        actor = current_actor()
        with self._database.writing() as session:
            repo.lock_survey(session, survey_id, counts=False)
            state = state_of(session, survey_id)
            _must_be(state, digest, survey_id)
            row = SignatureRow(
                survey_id=survey_id,
                role=str(ROLE_OF[subject]),
                digest=state.digest,
                by_key=actor.key,
                by_name=repo.short_name(actor.name),
                document=repo.storable(typed.document()),
            )
            session.add(row)
            session.flush()
            return record_of(session, survey_id, state)[0]

    def seal(self, survey_id: str, digest: str, no_decision: str) -> Record:
        """Freeze a survey for good.

        Parameters
        ----------
        no_decision : str
            Why nobody signs a decision; empty where the planner has signed it.

        Raises
        ------
        SealedError
            If it is sealed already.
        StaleError
            If it has changed since the person saw it.
        ConflictError
            If a picture or a signature is missing, or the sums cannot be made.
        """
        # Assessing takes seconds; nobody should wait for a lock meanwhile, and then it is at hand.
        self.verdicts(survey_id)
        actor = current_actor()
        with self._database.writing() as session:
            survey = repo.lock_survey(session, survey_id, counts=False)
            record, state = record_of(session, survey_id)
            _must_be(state, digest, survey_id)
            _must_be_complete(record, no_decision)
            self._must_have_pictures(session, survey)
            structure = record.view.structure
            session.add(
                SealRow(
                    survey_id=survey_id,
                    at=now(),
                    by_key=actor.key,
                    by_name=repo.short_name(actor.name),
                    digest=sha256_of(state.file),
                    state=state.digest,
                    no_decision="" if record.valid("decision") else plain(no_decision),
                    structure={
                        "name": structure.name,
                        "units": structure.units,
                        "document": structure.document,
                    },
                    results=_summary(self._results.of(state.export).assessment),
                    frozen=state.file,
                    kept=state.kept,
                    kept_digest=sha256_of(state.kept),
                )
            )
            session.flush()
            return record_of(session, survey_id)[0]

    def verdicts(self, survey_id: str) -> dict[str, Any]:
        """Return the verdicts of a survey as this program reaches them now, in the form a seal keeps.

        Raises
        ------
        ConflictError
            If the sums cannot be made.
        """
        try:
            return _summary(self._results.assessed(survey_id).assessment)
        except StorageError:
            raise
        except CorrosionError as error:
            raise ConflictError(
                f"the sums of the survey cannot be made: {error}",
                place=f"survey {survey_id}",
                remedy="Mend that first: a record without sums would say nothing.",
            ) from error

    def _must_have_pictures(self, session: Session, survey: SurveyRow) -> None:
        """Check that the store has the bytes of every picture that the record names."""
        statement = (
            select(PhotoRow.key, PictureRow.sha256, PictureRow.size_bytes)
            .join(PictureRow, PictureRow.sha256 == PhotoRow.picture_sha256)
            .where(repo.stands_in(PhotoRow, survey.id))
        )
        for key, sha256, size in session.execute(statement):
            if self._files.size_of(sha256) != size:
                raise ConflictError(
                    f"the stored original of photo {key!r} does not have the size it had.",
                    place=f"survey {survey.id}",
                    remedy="Restore the picture store from a backup before anything is sealed.",
                )


def record_of(
    session: Session, survey_id: str, state: SurveyState | None = None
) -> tuple[Record, SurveyState]:
    """Put a survey's record together, with the state it rests on."""
    survey = repo.find(session, SurveyRow, survey_id)
    seal = seal_of(session, survey_id)
    state = state or state_of(session, survey_id)
    cites, citing = citations_of(session, survey_id), cited_by(session, survey_id)
    newer = next((row.survey_id for row in citing if row.kind == "revises"), None)
    photos = repo.parts(session, PhotoRow, survey_id)
    record = Record(
        view=SurveyView(survey, repo.structure_for(session, survey), seal),
        digest=state.digest,
        signatures=[
            GivenSignature(row, row.digest == state.digest) for row in signatures_of(session, survey_id)
        ],
        waiting=[row.key for row in photos if row.picture_sha256 is None],
        has_decision=state.export.file.decision is not None,
        revision=revision_number(cites),
        cites=cites,
        cited_by=citing,
        revision_sealed=newer is not None and seal_of(session, newer) is not None,
    )
    return record, state


def revision_number(cites: dict[str, CitationRow]) -> int:
    """Return which revision a survey is, from what it cites."""
    revises = cites.get("revises")
    return 1 if revises is None else revises.cited_revision + 1


def _must_be(state: SurveyState, digest: str, survey_id: str) -> None:
    if state.digest != digest:
        raise StaleError(
            "the survey has been changed since you looked at it.",
            place=f"survey {survey_id}",
            remedy="Load the page again and look at what it says now, before you sign or seal it.",
        )


def _must_be_complete(record: Record, no_decision: str) -> None:
    lacks = missing(record, no_decision)
    if lacks:
        raise ConflictError(
            f"the survey cannot be sealed yet: {'; '.join(lacks)}.",
            place=f"survey {record.view.row.id}",
            remedy="See to that on its Record page, then seal it.",
        )


def missing(record: Record, no_decision: str) -> list[str]:
    """Name what a survey lacks before it can be sealed, in plain words."""
    lacks = []
    if record.waiting:
        names = ", ".join(record.waiting[:10]) + (" and more" if len(record.waiting) > 10 else "")
        lacks.append(f"{len(record.waiting)} of its pictures are missing ({names})")
    if not record.valid("findings"):
        lacks.append(_unsigned(record, "findings", "inspector"))
    if not record.valid("decision"):
        if record.has_decision:
            lacks.append(_unsigned(record, "decision", "planner"))
        elif not plain(no_decision):
            lacks.append(
                _unsigned(record, "decision", "planner") + ", nor is it stated why there is no decision"
            )
    return lacks


def _unsigned(record: Record, subject: Subject, who: str) -> str:
    if record.void(subject):
        return f"it was changed after the {who} signed the {subject}, so they have to be signed again"
    return f"the {who} has not signed the {subject}"


def _summary(assessment: Assessment) -> dict[str, Any]:
    """Write the verdicts that the seal keeps beside the frozen file."""
    shown: LengthUnit = assessment.survey.display_units or "mm"
    return {
        "program": corrosion.__version__,
        "display_units": shown,
        "verdict": str(assessment.verdict),
        "members": [
            {
                "id": one.member.id,
                "verdict": str(one.verdict),
                "removed_mm": one.deepest.removed.value if one.deepest else 0.0,
                "limit_mm": one.deepest.limit if one.deepest else None,
            }
            for one in assessment.members
        ],
    }
