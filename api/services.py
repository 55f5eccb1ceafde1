"""Use cases on structures, surveys and their parts. No HTTP here, and no arithmetic.

Every edit names the version it was made on; the newer one wins only by reading first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api import repository as repo
from api.choices import members_named
from api.database import Database
from api.errors import ConflictError, Fault, InvalidError
from api.layouts import check_layouts
from api.proposals import accept_drawn
from api.sealing.rows import frozen_structure, seal_of, seals_of
from api.sealing.tables import SealRow
from api.tables import Document, PhotoRow, PictureRow, ReadingRow, RemovalRow, StructureRow, SurveyRow
from corrosion.model import Photo, Removal, Structure, ThicknessReading
from corrosion.model.decision import Decision
from corrosion.model.planning import Planning

EntryRow = TypeVar("EntryRow", RemovalRow, ReadingRow)
Entry = Removal | ThicknessReading


@dataclass(frozen=True)
class Page:
    """Which part of a list is wanted."""

    limit: int = 100
    offset: int = 0


@dataclass(frozen=True)
class PhotoView:
    """A photo and its stored picture, if that is here."""

    row: PhotoRow
    picture: PictureRow | None


@dataclass(frozen=True)
class SurveyView:
    """A survey's head, the structure it is judged by, and its seal if it has one."""

    row: SurveyRow
    structure: StructureRow
    seal: SealRow | None = None


class Services:
    """The use cases, on one database."""

    def __init__(self, database: Database) -> None:
        self.database = database

    # Structures

    def add_structure(self, structure: Structure, units: Literal["mm", "in"]) -> StructureRow:
        """Enter a structure; `InvalidError` if a member does not hold together."""
        with self.database.writing() as session:
            return new_structure(session, structure, units, path="body.structure")

    def structure(self, identifier: str) -> StructureRow:
        """Return a structure; `NotFoundError` if there is none."""
        with self.database.reading() as session:
            return repo.find(session, StructureRow, identifier)

    def structures(self, page: Page) -> list[tuple[StructureRow, int]]:
        """List structures, newest first, each with its number of surveys."""
        # Grouping by the id alone keeps JSON, which PostgreSQL cannot group by, out of the grouping.
        counts = (
            select(SurveyRow.structure_id, func.count().label("surveys"))
            .group_by(SurveyRow.structure_id)
            .subquery()
        )
        statement = (
            select(StructureRow, counts.c.surveys)
            .outerjoin(counts, counts.c.structure_id == StructureRow.id)
            .order_by(StructureRow.created.desc(), StructureRow.id)
        )
        with self.database.reading() as session:
            found = session.execute(statement.limit(page.limit).offset(page.offset))
            return [(row, surveys or 0) for row, surveys in found]

    def edit_structure(
        self, identifier: str, expected: int, structure: Structure, units: Literal["mm", "in"]
    ) -> StructureRow:
        """Replace a structure.

        Raises
        ------
        ConflictError
            If its surveys name a member that the new one lacks, or the unit would change under them.
        InvalidError
            If a member does not hold together.
        """
        check_layouts(structure, units, path="body.structure")
        with self.database.writing() as session:
            repo.lock_surveys_of(session, identifier)
            repo.lock_structure(session, identifier)
            # Again: a survey may have been opened before the structure was locked.
            surveys = repo.lock_surveys_of(session, identifier)
            # Sealed surveys are judged by their own copy of it.
            surveys = sorted(set(surveys) - set(seals_of(session, surveys)))
            row = repo.find_version(session, StructureRow, identifier, expected)
            if units != row.units:
                raise ConflictError(
                    f"the structure is in {row.units!r}, the edit in {units!r}.",
                    remedy="Convert the lengths, or enter it as a new structure.",
                )
            _keep_used_members(session, surveys, structure)
            row.document = repo.dump(structure)
            row.name = repo.short_name(structure.name)
            repo.count_change(session, surveys)
        return row

    # Surveys

    def add_survey(self, structure_id: str, head: Document, name: str) -> SurveyView:
        """Open a survey on a structure."""
        with self.database.writing() as session:
            structure = _existing_structure(session, structure_id)
            row = SurveyRow(
                structure_id=structure.id, name=repo.short_name(name), document=repo.storable(head)
            )
            session.add(row)
            session.flush()
        return SurveyView(row, structure)

    def survey(self, identifier: str) -> SurveyView:
        """Return a survey's head; `NotFoundError` if there is none."""
        with self.database.reading() as session:
            row = repo.find(session, SurveyRow, identifier)
            return SurveyView(row, repo.structure_for(session, row), seal_of(session, identifier))

    def surveys(self, page: Page, structure_id: str | None) -> list[tuple[SurveyView, int, int]]:
        """List surveys, newest first, each with its photos and those still waiting for a picture."""
        counts = (
            select(
                PhotoRow.survey_id,
                func.count(PhotoRow.id).label("photos"),
                func.count(PhotoRow.picture_sha256).label("pictures"),
            )
            .where(PhotoRow.withdrawn_at.is_(None))
            .group_by(PhotoRow.survey_id)
            .subquery()
        )
        statement = (
            select(SurveyRow, StructureRow, counts.c.photos, counts.c.pictures)
            .join(StructureRow, StructureRow.id == SurveyRow.structure_id)
            .outerjoin(counts, counts.c.survey_id == SurveyRow.id)
            .order_by(SurveyRow.created.desc(), SurveyRow.id)
        )
        if structure_id is not None:
            statement = statement.where(SurveyRow.structure_id == structure_id)
        with self.database.reading() as session:
            found = list(session.execute(statement.limit(page.limit).offset(page.offset)))
            seals = seals_of(session, [row.id for row, *_ in found])
            return [
                (_survey_view(row, structure, seals), photos or 0, (photos or 0) - (pictures or 0))
                for row, structure, photos, pictures in found
            ]

    def edit_survey(self, identifier: str, expected: int, head: Document, name: str) -> SurveyView:
        """Replace a survey's head.

        Raises
        ------
        ConflictError
            If a photo names a lens profile that the new head lacks.
        """
        with self.database.writing() as session:
            repo.lock_survey(session, identifier)
            row = repo.find_version(session, SurveyRow, identifier, expected)
            lost = repo.used_by_parts(session, [identifier], "lens", PhotoRow) - {
                str(lens["id"]) for lens in head["lenses"]
            }
            _refuse_lost(lost, "lens profile", "photos")
            row.document = repo.storable(head)
            row.name = repo.short_name(name)
            structure = repo.find(session, StructureRow, row.structure_id)
        return SurveyView(row, structure)

    # Photos

    def photos(self, survey_id: str) -> list[PhotoView]:
        """List a survey's photos in the order of its file."""
        with self.database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            rows = repo.parts(session, PhotoRow, survey_id)
            pictures = repo.pictures_of(session, rows)
        return [PhotoView(row, pictures.get(row.picture_sha256 or "")) for row in rows]

    def photo(self, identifier: str) -> PhotoView:
        """Return a photo; `NotFoundError` if there is none."""
        with self.database.reading() as session:
            return _view(session, repo.find(session, PhotoRow, identifier))

    def edit_photo(self, identifier: str, expected: int, changes: Mapping[str, Any]) -> PhotoView:
        """Change some fields of a photo: tags, scale, placement or marks.

        A mark with exactly the outline of a proposal accepts that.

        Raises
        ------
        InvalidError
            If the result breaks the model or names a member or lens that does not exist.
        """
        with self.database.writing() as session:
            row = repo.find(session, PhotoRow, identifier)
            survey = repo.lock_survey(session, row.survey_id)
            session.refresh(row)
            row = repo.find_version(session, PhotoRow, identifier, expected)
            photo = repo.check(Photo, row.document | dict(changes))
            check_photo(session, survey, photo)
            row.document = repo.dump(photo)
            if "marks" in changes:
                accept_drawn(session, row)
            session.flush()
            return _view(session, row)

    # Removals and readings

    def entries(self, table: type[EntryRow], survey_id: str) -> list[EntryRow]:
        """List a survey's removals or readings in the order of its file."""
        with self.database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            return repo.parts(session, table, survey_id)

    def entry(self, table: type[EntryRow], identifier: str) -> EntryRow:
        """Return a removal or reading; `NotFoundError` if there is none."""
        with self.database.reading() as session:
            return repo.find(session, table, identifier)

    def add_entry(self, table: type[EntryRow], survey_id: str, entry: Entry) -> EntryRow:
        """Append a removal or reading to a survey."""
        with self.database.writing() as session:
            survey = repo.lock_survey(session, survey_id)
            members = repo.member_ids(session, survey)
            repo.must_name(entry.member, members, path="body.member", noun="member")
            return repo.add_part(session, table, survey_id, entry)

    def edit_entry(self, table: type[EntryRow], identifier: str, expected: int, entry: Entry) -> EntryRow:
        """Replace a removal or reading; its id in the survey file stays."""
        with self.database.writing() as session:
            row = repo.find(session, table, identifier)
            survey = repo.lock_survey(session, row.survey_id)
            session.refresh(row)
            row = repo.find_version(session, table, identifier, expected)
            if entry.id != row.key:
                fault = Fault(path="body.id", message=f"the id stays {row.key!r}", value=entry.id)
                raise InvalidError(
                    f"body.id: an edit cannot rename {row.key!r} to {entry.id!r}.",
                    remedy="Keep the id, or add a new entry.",
                    faults=[fault],
                )
            members = repo.member_ids(session, survey)
            repo.must_name(entry.member, members, path="body.member", noun="member")
            row.document = repo.dump(entry)
        return row

    # Withdrawing

    def withdraw(self, table: type[repo.PartRow], identifier: str, expected: int, reason: str) -> None:
        """Take back a photo, removal or reading that was entered wrongly. Nothing is deleted.

        Its id in the survey is free again, and the same picture may be uploaded again.

        Raises
        ------
        StaleError
            If someone edited it meanwhile: then it may be right by now.
        """
        with self.database.writing() as session:
            row = repo.find(session, table, identifier)
            repo.lock_survey(session, row.survey_id)
            session.refresh(row)
            repo.withdraw(repo.find_version(session, table, identifier, expected), reason)

    def withdrawn(self, survey_id: str) -> list[repo.PartRow]:
        """List what was withdrawn from a survey, the latest first."""
        with self.database.reading() as session:
            repo.find(session, SurveyRow, survey_id)
            return repo.withdrawn(session, survey_id)


def new_structure(
    session: Session, structure: Structure, units: Literal["mm", "in"], *, path: str
) -> StructureRow:
    """Add a structure within a transaction; `InvalidError`, under `path`, if a member does not hold."""
    check_layouts(structure, units, path=path)
    row = StructureRow(name=repo.short_name(structure.name), units=units, document=repo.dump(structure))
    session.add(row)
    session.flush()
    return row


def check_photo(session: Session, survey: SurveyRow, photo: Photo) -> None:
    """Check that a photo names only members and lenses that exist; `InvalidError` if not."""
    repo.must_name(photo.member, repo.member_ids(session, survey), path="body.member", noun="member")
    repo.must_name(photo.lens, repo.lens_ids(survey), path="body.lens", noun="lens profile")


def _survey_view(row: SurveyRow, structure: StructureRow, seals: Mapping[str, SealRow]) -> SurveyView:
    seal = seals.get(row.id)
    return SurveyView(row, frozen_structure(structure, seal) if seal else structure, seal)


def _view(session: Session, row: PhotoRow) -> PhotoView:
    picture = session.get(PictureRow, row.picture_sha256) if row.picture_sha256 else None
    return PhotoView(row, picture)


def _existing_structure(session: Session, identifier: str) -> StructureRow:
    row = session.get(StructureRow, identifier)
    if row is None:
        message = f"there is no structure {identifier!r}"
        raise InvalidError(
            f"body.structure_id: {message}.",
            remedy="Enter the structure first.",
            faults=[Fault(path="body.structure_id", message=message, value=identifier)],
        )
    return row


def _keep_used_members(session: Session, surveys: list[str], structure: Structure) -> None:
    there = {member.id for member in structure.members}
    for table in repo.PART_TABLES:
        lost = repo.used_by_parts(session, surveys, "member", table) - there
        _refuse_lost(lost, "member", table.__tablename__)
    models: dict[str, type[Planning | Decision]] = {"planning": Planning, "decision": Decision}
    for row in repo.choices_of(session, *surveys):
        document = row.document.get(row.part)
        chosen = models[row.part].model_validate(document) if document is not None else None
        _refuse_lost({name for _, name in members_named(chosen)} - there, "member", f"the {row.part}")


def _refuse_lost(lost: set[str], noun: str, users: str) -> None:
    if lost:
        names = ", ".join(repr(name) for name in sorted(lost))
        raise ConflictError(
            f"the edit drops {noun} {names}, which {users} of a survey still name.",
            remedy=f"Keep the {noun}, or retag those {users} first.",
        )
