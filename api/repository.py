"""Rows to parts of the survey file and back. The only module that queries their tables."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from sqlalchemy import ColumnElement, and_, func, select, update
from sqlalchemy.orm import Session

from api.errors import (
    ConflictError,
    Fault,
    InvalidError,
    NotFoundError,
    StaleError,
    WithdrawnError,
)
from api.sealing.rows import frozen_structure, refuse_sealed, seal_of
from api.tables import (
    ChoiceRow,
    Document,
    PhotoRow,
    PictureRow,
    ReadingRow,
    RemovalRow,
    StructureRow,
    SurveyPart,
    SurveyRow,
    Versioned,
    now,
)
from corrosion.model import Photo, Removal, Structure, SurveyFile, ThicknessReading

Row = TypeVar("Row", bound=Versioned)
Model = TypeVar("Model", bound=BaseModel)
PartRow = PhotoRow | RemovalRow | ReadingRow
AnyPartRow = TypeVar("AnyPartRow", PhotoRow, RemovalRow, ReadingRow)

NOUNS: dict[type[Versioned], str] = {
    StructureRow: "structure",
    SurveyRow: "survey",
    PhotoRow: "photo",
    RemovalRow: "removal",
    ReadingRow: "thickness reading",
}
PART_TABLES: tuple[type[PartRow], ...] = (PhotoRow, RemovalRow, ReadingRow)
NAME_LENGTH = 400


def find(session: Session, table: type[Row], identifier: str) -> Row:
    """Return a row.

    Raises
    ------
    NotFoundError
        If there is none.
    WithdrawnError
        If it was withdrawn.
    """
    row = session.get(table, identifier)
    noun = NOUNS[table]
    if row is None:
        raise NotFoundError(
            f"there is no {noun} {identifier!r}.",
            remedy=f"Check the {noun}'s address, or look for it in the list or by search.",
        )
    if isinstance(row, SurveyPart) and row.withdrawn_at is not None:
        why = f": {row.withdrawn_reason}" if row.withdrawn_reason else ""
        raise WithdrawnError(
            f"{noun} {row.key!r} was withdrawn on {row.withdrawn_at:%Y-%m-%d %H:%M} UTC{why}.",
            place=f"{noun} {identifier}",
            remedy="The survey's list of what was withdrawn still has it; enter it again if it was right.",
        )
    return row


def find_version(session: Session, table: type[Row], identifier: str, expected: int) -> Row:
    """Return a row for an edit of its version `expected`.

    Raises
    ------
    NotFoundError
        If there is none.
    WithdrawnError
        If it was withdrawn.
    StaleError
        If its version is another one.
    """
    row = find(session, table, identifier)
    if row.version != expected:
        raise StaleError(
            f"version {expected} was edited, but version {row.version} is current.",
            place=f"{NOUNS[table]} {identifier}",
            remedy="Read it again, look at what changed, and repeat the edit.",
        )
    return row


def lock_survey(session: Session, identifier: str, *, counts: bool = True) -> SurveyRow:
    """Return a survey's row for a change and keep other writers out of it until the session ends.

    Every write to a survey or a part of it goes through here, so that a sealed one does not change. It
    also counts the change in `revision`. That is a plain update: it leaves the survey's own version, and
    so other people's edits of its head, alone.

    Parameters
    ----------
    counts : bool
        Whether the sums may come out otherwise after the change.

    Raises
    ------
    NotFoundError
        If there is none.
    SealedError
        If it is sealed.
    """
    row = hold_survey(session, identifier)
    refuse_sealed(session, row)
    if counts:
        count_change(session, [identifier])
    return row


def hold_survey(session: Session, identifier: str) -> SurveyRow:
    """Return a survey's row, sealed or not, and keep writers out of it until the session ends."""
    statement = select(SurveyRow).where(SurveyRow.id == identifier).with_for_update()
    return session.scalars(statement).one_or_none() or find(session, SurveyRow, identifier)


def structure_for(session: Session, survey: SurveyRow) -> StructureRow:
    """Return the structure that a survey is judged by: the frozen one if it is sealed.

    See `api.sealing.rows.frozen_structure`.
    """
    live = find(session, StructureRow, survey.structure_id)
    seal = seal_of(session, survey.id)
    return live if seal is None else frozen_structure(live, seal)


def lock_surveys_of(session: Session, structure_id: str) -> list[str]:
    """Lock all surveys of a structure and return their identifiers."""
    statement = (
        select(SurveyRow.id)
        .where(SurveyRow.structure_id == structure_id)
        .order_by(SurveyRow.id)
        .with_for_update()
    )
    return list(session.scalars(statement))


def lock_structure(session: Session, identifier: str, *, shared: bool = False) -> StructureRow:
    """Return a structure's row; nobody changes it until the session ends.

    Always lock surveys before their structure: the other order can make two writers wait for each other.

    Parameters
    ----------
    shared : bool
        Let others read it under the same lock: for edits that only name its members.
    """
    statement = (
        select(StructureRow)
        .where(StructureRow.id == identifier)
        .with_for_update(read=shared)
        .execution_options(populate_existing=True)
    )
    row = session.scalars(statement).one_or_none()
    return find(session, StructureRow, identifier) if row is None else row


def count_change(session: Session, surveys: Sequence[str]) -> None:
    """Raise the revision of some surveys, so that kept results are computed again."""
    session.execute(
        update(SurveyRow)
        .where(SurveyRow.id.in_(surveys))
        .values(revision=SurveyRow.revision + 1)
        .execution_options(synchronize_session=False)
    )


def parts(session: Session, table: type[AnyPartRow], survey_id: str) -> list[AnyPartRow]:
    """Return a survey's photos, removals or readings in the order of its file, without withdrawn ones."""
    statement = select(table).where(stands_in(table, survey_id)).order_by(table.position)
    return list(session.scalars(statement))


def stands_in(table: type[PartRow], *surveys: str) -> ColumnElement[bool]:
    """Give the condition that a part belongs to one of some surveys and is not withdrawn."""
    return and_(table.survey_id.in_(surveys), table.withdrawn_at.is_(None))


def withdraw(row: PartRow, reason: str) -> None:
    """Take a part out of everything its locked survey says; the row stays."""
    row.withdrawn_at = now()
    row.withdrawn_reason = short_name(reason) or None


def withdrawn(session: Session, survey_id: str) -> list[PartRow]:
    """Return what was withdrawn from a survey, the latest first."""
    found: list[PartRow] = []
    for table in PART_TABLES:
        statement = select(table).where(table.survey_id == survey_id, table.withdrawn_at.is_not(None))
        found += session.scalars(statement)
    return sorted(found, key=lambda row: (row.withdrawn_at or row.created, row.id), reverse=True)


def next_position(session: Session, table: type[PartRow], survey_id: str) -> int:
    """Return the place after a survey's last part, withdrawn or not. Call it with the survey locked."""
    last = session.scalar(select(func.max(table.position)).where(table.survey_id == survey_id))
    return 0 if last is None else int(last) + 1


def add_part(
    session: Session,
    table: type[AnyPartRow],
    survey_id: str,
    model: Photo | Removal | ThicknessReading,
    **columns: str | None,
) -> AnyPartRow:
    """Append a part to a locked survey; `columns` are the service's own facts about it.

    Raises
    ------
    ConflictError
        If the survey already has one of that id.
    """
    taken = select(table.id).where(stands_in(table, survey_id), table.key == model.id)
    if session.scalar(taken) is not None:
        raise ConflictError(
            f"the survey already has a {NOUNS[table]} {model.id!r}.",
            remedy="Choose another id, or edit that one.",
        )
    row = table(
        survey_id=survey_id,
        key=model.id,
        position=next_position(session, table, survey_id),
        document=dump(model),
        **columns,
    )
    session.add(row)
    session.flush()
    return row


def dump(model: BaseModel) -> Document:
    """Turn a part into the document that is stored: every field, so that new defaults change nothing."""
    return storable(model.model_dump(mode="json"))


def storable(document: Document) -> Document:
    """Return a document unchanged if every database can hold it.

    Raises
    ------
    InvalidError
        If a number is not finite or a text is not valid Unicode.
    """
    try:
        json.dumps(document, allow_nan=False, ensure_ascii=False).encode()
    except ValueError as error:
        reason = str(error) if isinstance(error, UnicodeError) else "a number is not finite"
        raise InvalidError(
            f"a value cannot be stored ({reason}).",
            remedy="Numbers must be finite, text valid Unicode.",
        ) from error
    return document


def check(model: type[Model], document: Any, *, path: str = "body") -> Model:
    """Validate a document as a part of the survey file.

    Raises
    ------
    InvalidError
        If it breaks the model; every fault is listed under `path`.
    """
    try:
        return model.model_validate(document)
    except ValidationError as error:
        faults = [
            Fault(
                path=".".join([path, *(str(step) for step in item["loc"])]),
                message=item["msg"],
                value=item["input"],
            )
            for item in error.errors(include_url=False, include_context=False)
        ]
        raise InvalidError(
            f"{faults[0]['path']}: {faults[0]['message']}.",
            remedy="Correct the fields listed under 'errors'.",
            faults=faults,
        ) from error


def must_name(value: str | None, known: Iterable[str], *, path: str, noun: str) -> None:
    """Check that a reference names something that exists.

    Raises
    ------
    InvalidError
        If not; it names the path, the value and what there is.
    """
    names = sorted(known)
    if value is None or value in names:
        return
    there = ", ".join(repr(name) for name in names[:20]) or "none"
    message = f"there is no {noun} {value!r}; there is: {there}"
    raise InvalidError(
        f"{path}: {message}.",
        remedy=f"Use one of these, or add the {noun} first.",
        faults=[Fault(path=path, message=message, value=value)],
    )


def structure_of(row: StructureRow) -> Structure:
    """Return a stored structure, in its own unit."""
    return Structure.model_validate(row.document)


def member_ids(session: Session, survey: SurveyRow) -> set[str]:
    """Return the ids of the members that a survey may name."""
    structure = lock_structure(session, survey.structure_id, shared=True)
    return {str(member["id"]) for member in structure.document["members"]}


def lens_ids(survey: SurveyRow) -> set[str]:
    """Return the ids of the lens profiles that a survey's photos may name."""
    return {str(lens["id"]) for lens in survey.document["lenses"]}


def used_by_parts(session: Session, surveys: Sequence[str], field: str, table: type[PartRow]) -> set[str]:
    """Return every member (or lens) that parts of some surveys name."""
    column = table.document[field].as_string()
    statement = select(column).where(stands_in(table, *surveys)).distinct()
    return {name for name in session.scalars(statement) if name is not None}


def pictures_of(session: Session, photos: Sequence[PhotoRow]) -> dict[str, PictureRow]:
    """Return the stored pictures of some photos by their hash."""
    hashes = {row.picture_sha256 for row in photos if row.picture_sha256 is not None}
    statement = select(PictureRow).where(PictureRow.sha256.in_(hashes))
    return {row.sha256: row for row in session.scalars(statement)}


def choices_of(session: Session, *surveys: str) -> list[ChoiceRow]:
    """Return what some surveys have chosen of planning and decision; a survey may have neither."""
    return list(session.scalars(select(ChoiceRow).where(ChoiceRow.survey_id.in_(surveys))))


def photo_file(session: Session, survey: SurveyRow, photo: PhotoRow) -> SurveyFile:
    """Put a survey together with one photo alone, for measuring it."""
    structure = structure_for(session, survey)
    return SurveyFile.model_validate(
        {"units": structure.units, "structure": structure.document, "photos": [photo.document]}
        | survey.document
    )


def survey_file(session: Session, survey: SurveyRow) -> SurveyFile:
    """Put a survey together again from its parts, exactly as it was imported or entered."""
    structure = structure_for(session, survey)
    return SurveyFile.model_validate(
        {
            "units": structure.units,
            "structure": structure.document,
            "photos": [row.document for row in parts(session, PhotoRow, survey.id)],
            "removals": [row.document for row in parts(session, RemovalRow, survey.id)],
            "thickness_readings": [row.document for row in parts(session, ReadingRow, survey.id)],
        }
        | survey.document
        | {part: body for row in choices_of(session, survey.id) for part, body in row.document.items()}
    )


def short_name(name: str) -> str:
    """Return a name fit for a text column: PostgreSQL has no NUL, and the full text is in the document."""
    return name.replace("\x00", "")[:NAME_LENGTH]
