"""Survey files in and out: what was imported comes out equal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import repository as repo
from api.database import Database
from api.errors import ConflictError
from api.sealing.kept import read_kept, sha256_of
from api.sealing.rows import seal_of
from api.sealing.tables import SealRow
from api.services import SurveyView, new_structure
from api.tables import (
    ChoiceRow,
    Document,
    PhotoRow,
    PictureRow,
    ReadingRow,
    RemovalRow,
    StructureRow,
    SurveyRow,
)
from corrosion.errors import StorageError
from corrosion.model import SurveyFile, dump_survey, parse_survey
from corrosion.model.planning import Planning

State = tuple[str, int, int]
"""Survey, its revision, its structure's version: changes whenever anything results rest on changes."""

HEAD_FIELDS = ("display_units", "survey", "settings", "instruments", "lenses")
CHOICES = ("planning", "decision")
"""Parts of a survey file that have a row, and so a version, of their own."""


@dataclass(frozen=True)
class Export:
    """A survey as a file, with the sizes of its stored pictures.

    Attributes
    ----------
    state : State
        See `State`.
    sizes : dict
        Upright width and height in px by photo id.
    candidates : dict of survey id to Export, or None
        Surveys of the decision's candidates, frozen with a sealed survey; None while it is open.
    frozen : str or None
        A sealed survey's file as it was written when it was sealed.
    """

    file: SurveyFile
    state: State
    sizes: dict[str, tuple[int, int]]
    candidates: Mapping[str, Export] | None = None
    frozen: str | None = None

    @property
    def text(self) -> str:
        """The survey file as text; of a sealed survey the very text that its seal is on."""
        return dump_survey(self.file) if self.frozen is None else self.frozen


class Exchange:
    """Import and export."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def import_file(self, source: bytes, *, place: str, structure_id: str | None = None) -> SurveyView:
        """Store a whole survey file in one transaction, or nothing.

        Parameters
        ----------
        structure_id : str, optional
            Structure the survey belongs to; it must be equal to the file's. Without it the file's
            structure is entered as a new one.

        Raises
        ------
        SurveyFileError
            If the file breaks its format.
        InvalidError
            If a member of its structure does not hold together.
        ConflictError
            If the stored structure differs from the file's.
        """
        file = parse_survey(source, place=place)
        with self._database.writing() as session:
            structure = structure_for(
                session,
                file,
                structure_id,
                noun="file",
                remedy="Bring the two in line, or import the file with a structure of its own.",
            )
            survey = SurveyRow(
                structure_id=structure.id,
                name=repo.short_name(file.survey.name),
                document=head_of(file),
            )
            session.add(survey)
            session.flush()
            add_parts(session, survey.id, file)
        return SurveyView(survey, structure)

    def export(self, survey_id: str, *, with_hashes: bool = False) -> Export:
        """Put a survey together again, or give the frozen copy of a sealed one.

        Parameters
        ----------
        with_hashes : bool
            Also state hash and size of every stored picture whose photo does not state them. A frozen
            copy always states them.
        """
        with self._database.reading() as session:
            return export_in(session, survey_id, with_hashes=with_hashes)

    def state(self, survey_id: str) -> State:
        """Return what tells whether a survey's results are still right, without reading its parts."""
        with self._database.reading() as session:
            return _state(session, repo.find(session, SurveyRow, survey_id))

    def waiting(self, survey_id: str) -> list[str]:
        """Return the photo ids of the survey file whose pictures are not here yet."""
        statement = (
            select(PhotoRow.key)
            .where(repo.stands_in(PhotoRow, survey_id), PhotoRow.picture_sha256.is_(None))
            .order_by(PhotoRow.position)
        )
        with self._database.reading() as session:
            return list(session.scalars(statement))


def export_in(session: Session, survey_id: str, *, with_hashes: bool = False) -> Export:
    """Do what `Exchange.export` does, within a transaction."""
    row = repo.find(session, SurveyRow, survey_id)
    seal = seal_of(session, survey_id)
    if seal is not None:
        return _frozen_export(row, seal)
    photos = repo.parts(session, PhotoRow, survey_id)
    pictures = repo.pictures_of(session, photos)
    file = repo.survey_file(session, row)
    stored = {
        photo.key: pictures[photo.picture_sha256] for photo in photos if photo.picture_sha256 is not None
    }
    sizes = {key: (picture.width, picture.height) for key, picture in stored.items()}
    return Export(_state_hashes(file, stored) if with_hashes else file, _state(session, row), sizes)


def _state(session: Session, row: SurveyRow) -> State:
    # Versions begin at 1: a sealed survey's results change neither with the structure nor with the seal.
    sealed = seal_of(session, row.id) is not None
    return row.id, row.revision, 0 if sealed else repo.find(session, StructureRow, row.structure_id).version


def _frozen_export(row: SurveyRow, seal: SealRow) -> Export:
    for text, digest in ((seal.frozen, seal.digest), (seal.kept, seal.kept_digest)):
        if sha256_of(text) != digest:
            raise StorageError(
                f"the frozen copy of the sealed survey {row.name!r} is not what was sealed.",
                place=f"survey {row.id}",
                remedy="The database was damaged or changed by hand: restore it from a backup.",
            )
    kept = read_kept(seal.kept)
    candidates = {
        # Kept assessments are looked up by state, and no live survey has this one.
        name: Export(parse_survey(one.file, place=name), (f"{row.id}/{name}", row.revision, 0), one.sizes)
        for name, one in kept.candidates.items()
    }
    file = parse_survey(seal.frozen, place=f"sealed survey {row.id}")
    return Export(file, (row.id, row.revision, 0), kept.sizes, candidates, seal.frozen)


def head_of(file: SurveyFile) -> Document:
    """Return the part of a survey file that a survey's row holds."""
    document = repo.dump(file)
    return {name: document[name] for name in HEAD_FIELDS}


def structure_for(
    session: Session, file: SurveyFile, structure_id: str | None, *, noun: str, remedy: str
) -> StructureRow:
    """Return the stored structure that an imported survey belongs to, or enter the file's own.

    Raises
    ------
    ConflictError
        If the stored one differs from the file's; it names what was imported by `noun`.
    """
    if structure_id is None:
        return new_structure(session, file.structure, file.units, path="survey.structure")
    row = repo.find(session, StructureRow, structure_id)
    if row.units != file.units or repo.structure_of(row) != file.structure:
        raise ConflictError(
            f"the {noun}'s structure {file.structure.name!r} differs from the stored {row.name!r}.",
            place=f"structure {structure_id}",
            remedy=remedy,
        )
    return row


def add_parts(session: Session, survey_id: str, file: SurveyFile) -> None:
    """Enter everything of a survey file but its head into a new survey; bind the pictures that are here."""
    hashes = {photo.sha256 for photo in file.photos if photo.sha256 is not None}
    here = set(session.scalars(select(PictureRow.sha256).where(PictureRow.sha256.in_(hashes))))
    for place, photo in enumerate(file.photos):
        session.add(
            PhotoRow(
                survey_id=survey_id,
                key=photo.id,
                position=place,
                document=repo.dump(photo),
                # A picture that another survey brought in needs no second upload.
                picture_sha256=photo.sha256 if photo.sha256 in here else None,
            )
        )
    for place, removal in enumerate(file.removals):
        session.add(
            RemovalRow(survey_id=survey_id, key=removal.id, position=place, document=repo.dump(removal))
        )
    for place, reading in enumerate(file.thickness_readings):
        session.add(
            ReadingRow(survey_id=survey_id, key=reading.id, position=place, document=repo.dump(reading))
        )
    for part, chosen in zip(CHOICES, (file.planning, file.decision), strict=True):
        if chosen not in (None, Planning()):
            document = {part: repo.dump(chosen)}
            session.add(ChoiceRow(survey_id=survey_id, part=part, document=document))


def _state_hashes(file: SurveyFile, stored: dict[str, PictureRow]) -> SurveyFile:
    photos = []
    for photo in file.photos:
        picture = stored.get(photo.id)
        if picture is None:
            photos.append(photo)
            continue
        known = {"sha256": picture.sha256, "size": photo.size or (picture.width, picture.height)}
        photos.append(photo.model_copy(update=known))
    return file.model_copy(update={"photos": photos})
