"""Keeps the index right: what changed is indexed again, in the background or when somebody searches."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import Select, and_, case, delete, func, insert, literal, or_, select, union_all
from sqlalchemy.orm import Session

from api import repository as repo
from api.database import Database
from api.errors import NotFoundError
from api.exchange import Exchange, Export, State
from api.results import Kept, Results
from api.sealing.tables import SealRow, SignatureRow
from api.search import build
from api.search.build import Entry, PhotoPlace, Scope
from api.search.engine import word_index
from api.search.tables import SearchEntryRow, SearchStateRow
from api.tables import PhotoRow, ReadingRow, RemovalRow, StructureRow, SurveyRow, now
from corrosion.errors import CorrosionError, StorageError
from corrosion.model import Photo, Removal, ThicknessReading, in_millimetres
from corrosion.survey import assess
from corrosion.units import mm_per

if TYPE_CHECKING:
    from api.pages.rows import Row

logger = logging.getLogger("corrosion.search")

Progress = Callable[[str, int, int], None]
NO_SURVEY = 0
"""The revision in the state of a structure, which has none: its version says it all."""


@dataclass(frozen=True)
class Stale:
    """A scope whose entries are not right any more, or not there yet."""

    id: str
    is_survey: bool


@dataclass(frozen=True)
class Unfinished:
    """A survey that is indexed without its findings, and why."""

    survey_id: str
    name: str
    problem: str


class Indexer:
    """Indexes scopes one at a time; one at a time in this process."""

    def __init__(self, database: Database, exchange: Exchange, results: Results) -> None:
        self._database = database
        self._exchange = exchange
        self._results = results
        self._words = word_index(sqlite=database.is_sqlite)
        self._one_at_a_time = threading.Lock()

    def stale(self, limit: int | None = None) -> list[Stale]:
        """List what has to be indexed, structures first."""
        statement = _stale()
        with self._database.reading() as session:
            found = session.execute(statement if limit is None else statement.limit(limit))
            return [Stale(identifier, bool(is_survey)) for identifier, is_survey in found]

    def waiting(self) -> int:
        """Count the surveys (and structures) that have to be indexed."""
        with self._database.reading() as session:
            return session.scalar(select(func.count()).select_from(_stale().subquery())) or 0

    def unfinished(self, limit: int = 20) -> list[Unfinished]:
        """List the surveys that are indexed without their findings, with the reason."""
        statement = (
            select(SurveyRow.id, SurveyRow.name, SearchStateRow.problem)
            .join(SearchStateRow, SearchStateRow.scope_id == SurveyRow.id)
            .where(SearchStateRow.problem.is_not(None))
            .order_by(SurveyRow.name, SurveyRow.id)
            .limit(limit)
        )
        with self._database.reading() as session:
            return [Unfinished(one, name, why or "") for one, name, why in session.execute(statement)]

    def index(self, stale: Stale) -> None:
        """Index one scope again; what was removed meanwhile is skipped."""
        with self._one_at_a_time:
            try:
                if stale.is_survey:
                    self._index_survey(stale.id)
                else:
                    self._index_structure(stale.id)
            except NotFoundError:
                logger.info("%s went away before it was indexed", stale.id)
            except StorageError:
                raise
            except Exception as error:
                # A fault in one survey must not keep the others from being found.
                logger.exception("survey %s cannot be indexed", stale.id)
                self._give_up(stale, error)

    def forget(self) -> None:
        """Make every scope count as changed."""
        with self._database.writing() as session:
            session.execute(delete(SearchStateRow))

    def index_all(self, progress: Progress) -> list[Unfinished]:
        """Index everything that is not right; return the surveys whose findings could not be had."""
        waiting = self.stale()
        for number, one in enumerate(waiting):
            progress("surveys", number, len(waiting))
            self.index(one)
        progress("surveys", len(waiting), len(waiting))
        return self.unfinished()

    def _index_structure(self, identifier: str) -> None:
        with self._database.reading() as session:
            row = repo.find(session, StructureRow, identifier)
        structure = repo.structure_of(row)
        scope = build.scope_of_structure(identifier, structure)
        entries = list(build.structure_entries(scope, structure))
        self._keep(scope, entries, (identifier, NO_SURVEY, row.version), None)

    def _index_survey(self, identifier: str) -> None:
        export = self._exchange.export(identifier)
        with self._database.reading() as session:
            structure_id = repo.find(session, SurveyRow, identifier).structure_id
            parts = _parts(session, identifier, export)
            people, signatures = _people(session, identifier)
        problem = None
        findings: list[Entry] = []
        try:
            findings = list(build.finding_entries(_rows(self._assessed(export)), export.file))
        except CorrosionError as error:
            problem = str(error)
        except Exception as error:
            # A fault of ours in the sums must not keep the photos and names from being found.
            logger.exception("survey %s cannot be assessed for the index", identifier)
            problem = f"the assessment failed ({type(error).__name__})."
        scope = build.scope_of_survey(identifier, structure_id, export.file)
        entries = [*build.survey_entries(export.file, identifier), *people, *findings, *parts]
        self._keep(scope, entries, export.state, problem, signatures)

    def _give_up(self, stale: Stale, error: Exception) -> None:
        """Note that a scope cannot be indexed as it is; its next change is another try."""
        problem = f"it cannot be read ({type(error).__name__})."
        with self._database.reading() as session:
            if not stale.is_survey:
                structure = repo.find(session, StructureRow, stale.id)
                scope = Scope(stale.id, stale.id, None)
                self._keep(scope, [], (stale.id, NO_SURVEY, structure.version), problem)
                return
            structure_id = repo.find(session, SurveyRow, stale.id).structure_id
            _, signatures = _people(session, stale.id)
        scope = Scope(stale.id, structure_id, stale.id)
        self._keep(scope, [], self._exchange.state(stale.id), problem, signatures)

    def _assessed(self, export: Export) -> Kept:
        # What people look at right now stays in the results' cache; what is only indexed never enters it.
        if self._results.is_ready(export.state[0]):
            return self._results.of(export)
        return Kept(assess(export.file, sizes=export.sizes), export.file.units)

    def _keep(
        self,
        scope: Scope,
        entries: Sequence[Entry],
        state: State,
        problem: str | None,
        signatures: int = 0,
    ) -> None:
        rows = [build.columns(entry, scope) for entry in entries]
        _, revision, structure_version = state
        with self._database.writing() as session:
            _lock(session, scope)
            connection = session.connection()
            remove_entries(session, scope.id)
            if rows:
                connection.execute(insert(SearchEntryRow), rows)
            self._words.keep(connection, scope.id)
            session.execute(delete(SearchStateRow).where(SearchStateRow.scope_id == scope.id))
            values = {"revision": revision, "structure_version": structure_version, "problem": problem}
            known = {"scope_id": scope.id, "form": build.FORM, "indexed": now(), "signatures": signatures}
            connection.execute(insert(SearchStateRow), [known | values])


def _rows(kept: Kept) -> list[Row]:
    # The pages are built on the running service, which holds this: loaded when first needed.
    from api.pages.rows import finding_rows  # noqa: PLC0415

    return finding_rows(kept)


def remove_entries(session: Session, scope_id: str) -> None:
    """Take a scope's entries out of the index."""
    session.execute(
        delete(SearchEntryRow)
        .where(SearchEntryRow.scope_id == scope_id)
        .execution_options(synchronize_session=False)
    )


def _lock(session: Session, scope: Scope) -> None:
    """Keep other indexers out of a scope until the session ends; people's edits are not counted."""
    table: type[SurveyRow | StructureRow] = SurveyRow if scope.survey_id else StructureRow
    session.execute(select(table.id).where(table.id == scope.id).with_for_update())


def _stale() -> Select[Any]:
    state, survey, structure = SearchStateRow, SurveyRow, StructureRow
    fresh = and_(state.scope_id == survey.id, state.form == build.FORM)
    # As `api.exchange` states it: a sealed survey has its own copy of the structure, of version 0.
    version = case((SealRow.survey_id.is_not(None), 0), else_=structure.version)
    signed = (
        select(SignatureRow.survey_id, func.count().label("count"))
        .group_by(SignatureRow.survey_id)
        .subquery()
    )
    surveys = (
        select(survey.id, literal(1).label("is_survey"))
        .join(structure, structure.id == survey.structure_id)
        .outerjoin(state, fresh)
        .outerjoin(SealRow, SealRow.survey_id == survey.id)
        .outerjoin(signed, signed.c.survey_id == survey.id)
        .where(
            or_(
                state.scope_id.is_(None),
                state.revision != survey.revision,
                state.structure_version != version,
                state.signatures != func.coalesce(signed.c.count, 0),
            )
        )
    )
    structures = (
        select(structure.id, literal(0).label("is_survey"))
        .outerjoin(state, and_(state.scope_id == structure.id, state.form == build.FORM))
        .where(or_(state.scope_id.is_(None), state.structure_version != structure.version))
    )
    both = union_all(structures, surveys).subquery()
    return select(both.c.id, both.c.is_survey).order_by(both.c.is_survey, both.c.id)


def _people(session: Session, survey_id: str) -> tuple[list[Entry], int]:
    """Give the entries of who signed and sealed a survey, and the number of signatures."""
    entries, signatures = [], 0
    for row in session.scalars(select(SignatureRow).where(SignatureRow.survey_id == survey_id)):
        signatures += 1
        typed = {name: str(value) for name, value in row.document.items()}
        certificate = f"{typed.get('certificate_kind', '')} {typed.get('certificate_number', '')}".strip()
        did = "; ".join(
            part for part in (f"signed as {row.role}", certificate, typed.get("place", "")) if part
        )
        date = typed.get("date") or f"{row.created:%Y-%m-%d}"
        entries.append(build.person_entry(row.id, typed.get("name", row.by_name), did, date[:10]))
    seal = session.get(SealRow, survey_id)
    if seal is not None:
        entries.append(
            build.person_entry(f"seal {survey_id}", seal.by_name, "sealed it", f"{seal.at:%Y-%m-%d}")
        )
    return entries, signatures


def _parts(session: Session, survey_id: str, export: Export) -> list[Entry]:
    """Give the entries of a survey's photos, removals and readings, withdrawn ones too."""
    from api.pages.surveys import photo_state  # noqa: PLC0415 - see `_rows`

    in_mm = in_millimetres(export.file)
    zones = {member.id: member.zone for member in in_mm.structure.members}
    date = export.file.survey.date or ""

    def place(row: repo.PartRow, lacks: Sequence[str] = ()) -> PhotoPlace:
        reason = row.withdrawn_reason or "no reason stated"
        gone = "" if row.withdrawn_at is None else f"withdrawn: {reason}"
        return PhotoPlace(in_mm.structure, mm_per(export.file.units), zones, date, tuple(lacks), gone)

    entries = []
    for photo in session.scalars(select(PhotoRow).where(PhotoRow.survey_id == survey_id)):
        lacks = photo_state(Photo.model_validate(photo.document), here=photo.picture_sha256 is not None)
        entries.append(build.photo_entry(photo.document, photo.upload_name, photo.id, place(photo, lacks)))
    for removal in session.scalars(select(RemovalRow).where(RemovalRow.survey_id == survey_id)):
        part = Removal.model_validate(removal.document)
        entries.append(build.rework_entry(part, removal.id, place(removal)))
    for reading in session.scalars(select(ReadingRow).where(ReadingRow.survey_id == survey_id)):
        entry = ThicknessReading.model_validate(reading.document)
        entries.append(build.rework_entry(entry, reading.id, place(reading)))
    return entries


class Background:
    """A thread that indexes what changed, after a while without changes or when somebody waits for it.

    Parameters
    ----------
    indexer : Indexer
    quiet_s : float
        How long nothing must have changed: a person who marks a photo changes it every few seconds, and
        each change makes the assessment anew.
    """

    def __init__(self, indexer: Indexer, *, quiet_s: float) -> None:
        self._indexer = indexer
        self._quiet_s = quiet_s
        self._condition = threading.Condition()
        self._due: float | None = None
        self._stopped = False
        self._thread: threading.Thread | None = None

    def changed(self) -> None:
        """Say that something was stored."""
        with self._condition:
            self._due = time.monotonic() + self._quiet_s
            self._start()

    def wait(self, seconds: float) -> None:
        """Index at once, and wait for it no longer than `seconds`."""
        deadline = time.monotonic() + seconds
        with self._condition:
            if self._stopped:
                return
            self._due = time.monotonic()
            self._start()
            while self._is_busy():
                left = deadline - time.monotonic()
                if left <= 0 or not self._condition.wait(left):
                    return

    def _is_busy(self) -> bool:
        return self._due is not None and not self._stopped

    def close(self) -> None:
        """End it after the survey it is at."""
        with self._condition:
            self._stopped = True
            self._condition.notify_all()
            thread = self._thread
        if thread is not None:
            thread.join(30)

    def _start(self) -> None:
        self._condition.notify_all()
        if self._thread is None and not self._stopped:
            self._thread = threading.Thread(target=self._run, name="search-index", daemon=True)
            self._thread.start()

    def _run(self) -> None:
        while self._is_due():
            try:
                done = self._index_some()
            except CorrosionError:
                # The store is not available, or somebody was faster: later, not in a tight circle.
                logger.warning("the search index could not be kept", exc_info=True)
                done = True
            if done:
                self._rest()

    def _rest(self) -> None:
        """Note that nothing is left to do, unless something changed just now."""
        with self._condition:
            if self._due is None or self._due <= time.monotonic():
                self._due = None
            self._condition.notify_all()

    def _is_due(self) -> bool:
        """Sleep until there is something to do; False when it is to end."""
        with self._condition:
            while not self._stopped:
                left = None if self._due is None else self._due - time.monotonic()
                if left is not None and left <= 0:
                    return True
                self._condition.wait(left)
            return False

    def _index_some(self) -> bool:
        """Index one scope; True if there was none left."""
        waiting = self._indexer.stale(1)
        for one in waiting:
            self._indexer.index(one)
        return not waiting
