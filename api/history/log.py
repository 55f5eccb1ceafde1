"""Reading the history."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from api.history.chain import HistoryEntry, entry_from, entry_json, entry_text
from api.history.record import settle
from api.history.tables import HistoryHeadRow, HistoryRow
from api.tables import SurveyRow
from corrosion.errors import StorageError

__all__ = ["Head", "HistoryEntry", "Wanted", "entries_of", "entry_json", "entry_text", "head", "page_of"]


class Head(NamedTuple):
    """Number and hash of the last line; (0, 64 zeros) before the first."""

    seq: int
    hash: str


@dataclass(frozen=True)
class Wanted:
    """Which lines of the history are wanted, newest first.

    Attributes
    ----------
    survey_id : str or None
        Only those of one survey and its structure.
    tables : tuple of str
        Only those about rows of these tables; empty for all.
    without : tuple of str
        None about rows of these.
    before : int
        Only lines with a smaller number; 0 for no such bound.
    """

    survey_id: str | None = None
    tables: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    before: int = 0
    limit: int = 100


def head(session: Session) -> Head:
    """Return the last line's number and hash, this transaction's own changes included."""
    settle(session)
    seq, hash_ = session.execute(select(HistoryHeadRow.seq, HistoryHeadRow.hash)).one()
    return Head(seq, hash_)


def entries_of(session: Session, survey_id: str) -> list[HistoryEntry]:
    """Return every line about a survey, its parts and its structure, oldest first.

    This transaction's own changes are included.
    """
    settle(session)
    statement = select(HistoryRow.body, HistoryRow.hash).where(or_(*_both(session, survey_id)))
    return [_read(body, hash_) for body, hash_ in session.execute(statement.order_by(HistoryRow.seq))]


def page_of(session: Session, wanted: Wanted) -> Iterator[HistoryEntry]:
    """Yield the lines wanted, newest first."""
    # Two questions, each along an index, instead of one with OR that reads and sorts everything.
    about = [None] if wanted.survey_id is None else _both(session, wanted.survey_id)
    pages = [_newest(session, wanted, condition) for condition in about]
    merged = heapq.merge(*pages, key=lambda line: -line.seq)
    return itertools.islice(merged, wanted.limit)


def _newest(session: Session, wanted: Wanted, about: ColumnElement[bool] | None) -> Iterator[HistoryEntry]:
    statement = select(HistoryRow.body, HistoryRow.hash)
    if about is not None:
        statement = statement.where(about)
    if wanted.tables:
        statement = statement.where(HistoryRow.table_name.in_(wanted.tables))
    if wanted.without:
        statement = statement.where(HistoryRow.table_name.not_in(wanted.without))
    if wanted.before:
        statement = statement.where(HistoryRow.seq < wanted.before)
    found = session.execute(statement.order_by(HistoryRow.seq.desc()).limit(wanted.limit))
    return (_read(body, hash_) for body, hash_ in found)


def _read(body: str, hash_: str) -> HistoryEntry:
    try:
        return entry_from(body, hash_)
    except ValueError as error:
        raise StorageError(
            f"a line of the history cannot be read ({error}).",
            place=f"line with the hash {hash_}",
            remedy="It was changed past the program: 'corrosion verify' names what else was.",
        ) from error


def _both(session: Session, survey_id: str) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    """Give the conditions for a survey's own lines and for those of its structure."""
    structure = session.scalar(select(SurveyRow.structure_id).where(SurveyRow.id == survey_id))
    own = HistoryRow.survey_id == survey_id
    return own, and_(HistoryRow.survey_id.is_(None), HistoryRow.structure_id == structure)
