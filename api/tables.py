"""The tables. They hold the survey file's own parts as JSON, and beside them what is looked up.

A part is validated by `corrosion.model` before it is written and when it is read; the columns beside the
document are copies for searching or facts of the service (version, picture).
Only generic column types, so that SQLite and PostgreSQL hold the same tables.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import JSON, BigInteger, DateTime, Float, ForeignKey, Index, MetaData, String, text
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column
from sqlalchemy.types import TypeDecorator

Document = dict[str, Any]

# Alembic can only alter a constraint that has a name, and SQLite gives none by itself.
NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class UtcDateTime(TypeDecorator[datetime]):
    """UTC time. SQLite forgets the zone; this puts it back, so that both databases give the same value."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_result_value(self, value: datetime | None, dialect: object) -> datetime | None:  # noqa: ARG002
        """Return the stored time with its zone."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def now() -> datetime:
    """Return the current time in UTC."""
    return datetime.now(UTC)


def new_id() -> str:
    """Return a fresh identifier; random, so that it tells nothing and never collides between stores."""
    return uuid4().hex


class Base(DeclarativeBase):
    """Base of the tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {datetime: UtcDateTime(), Document: JSON(), str: String(400)}  # noqa: RUF012


class Versioned:
    """A row that people edit.

    `version` is the ETag. SQLAlchemy writes ``UPDATE ... WHERE version = <read one>``, so that of two
    edits of one version exactly one succeeds, on any database.
    """

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    version: Mapped[int]
    created: Mapped[datetime] = mapped_column(default=now)
    document: Mapped[Document]

    @declared_attr.directive
    def __mapper_args__(cls) -> dict[str, Any]:  # noqa: N805 - SQLAlchemy calls it with the class
        """Let SQLAlchemy compare and raise `version` in every update."""
        return {"version_id_col": cls.version}


class StructureRow(Versioned, Base):
    """A structure: `corrosion.model.Structure` and the unit its lengths are in."""

    __tablename__ = "structures"
    name: Mapped[str]
    units: Mapped[str] = mapped_column(String(2))


class SurveyRow(Versioned, Base):
    """A survey's head: what the survey file holds beside structure, photos, removals and readings.

    `revision` counts every change inside the survey, also to its photos: results may be kept as long as
    it stays the same.
    """

    __tablename__ = "surveys"
    structure_id: Mapped[str] = mapped_column(ForeignKey("structures.id"), index=True)
    name: Mapped[str]
    revision: Mapped[int] = mapped_column(default=1)


class PictureRow(Base):
    """The facts of one original, by its hash. The row exists only once the bytes are safely stored."""

    __tablename__ = "pictures"
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    media_type: Mapped[str] = mapped_column(String(80))
    width: Mapped[int]
    height: Mapped[int]
    facts: Mapped[Document]
    created: Mapped[datetime] = mapped_column(default=now)


class SurveyPart(Versioned):
    """A part of a survey: `key` is its id in the survey file, `position` its place in the file's list.

    A part entered wrongly is withdrawn, never deleted: the row stays with the time and the reason, out of
    everything the survey says, and its `key` is free again.
    """

    key: Mapped[str] = mapped_column(String(80))
    position: Mapped[int]
    withdrawn_at: Mapped[datetime | None]
    withdrawn_reason: Mapped[str | None]


def _one_standing(name: str) -> Index:
    """Let a survey have one part of each key that is not withdrawn."""
    standing = text("withdrawn_at IS NULL")
    return Index(name, "survey_id", "key", unique=True, sqlite_where=standing, postgresql_where=standing)


class PhotoRow(SurveyPart, Base):
    """A photo: `corrosion.model.Photo`. `picture_sha256` is set once its original is in the store."""

    __tablename__ = "photos"
    __table_args__ = (
        _one_standing("uq_photos_standing_key"),
        Index(None, "survey_id", "picture_sha256"),
    )
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))
    picture_sha256: Mapped[str | None] = mapped_column(ForeignKey("pictures.sha256"))
    upload_name: Mapped[str] = mapped_column(default="")


class RemovalRow(SurveyPart, Base):
    """A removal entry: `corrosion.model.Removal`."""

    __tablename__ = "removals"
    __table_args__ = (_one_standing("uq_removals_standing_key"),)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))


class ReadingRow(SurveyPart, Base):
    """A remaining-thickness reading: `corrosion.model.ThicknessReading`."""

    __tablename__ = "readings"
    __table_args__ = (_one_standing("uq_readings_standing_key"),)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))


class ChoiceRow(Versioned, Base):
    """One of a survey's two sets of choices: the survey file's `planning` or its `decision`.

    Each has its own version, so that the planner's edits and those of the survey's head do not meet. The
    document is ``{part: ...}``, as the survey file has it; a survey without a row has not chosen yet.
    """

    __tablename__ = "choices"
    __table_args__ = (Index("uq_choices_survey_part", "survey_id", "part", unique=True),)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))
    part: Mapped[str] = mapped_column(String(20))


class TickRow(Base):
    """One line of a bench card's log: who did what, and when. Lines are added, never changed.

    `card` and `fingerprint` say which card it was on and what that card asked for then.
    """

    __tablename__ = "ticks"
    __table_args__ = (Index(None, "survey_id", "card"),)
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))
    card: Mapped[str] = mapped_column(String(80))
    fingerprint: Mapped[str] = mapped_column(String(64))
    created: Mapped[datetime] = mapped_column(default=now)
    document: Mapped[Document]


class ProposalRow(Base):
    """An outline that the program proposes on a photo, and what a person decided about it.

    It is no mark and in no sum. Once decided it stays as it is; one that was dropped and then accepted
    elsewhere is the only exception, because the mark is there.

    Attributes
    ----------
    photo_key, key, position : str, str, int
        Name of the photo in its survey, name on the photo (``S3``), and its number there.
    picture_sha256 : str
        The picture it was found in: on another one it would outline nothing.
    asked : str
        ``point`` (a person pointed at it) or ``sweep``.
    state : str
        ``open``, ``accepted`` or ``dropped``.
    mark : str or None
        Id of the mark that it became.
    edited : bool
        Whether a person reshaped it, or took it to be reshaped.
    document : dict
        ``shape``, ``parameters`` and ``u_edge_px``.
    """

    __tablename__ = "proposals"
    __table_args__ = (
        Index("uq_proposals_photo_key", "photo_id", "key", unique=True),
        Index(None, "photo_id", "state"),
        Index(None, "survey_id", "state"),
    )
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))
    photo_id: Mapped[str] = mapped_column(ForeignKey("photos.id"))
    photo_key: Mapped[str] = mapped_column(String(80))
    picture_sha256: Mapped[str] = mapped_column(ForeignKey("pictures.sha256"))
    key: Mapped[str] = mapped_column(String(80))
    position: Mapped[int]
    kind: Mapped[str] = mapped_column(String(12))
    state: Mapped[str] = mapped_column(String(10), default="open")
    asked: Mapped[str] = mapped_column(String(10))
    score: Mapped[float] = mapped_column(Float)
    method: Mapped[str]
    created: Mapped[datetime] = mapped_column(default=now)
    by_key: Mapped[str] = mapped_column(String(64))
    by_name: Mapped[str]
    decided_at: Mapped[datetime | None]
    decided_key: Mapped[str | None] = mapped_column(String(64))
    decided_name: Mapped[str | None]
    mark: Mapped[str | None] = mapped_column(String(80))
    edited: Mapped[bool] = mapped_column(default=False)
    # Large, and what comes of it is in the history as a mark: the digest finds a change all the same.
    document: Mapped[Document] = mapped_column(info={"history": "digest"})
