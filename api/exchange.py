"""Survey files in and out: what was imported comes out equal."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import repository as repo
from api.database import Database
from api.errors import ConflictError
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
from corrosion.model import SurveyFile, parse_survey
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
    """

    file: SurveyFile
    state: State
    sizes: dict[str, tuple[int, int]]


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
            structure = _structure_for(session, file, structure_id)
            survey = SurveyRow(
                structure_id=structure.id,
                name=repo.short_name(file.survey.name),
                document=head_of(file),
            )
            session.add(survey)
            session.flush()
            _add_parts(session, survey.id, file)
        return SurveyView(survey, structure)

    def export(self, survey_id: str, *, with_hashes: bool = False) -> Export:
        """Put a survey together again.

        Parameters
        ----------
        with_hashes : bool
            Also state hash and size of every stored picture whose photo does not state them.
        """
        with self._database.reading() as session:
            row = repo.find(session, SurveyRow, survey_id)
            structure = repo.find(session, StructureRow, row.structure_id)
            photos = repo.parts(session, PhotoRow, survey_id)
            pictures = repo.pictures_of(session, photos)
            file = repo.survey_file(session, row)
            stored = {
                photo.key: pictures[photo.picture_sha256]
                for photo in photos
                if photo.picture_sha256 is not None
            }
            state = (row.id, row.revision, structure.version)
        sizes = {key: (picture.width, picture.height) for key, picture in stored.items()}
        return Export(_state_hashes(file, stored) if with_hashes else file, state, sizes)

    def state(self, survey_id: str) -> State:
        """Return what tells whether a survey's results are still right, without reading its parts."""
        with self._database.reading() as session:
            row = repo.find(session, SurveyRow, survey_id)
            return row.id, row.revision, repo.find(session, StructureRow, row.structure_id).version

    def waiting(self, survey_id: str) -> list[str]:
        """Return the photo ids of the survey file whose pictures are not here yet."""
        statement = (
            select(PhotoRow.key)
            .where(repo.stands_in(PhotoRow, survey_id), PhotoRow.picture_sha256.is_(None))
            .order_by(PhotoRow.position)
        )
        with self._database.reading() as session:
            return list(session.scalars(statement))


def head_of(file: SurveyFile) -> Document:
    """Return the part of a survey file that a survey's row holds."""
    document = repo.dump(file)
    return {name: document[name] for name in HEAD_FIELDS}


def _structure_for(session: Session, file: SurveyFile, structure_id: str | None) -> StructureRow:
    if structure_id is None:
        return new_structure(session, file.structure, file.units, path="survey.structure")
    row = repo.find(session, StructureRow, structure_id)
    if row.units != file.units or repo.structure_of(row) != file.structure:
        raise ConflictError(
            f"the file's structure {file.structure.name!r} differs from the stored {row.name!r}.",
            place=f"structure {structure_id}",
            remedy="Bring the two in line, or import the file with a structure of its own.",
        )
    return row


def _add_parts(session: Session, survey_id: str, file: SurveyFile) -> None:
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
