"""Tables of the search: the index (derived, may be made anew at any time), saved searches, retention.

The words themselves are in `WORDS_TABLE`, which each database makes by its own means (see
`api.search.engine`); it is not declared here.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import BigInteger, Boolean, Float, ForeignKey, Index, Integer, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.tables import Base, Versioned, now

WORDS_TABLE = "search_words"

NO_DATE = ""
NO_DEPTH = -1.0
NO_STATION = 1e300
"""Keys of entries that lack one: last in their order, and outside every range."""


def is_declared(name: str | None, kind: str, _parents: Mapping[str, str | None] | None = None) -> bool:
    """Whether a database object is one of `Base.metadata`; Alembic's ``include_name``."""
    return not (kind == "table" and name is not None and name.startswith(WORDS_TABLE))


class SearchEntryRow(Base):
    """One thing that can be found. Lengths are in mm.

    `scope_id` is the survey (or structure) whose state it was derived from: all entries of a scope are
    replaced together. `tie` is made of scope, kind and ref alone, so that the order of equals stays the
    same when a scope is indexed again.
    """

    __tablename__ = "search_entries"
    __table_args__ = (
        Index("ix_search_entries_date", "date_key", "tie"),
        Index("ix_search_entries_depth", "depth_key", "tie"),
        Index("ix_search_entries_worst", "worst_key", "tie"),
        Index("ix_search_entries_station", "station_key", "tie"),
        Index("ix_search_entries_title", "title_key", "tie"),
        {"info": {"history": False}},
    )
    id: Mapped[int] = mapped_column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True)
    tie: Mapped[int] = mapped_column(BigInteger)
    scope_id: Mapped[str] = mapped_column(String(32), index=True)
    structure_id: Mapped[str] = mapped_column(String(32))
    survey_id: Mapped[str | None] = mapped_column(String(32))
    what: Mapped[str] = mapped_column(String(10))
    ref: Mapped[str]
    title: Mapped[str]
    detail: Mapped[str] = mapped_column(Text)
    words: Mapped[str] = mapped_column(Text)
    zone: Mapped[str | None] = mapped_column(String(10))
    member: Mapped[str | None] = mapped_column(String(80))
    face: Mapped[str | None] = mapped_column(String(5))
    kind: Mapped[str | None] = mapped_column(String(12))
    verdict: Mapped[str | None] = mapped_column(String(20))
    station_text: Mapped[str] = mapped_column(String(80))
    depth_text: Mapped[str] = mapped_column(String(2))
    withdrawn: Mapped[bool] = mapped_column(Boolean)
    date_key: Mapped[str] = mapped_column(String(10))
    depth_key: Mapped[float] = mapped_column(Float)
    worst_key: Mapped[float] = mapped_column(Float)
    station_key: Mapped[float] = mapped_column(Float)
    title_key: Mapped[str] = mapped_column(String(64))


class SearchStateRow(Base):
    """What a scope's entries were derived from; they are right while that has not changed."""

    __tablename__ = "search_states"
    __table_args__ = ({"info": {"history": False}},)
    scope_id: Mapped[str] = mapped_column(String(32), primary_key=True)
    revision: Mapped[int]
    structure_version: Mapped[int]
    signatures: Mapped[int]
    form: Mapped[int]
    indexed: Mapped[datetime] = mapped_column(default=now)
    problem: Mapped[str | None] = mapped_column(Text)


class SavedSearchRow(Versioned, Base):
    """A named search: `document` holds the parameters of its address. Nobody's is deleted: withdrawn."""

    __tablename__ = "saved_searches"
    name: Mapped[str] = mapped_column(String(80))
    owner: Mapped[str] = mapped_column(String(80), index=True)
    owner_name: Mapped[str]
    shared: Mapped[bool] = mapped_column(Boolean)
    withdrawn_at: Mapped[datetime | None]


class RetentionLabelRow(Versioned, Base):
    """A retention label: how long to keep what bears it, and the document that says so."""

    __tablename__ = "retention_labels"
    name: Mapped[str] = mapped_column(String(80))
    retired_at: Mapped[datetime | None]


class RetentionMarkRow(Versioned, Base):
    """A label on a survey. It keeps the label's words as they were when it was set.

    It deletes nothing and never will: it tells what is due for review.
    """

    __tablename__ = "retention_marks"
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"), index=True)
    label_id: Mapped[str] = mapped_column(ForeignKey("retention_labels.id"))
    starts: Mapped[str | None] = mapped_column(String(10))
    due: Mapped[str | None] = mapped_column(String(10), index=True)
    set_by: Mapped[str]
    lifted_at: Mapped[datetime | None]
    lifted_reason: Mapped[str | None]
