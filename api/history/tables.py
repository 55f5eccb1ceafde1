"""The tables of the history: its lines, and the one row that says where it ends.

No foreign keys: a line outlives what it is about.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import BigInteger, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.tables import Base


class HistoryRow(Base):
    """One line. `body` is the very text that was hashed; the other columns are copies to look it up by.

    Triggers in the database refuse to change or delete a line.
    """

    __tablename__ = "history"
    __table_args__ = (
        Index(None, "survey_id", "seq"),
        Index(None, "structure_id", "seq"),
        Index(None, "table_name", "row_id", "seq"),
        Index(None, "table_name", "seq"),
    )
    seq: Mapped[int] = mapped_column(BigInteger, primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    table_name: Mapped[str] = mapped_column(String(40))
    row_id: Mapped[str]
    survey_id: Mapped[str | None] = mapped_column(String(32))
    structure_id: Mapped[str | None] = mapped_column(String(32))
    action: Mapped[str] = mapped_column(String(20))
    hash: Mapped[str] = mapped_column(String(64))
    body: Mapped[str] = mapped_column(Text)


class HistoryHeadRow(Base):
    """The number and hash of the last line: without it nobody would miss lines cut off at the end."""

    __tablename__ = "history_head"
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    seq: Mapped[int] = mapped_column(BigInteger)
    hash: Mapped[str] = mapped_column(String(64))
