"""Taking an archive into the store: verified first, checked as a whole, then all of it or nothing.

The order makes refusal and death harmless: nothing reaches the picture store before the bag was verified,
every photo checked and the rows tried out; and nothing is visible before the one transaction at the end.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NoReturn

from sqlalchemy import select
from sqlalchemy.exc import DataError, StatementError
from sqlalchemy.orm import Session

from api import repository as repo
from api.archiving import SURVEY_FILE
from api.database import Database
from api.errors import Fault, InvalidError, TooLargeError
from api.exchange import add_parts, head_of, structure_for
from api.files import Incoming, PictureFiles
from api.history.record import because
from api.photos import Intake, PhotoReader
from api.sealing.restore import restore_sealed
from api.sealing.rows import seal_of
from api.sealing.tables import RecordFileRow
from api.services import SurveyView
from api.settings import Settings
from api.tables import PhotoRow, SurveyRow
from api.uploads import keep_facts
from corrosion.archive import BagLimits, BagReport, SurveyBag, UnsoundBagError, read_bag
from corrosion.archive.manifest import PAYLOAD
from corrosion.archive.payload import KEPT
from corrosion.errors import ArchiveError

logger = logging.getLogger("corrosion.api")

Progress = Callable[[str, int, int], None]

MOST_FAULTS = 1000

RECORD_FILES = 200
"""Files of an archive beside its photos that the limit on files leaves room for."""


@dataclass(frozen=True)
class ImportedBag:
    """A survey that came in with an archive.

    Attributes
    ----------
    view : SurveyView
    report : BagReport
        Of the bag, which was sound; says who signed it.
    notes : list of str
        What is worth knowing: photos not in the archive, the same record here already.
    """

    view: SurveyView
    report: BagReport
    notes: list[str]


@dataclass
class _Staged:
    """The bag's files on their way into the store, each in a temporary file."""

    files: dict[str, Incoming] = field(default_factory=dict)
    facts: dict[str, Intake] = field(default_factory=dict)
    copies: dict[str, tuple[Incoming, Incoming]] = field(default_factory=dict)

    def discard(self) -> None:
        """Remove every temporary file."""
        for one in [*self.files.values(), *(copy for pair in self.copies.values() for copy in pair)]:
            one.discard()


class _TriedOut(Exception):  # noqa: N818 - no error: it ends the rehearsal
    """Carries a rehearsed transaction to its undoing."""


class BagImports:
    """The use case of importing an archive."""

    def __init__(
        self, database: Database, files: PictureFiles, reader: PhotoReader, settings: Settings
    ) -> None:
        self._database = database
        self._files = files
        self._reader = reader
        self.limits = BagLimits(
            max_files=settings.max_files + RECORD_FILES,
            max_file_bytes=settings.max_upload_bytes,
            max_total_bytes=settings.max_upload_bytes,
            max_tag_bytes=settings.max_json_bytes,
        )

    def take_in(
        self,
        path: Path,
        *,
        structure_id: str | None = None,
        trusted: Iterable[bytes] = (),
        limits: BagLimits | None = None,
        progress: Progress | None = None,
    ) -> ImportedBag:
        """Import a bag, a folder or a zip, as a survey with its photos and its record.

        Parameters
        ----------
        structure_id : str, optional
            Structure the survey belongs to; it must be equal to the bag's. A new one if not given.
        trusted : iterable of bytes
            Public keys one of which must have signed the bag; any bag if there are none.
        limits : BagLimits, optional
            What the bag may cost; what an upload may, if not given. A photo is held to the settings anyway.

        Raises
        ------
        InvalidError
            If anything is wrong with the bag; every problem is listed.
        ArchiveError
            If it is no bag of a survey.
        PhotoError
            If a photo is one this service does not take.
        ConflictError
            If the stored structure differs from the bag's.
        """
        try:
            with read_bag(path, trusted=trusted, limits=limits or self.limits, progress=progress) as bag:
                return self._take(bag, structure_id, progress)
        # A record is read by several hands; a value none of them foresaw is refused here, whatever it is.
        except (DataError, StatementError, OverflowError, ValueError) as error:
            logger.warning("an archive was refused for a value that no check foresaw", exc_info=True)
            raise ArchiveError(
                "the record holds a text, time or number that cannot be stored.",
                place="archive",
                remedy="It is not as the program wrote it; do not trust it.",
            ) from error
        except UnsoundBagError as error:
            faults = [
                Fault(path=one.file, message=one.problem) for one in error.report.problems[:MOST_FAULTS]
            ]
            raise InvalidError(
                error.problem, place="archive", remedy=error.remedy, faults=faults
            ) from error

    def _take(self, bag: SurveyBag, structure_id: str | None, progress: Progress | None) -> ImportedBag:
        with self._staged(bag, progress) as staged:
            self._rehearse(bag, staged, structure_id)
            for one in staged.files.values():
                self._files.keep(one)
            for path, (preview, thumbnail) in staged.copies.items():
                sha256 = staged.files[path].sha256
                self._files.keep_derived("preview", sha256, preview.path.read_bytes())
                self._files.keep_derived("thumbnail", sha256, thumbnail.path.read_bytes())
            with self._database.writing() as session:
                notes = [*bag.report.notes, *_same_record(session, staged)]
                view = _enter(session, bag, staged, structure_id)
        return ImportedBag(view, bag.report, notes)

    def _rehearse(self, bag: SurveyBag, staged: _Staged, structure_id: str | None) -> None:
        """Enter everything and take it back: what rows refuse is refused before a byte is kept."""
        try:
            with self._database.writing() as session:
                _enter(session, bag, staged, structure_id)
                _take_back()
        except _TriedOut:
            return

    @contextmanager
    def _staged(self, bag: SurveyBag, progress: Progress | None) -> Iterator[_Staged]:
        staged = _Staged()
        photos = set(bag.photos.values())
        try:
            for number, path in enumerate(sorted(bag.files), start=1):
                staged.files[path] = self._receive(bag.pieces(path), bag.files[path])
                if path in photos:
                    self._check(staged, path)
                if progress:
                    progress("import", number, len(bag.files))
            yield staged
        finally:
            staged.discard()

    def _receive(self, pieces: Iterable[bytes], size: int) -> Incoming:
        incoming = self._files.receive(size)
        try:
            for piece in pieces:
                incoming.write(piece)
            incoming.close()
        except BaseException:
            incoming.discard()
            raise
        return incoming

    def _check(self, staged: _Staged, path: str) -> None:
        """Check a photo as an upload is checked; its small copies wait on disk, not in memory."""
        facts = self._reader.intake(staged.files[path].path, path)
        copies = [self._receive((data,), len(data)) for data in (facts.preview, facts.thumbnail)]
        staged.copies[path] = (copies[0], copies[1])
        staged.facts[path] = replace(facts, preview=b"", thumbnail=b"")


def _take_back() -> NoReturn:
    raise _TriedOut


def _enter(session: Session, bag: SurveyBag, staged: _Staged, structure_id: str | None) -> SurveyView:
    """Enter everything of a bag into the database."""
    origin = next((value for label, value in bag.report.info if label == "External-Identifier"), "unknown")
    because(session, f"Imported from the archive of survey {repo.short_name(origin)[:80]}")
    for path, facts in staged.facts.items():
        keep_facts(session, staged.files[path].sha256, staged.files[path].size, facts)
    structure = structure_for(
        session,
        bag.survey,
        structure_id,
        noun="archive",
        remedy="Import the archive with a structure of its own.",
    )
    survey = SurveyRow(
        structure_id=structure.id,
        name=repo.short_name(bag.survey.survey.name),
        document=head_of(bag.survey),
    )
    session.add(survey)
    session.flush()
    add_parts(session, survey.id, bag.survey)
    session.flush()
    _bind(session, survey, bag, staged)
    for path, one in staged.files.items():
        inside = path.removeprefix(PAYLOAD)
        session.add(RecordFileRow(survey_id=survey.id, path=inside, sha256=one.sha256, size=one.size))
    if bag.facts_text is not None:
        beside = _kept(staged)
        restore_sealed(session, survey, json.loads(bag.facts_text), bag.survey_text.decode(), beside)
    session.flush()
    return SurveyView(survey, structure, seal_of(session, survey.id))


def _kept(staged: _Staged) -> str | None:
    found = staged.files.get(PAYLOAD + KEPT)
    try:
        return None if found is None else found.path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise ArchiveError(
            "is not UTF-8 text.", place=PAYLOAD + KEPT, remedy="It is not as the program wrote it."
        ) from error


def _bind(session: Session, survey: SurveyRow, bag: SurveyBag, staged: _Staged) -> None:
    """Bind each photo to its original, also one whose hash the survey file does not state."""
    rows = {row.key: row for row in repo.parts(session, PhotoRow, survey.id)}
    for key, path in bag.photos.items():
        rows[key].picture_sha256 = staged.files[path].sha256
    session.flush()


def _same_record(session: Session, staged: _Staged) -> list[str]:
    sha256 = staged.files[PAYLOAD + SURVEY_FILE].sha256
    same = select(RecordFileRow.survey_id).where(
        RecordFileRow.path == SURVEY_FILE, RecordFileRow.sha256 == sha256
    )
    return [f"The same survey came in before, as survey {one}." for one in session.scalars(same)]


def too_large(limit: int) -> TooLargeError:
    """Return the error for an archive over the limit."""
    return TooLargeError(
        f"the archive has more than {limit} bytes.",
        remedy="Raise CORROSION_MAX_UPLOAD_BYTES, or import it on the server with 'corrosion import'.",
    )
