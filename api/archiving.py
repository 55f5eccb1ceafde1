"""Archives of stored surveys: the survey with its originals, results, record and history as one bag."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import repository as repo
from api.database import Database
from api.errors import ConflictError, NotFoundError
from api.exchange import Export
from api.files import PictureFiles
from api.history import log
from api.planning import Planner
from api.results import Results
from api.sealing.facts import record_facts
from api.sealing.kept import Kept, read_kept, sha256_of
from api.sealing.state import SurveyState, state_of
from api.sealing.tables import RecordFileRow, SealRow
from api.tables import PhotoRow, SurveyRow, now
from corrosion import __version__
from corrosion.archive import (
    BagForm,
    Original,
    PayloadFile,
    Signer,
    SurveyRecord,
    WrittenBag,
    info_of,
    payload_of,
    report_of,
    software_agent,
    write_bag,
)
from corrosion.archive.payload import EARLIER, KEPT
from corrosion.errors import CorrosionError, StorageError
from corrosion.record.facts import RecordFacts, facts_from_json
from corrosion.results import Assessment

Progress = Callable[[str, int, int], None]

SURVEY_FILE, FACTS_FILE, HISTORY_FILE = "survey.json", "record.json", "history.jsonl"
FOLLOWS_ALONG = frozenset({SURVEY_FILE, FACTS_FILE, HISTORY_FILE, KEPT})
"""Files of an imported archive that stay in later ones after the survey was changed: whatever is said of
its past before it came here."""


def _silent(step: str, done: int, total: int) -> None:
    del step, done, total


@dataclass(frozen=True)
class Options:
    """What an archive is to hold.

    Attributes
    ----------
    paper : str
        Paper of the report; empty for no report.
    incomplete : bool
        Go on without the originals that are not in the store.
    """

    paper: str = "a4"
    incomplete: bool = False


@dataclass(frozen=True)
class Collected:
    """An archive ready to be written.

    Attributes
    ----------
    name : str
        Fit for a file name anywhere; tells the survey and its state apart.
    info : list of (label, value)
        For bag-info.txt.
    as_imported : bool
        Whether it is the imported archive's payload, file by file.
    """

    name: str
    payload: list[PayloadFile]
    info: list[tuple[str, str]]
    as_imported: bool


@dataclass(frozen=True)
class _Stored:
    """One moment of everything the database says about a survey."""

    state: SurveyState
    facts: RecordFacts
    history: bytes
    files: list[RecordFileRow]
    pictures: dict[str, tuple[str, int]]
    unchanged: bool

    @property
    def export(self) -> Export:
        return self.state.export


class Archives:
    """The use cases of writing archives; `signer` signs them unless another is given."""

    def __init__(
        self,
        database: Database,
        files: PictureFiles,
        results: Results,
        planner: Planner,
        signer: Signer | None = None,
    ) -> None:
        self._database = database
        self._files = files
        self._results = results
        self._planner = planner
        self._signer = signer

    def surveys(self, *, sealed: bool) -> list[tuple[str, str]]:
        """Return id and name of every survey, or of the sealed ones, oldest first."""
        statement = select(SurveyRow.id, SurveyRow.name).order_by(SurveyRow.created, SurveyRow.id)
        if sealed:
            statement = statement.join(SealRow, SealRow.survey_id == SurveyRow.id)
        with self._database.reading() as session:
            return [(row.id, row.name) for row in session.execute(statement)]

    def survey_digest(self, survey_id: str) -> tuple[str, str]:
        """Return the name an archive of a survey gets, and the SHA-256 of its survey file."""
        with self._database.reading() as session:
            state = state_of(session, survey_id)
        return _name(state.export, survey_id), sha256_of(state.file)

    def came_with(self, survey_id: str) -> list[RecordFileRow]:
        """Return the files of the archive a survey was imported from; none if it was entered here.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        """
        with self._database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            return _record_files(session, survey_id)

    def file_it_came_with(self, survey_id: str, path: str) -> RecordFileRow:
        """Return one of these files; `NotFoundError` if there is none of that path."""
        for row in self.came_with(survey_id):
            if row.path == path:
                return row
        raise NotFoundError(
            f"the survey came with no file {path!r:.200}.",
            place=f"survey {survey_id}",
            remedy="List the files it came with.",
        )

    def collect(
        self, survey_id: str, options: Options | None = None, progress: Progress = _silent
    ) -> Collected:
        """Put together what an archive of a survey holds.

        A survey that was imported from an archive and has not been changed since gives that archive's
        payload again, file by file.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        ConflictError
            If originals are not in the store, unless `Options.incomplete`.
        CorrosionError
            If the report cannot be made.
        """
        chosen = options or Options()
        stored = self._stored(survey_id)
        file = stored.export.file
        missing = [photo.id for photo in file.photos if photo.id not in stored.pictures]
        if missing and not chosen.incomplete:
            raise ConflictError(
                f"{len(missing)} of {len(file.photos)} photos are not here ({', '.join(missing[:5])}).",
                place=f"survey {survey_id}",
                remedy="Upload them first, or archive what there is (incomplete).",
            )
        record = self._record(stored, chosen, progress)
        day = now().astimezone(dt.UTC).date().isoformat()
        info = info_of(record, day=day, identifier=survey_id, agent=software_agent(__version__))
        payload = [self._file(row) for row in stored.files] if stored.unchanged else payload_of(record)
        return Collected(_name(stored.export, survey_id), payload, info, stored.unchanged)

    def write(
        self, collected: Collected, target: Path, form: BagForm, *, signer: Signer | None = None,
        progress: Progress = _silent,
    ) -> WrittenBag:  # fmt: skip
        """Write an archive; see `corrosion.archive.write_bag`."""
        return write_bag(
            target,
            collected.payload,
            collected.info,
            form=form,
            name=collected.name,
            signer=signer or self._signer,
            progress=progress,
        )

    def _stored(self, survey_id: str) -> _Stored:
        with self._database.reading() as session:
            row = repo.find(session, SurveyRow, survey_id)
            state, facts = state_of(session, survey_id), record_facts(session, survey_id)
            entries = log.entries_of(session, survey_id)
            photos = repo.parts(session, PhotoRow, survey_id)
            facts_of_pictures = repo.pictures_of(session, photos)
            pictures = {
                photo.key: (photo.picture_sha256, facts_of_pictures[photo.picture_sha256].size_bytes)
                for photo in photos
                if photo.picture_sha256 is not None
            }
            files = _record_files(session, survey_id)
        history = "".join(f"{log.entry_text(entry)}\n" for entry in entries).encode()
        unchanged = self._unchanged(row, state, facts, {file.path: file for file in files})
        return _Stored(state, facts, history, files, pictures, unchanged)

    def _unchanged(
        self, row: SurveyRow, state: SurveyState, facts: RecordFacts, files: dict[str, RecordFileRow]
    ) -> bool:
        """Whether a survey still is what its imported archive says."""
        text = files.get(SURVEY_FILE)
        if text is None or text.sha256 != sha256_of(state.file):
            return False
        if FACTS_FILE not in files:
            known = RecordFacts()
        else:
            known = facts_from_json(json.loads(self._read(files[FACTS_FILE])))
        if facts.sealed or known.sealed:
            return facts.sealed == known.sealed
        here = read_kept(state.kept)
        there = read_kept(self._read(files[KEPT]).decode()) if KEPT in files else Kept()
        # The survey's revision counts every change; ticks and signatures have no part in it.
        return (
            row.revision == 1
            and set(facts.signatures) <= set(known.signatures)
            and len(here.ticks) == len(there.ticks)
        )

    def _record(self, stored: _Stored, options: Options, progress: Progress) -> SurveyRecord:
        file, text = stored.export.file, stored.state.file.encode()
        if stored.unchanged:
            return SurveyRecord(file, self._originals(stored), facts=stored.facts, frozen=text)
        assessment = self._assessment(stored.export)
        record = SurveyRecord(
            survey=file,
            originals=self._originals(stored),
            assessment=assessment,
            facts=stored.facts,
            frozen=text,
            history=stored.history,
            kept=stored.state.kept.encode(),
            earlier=[self._file(row, EARLIER) for row in stored.files if _follows(row.path)],
        )
        if assessment is None or not options.paper:
            return record
        others = self._planner.candidates(stored.export)
        pdf = report_of(record, assessment, options.paper, progress, others)
        return replace(record, report=pdf)

    def _originals(self, stored: _Stored) -> dict[str, Original]:
        return {
            key: Original(sha256, size, partial(self._files.stream, sha256, 0, size))
            for key, (sha256, size) in stored.pictures.items()
        }

    def _assessment(self, export: Export) -> Assessment | None:
        """Assess the survey; None where a fault in it stops the sums, and the rest is archived."""
        try:
            return self._results.of(export).assessment
        except StorageError:
            raise
        except CorrosionError:
            return None

    def _file(self, row: RecordFileRow, folder: str = "") -> PayloadFile:
        pieces = partial(self._files.stream, row.sha256, 0, row.size)
        return PayloadFile(folder + row.path, row.size, pieces, row.sha256)

    def _read(self, row: RecordFileRow) -> bytes:
        return self._files.read(row.sha256)


def _record_files(session: Session, survey_id: str) -> list[RecordFileRow]:
    statement = select(RecordFileRow).where(RecordFileRow.survey_id == survey_id)
    return list(session.scalars(statement.order_by(RecordFileRow.path)))


def _follows(path: str) -> bool:
    return path in FOLLOWS_ALONG or path.startswith(EARLIER)


def _name(export: Export, survey_id: str) -> str:
    """Make a file name of the survey's name, its id, which two surveys never share, and its seal."""
    stated = export.file.survey.name or export.file.structure.name
    plain = re.sub(r"[^A-Za-z0-9]+", "-", stated).strip("-").lower()[:60]
    sealed = "" if export.frozen is None else "-sealed"
    return f"{plain or 'survey'}-{survey_id[:8]}{sealed}"
