"""What follows on a sealed survey: its revision, or the next survey of the same structure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from pydantic import ValidationError
from sqlalchemy.orm import Session

from api import repository as repo
from api.actor import current_actor
from api.database import Database
from api.errors import ConflictError, Fault, InvalidError
from api.exchange import Exchange, add_parts, head_of
from api.results import Results
from api.sealing.kept import Kept, read_kept
from api.sealing.records import revision_number
from api.sealing.rows import citations_of, plain, revision_of, seal_of
from api.sealing.tables import CitationRow, SealRow
from api.services import SurveyView
from api.tables import PhotoRow, StructureRow, SurveyRow, TickRow
from corrosion.carry import Carried, carry_forward
from corrosion.model import SurveyFile, SurveyInfo, parse_survey

_NUMBERED = re.compile(r" \(revision \d+\)$")
_NOTE_LENGTH = 4000


@dataclass(frozen=True)
class Opened:
    """A survey that follows on another, and what could not be taken along, in plain words."""

    view: SurveyView
    left_out: list[str]


class Successors:
    """Use cases that open a survey on the ground of a sealed one."""

    def __init__(self, database: Database, exchange: Exchange, results: Results) -> None:
        self._database = database
        self._exchange = exchange
        self._results = results

    def open_revision(self, survey_id: str, reason: str) -> Opened:
        """Open a copy of a sealed survey in which it can be corrected.

        Everything is copied, the bench log too; photos share the stored originals. The copy is judged by
        the structure as it is now, so that a limit entered wrongly can be corrected as well.

        Parameters
        ----------
        reason : str
            Why it has to be corrected; kept with the citation.

        Raises
        ------
        ConflictError
            If it is not sealed or being revised already, or the structure lacks a member by now.
        InvalidError
            If no reason is stated.
        """
        if not plain(reason):
            message = "a correction needs its reason"
            raise InvalidError(
                f"body.reason: {message}.",
                remedy="Say what is corrected and why.",
                faults=[Fault(path="body.reason", message=message, value=reason)],
            )
        with self._database.writing() as session:
            old, seal = _sealed(session, survey_id)
            number = revision_number(citations_of(session, survey_id)) + 1
            name = f"{_NUMBERED.sub('', old.name)} (revision {number})"
            frozen = parse_survey(seal.frozen, place=f"sealed survey {survey_id}")
            info = frozen.survey.model_copy(update={"name": name})
            view = _enter(session, old, frozen.model_copy(update={"survey": info}))
            _name_uploads(session, survey_id, view.row.id)
            copy_log(session, read_kept(seal.kept), view.row.id)
            session.add(_citation(view.row, old, seal, "revises", number - 1, reason))
            carried = citations_of(session, survey_id).get("carried")
            if carried is not None:
                session.add(_same_citation(view.row, carried))
            session.flush()
        return Opened(view, [])

    def carry_forward(self, survey_id: str, name: str) -> Opened:
        """Open the next survey of a structure: what was removed so far is its earlier rework.

        See `corrosion.carry`. Settings, planning, instruments and lens profiles are taken over; photos,
        marks and the decision are not.

        Parameters
        ----------
        name : str
            Of the new survey; made from the old one's if empty.

        Raises
        ------
        ConflictError
            If it is not sealed or was revised, or the structure lacks a member by now.
        """
        export = self._exchange.export(survey_id)
        kept = self._results.of(export)
        with self._database.writing() as session:
            old, seal = _sealed(session, survey_id)
            source = f"'{old.name}' ({survey_id})"
            carried = carry_forward(
                kept.assessment, export.file, source=source, until=f"{seal.at:%Y-%m-%d}"
            )
            file = _next_file(export.file, carried, name.strip() or f"Next after {old.name}", source)
            view = _enter(session, old, file)
            number = revision_number(citations_of(session, survey_id))
            session.add(_citation(view.row, old, seal, "carried", number, ""))
            session.flush()
        return Opened(view, carried.left_out)


def _sealed(session: Session, survey_id: str) -> tuple[SurveyRow, SealRow]:
    """Hold a sealed survey that nothing revises; `ConflictError` if it is another kind."""
    row = repo.hold_survey(session, survey_id)
    seal = seal_of(session, survey_id)
    if seal is None:
        raise ConflictError(
            f"the survey {row.name!r} is not sealed.",
            place=f"survey {survey_id}",
            remedy="Correct it as it is; once it is sealed, revisions and the next survey build on it.",
        )
    newer = revision_of(session, survey_id)
    if newer is not None:
        raise ConflictError(
            f"the survey {row.name!r} is revised by survey {newer.survey_id}.",
            place=f"survey {survey_id}",
            remedy="Go on from that one.",
        )
    return row, seal


def _enter(session: Session, old: SurveyRow, file: SurveyFile) -> SurveyView:
    """Enter a survey file as a survey on the structure of an old one, as that is now."""
    structure = repo.lock_structure(session, old.structure_id, shared=True)
    _must_fit(file, structure)
    row = SurveyRow(
        structure_id=structure.id, name=repo.short_name(file.survey.name), document=head_of(file)
    )
    session.add(row)
    session.flush()
    add_parts(session, row.id, file)
    session.flush()
    return SurveyView(row, structure)


def _must_fit(file: SurveyFile, structure: StructureRow) -> None:
    document = file.model_dump(mode="json") | {"structure": structure.document}
    try:
        SurveyFile.model_validate(document)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        raise ConflictError(
            f"the structure was changed since, and the survey does not fit it any more: {first['msg']}.",
            place=f"structure {structure.id}",
            remedy="Put the member back into the structure first.",
        ) from error


def _next_file(old: SurveyFile, carried: Carried, name: str, source: str) -> SurveyFile:
    told = [f"What was removed before is carried from survey {source}.", *carried.left_out]
    info = SurveyInfo(name=name, note=" ".join(told)[:_NOTE_LENGTH])
    update = {
        "survey": info,
        "photos": [],
        "removals": carried.removals,
        "thickness_readings": carried.readings,
        "decision": None,
    }
    return old.model_copy(update=update)


def _name_uploads(session: Session, old: str, new: str) -> None:
    """Keep the names that the pictures were uploaded under."""
    names = {row.key: row.upload_name for row in repo.parts(session, PhotoRow, old)}
    for row in repo.parts(session, PhotoRow, new):
        row.upload_name = names.get(row.key, "")


def copy_log(session: Session, kept: Kept, survey_id: str) -> None:
    """Give a survey the bench log of another, with the times its lines came in."""
    for tick in kept.ticks:
        session.add(
            TickRow(
                survey_id=survey_id,
                card=tick.card,
                fingerprint=tick.fingerprint,
                created=datetime.fromisoformat(tick.logged),
                document=tick.model_dump(include={"who", "what", "when", "note"}),
            )
        )


def _citation(
    new: SurveyRow, old: SurveyRow, seal: SealRow, kind: str, revision: int, reason: str
) -> CitationRow:
    actor = current_actor()
    return CitationRow(
        survey_id=new.id,
        kind=kind,
        cited_id=old.id,
        cited_name=old.name,
        cited_revision=revision,
        cited_digest=seal.digest,
        reason=plain(reason),
        by_key=actor.key,
        by_name=repo.short_name(actor.name),
    )


def _same_citation(new: SurveyRow, old: CitationRow) -> CitationRow:
    """Repeat a citation: a revision is carried from what its first issue was carried from."""
    columns = ("kind", "cited_id", "cited_name", "cited_revision", "cited_digest", "reason")
    said = {name: getattr(old, name) for name in (*columns, "by_key", "by_name")}
    return CitationRow(survey_id=new.id, **said)
