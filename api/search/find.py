"""Runs a search: picks the way that touches few rows, counts as far as that is quick, pages stably.

Three ways lead to the entries of a page:

* few entries have the words: the word index names them all;
* few lie in a range (depth, station, date): that key's index names them all;
* neither: entries are looked at along the order asked for until the page is full, which is soon,
  because many of them fit.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, and_, func, select, true, tuple_
from sqlalchemy.orm import InstrumentedAttribute, Session

from api.database import Database
from api.errors import Fault, InvalidError
from api.search.build import What
from api.search.engine import WordIndex, between, fits, word_index
from api.search.query import KEYS, Order, Query
from api.search.tables import NO_STATION, SearchEntryRow
from api.tables import StructureRow, SurveyRow

FEW = 10_000
"""Entries that are fetched and sorted in well under the time a person notices."""

LOOKED_AT = 5_000
"""Entries looked at for a count where too many fit for an exact one."""

HIGHEST = 1e299
LAST_DATE = "9999-99-99"


@dataclass(frozen=True)
class Hit:
    """One entry, with the names of what it belongs to."""

    entry: SearchEntryRow
    structure: str
    survey: str


@dataclass(frozen=True)
class Found:
    """A page of a result.

    Attributes
    ----------
    total : int
        How many there are; at least so many unless `exact`.
    next : str
        Cursor of the next page; empty on the last.
    """

    hits: list[Hit]
    total: int
    exact: bool
    next: str


@dataclass(frozen=True)
class _Cursor:
    """Where a page ends: the key and tie of its last entry, and the count made on the first page."""

    key: float | str
    tie: int
    total: int
    exact: bool

    def text(self, order: Order) -> str:
        """Write it for an address."""
        plain = json.dumps([str(order), self.key, self.tie, self.total, self.exact])
        return base64.urlsafe_b64encode(plain.encode()).decode().rstrip("=")


class Finder:
    """Runs searches on one database."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._words = word_index(sqlite=database.is_sqlite)

    def find(self, query: Query, *, limit: int, cursor: str = "") -> Found:
        """Return a page of a result.

        Raises
        ------
        InvalidError
            If the cursor is not one of this order.
        """
        after = _read_cursor(cursor, query.order) if cursor else None
        with self._database.reading() as session:
            self._words.prepare(session)
            found = _Run(session, self._words, query).page(limit, after)
            return replace(found, hits=list(_named(session, found.hits)))

    def by_kind(self, query: Query, *, limit: int) -> dict[str, Found]:
        """Return the first hits of each kind of thing that has any, in the order of `What`.

        Where few entries fit, all kinds are found in one look at them.
        """
        with self._database.reading() as session:
            self._words.prepare(session)
            run = _Run(session, self._words, query)
            ids = run.few()
            found = run.many_of_each(limit) if ids is None else run.grouped(ids, limit)
            for what, one in found.items():
                found[what] = replace(one, hits=list(_named(session, one.hits)))
        if ids is None:
            wanted = {str(what) for what in What if not query.what or what in query.what}
            for what in wanted - set(found):
                found[what] = self.find(replace(query, what=(what,)), limit=limit)
        return {str(what): found[what] for what in What if what in found and found[what].hits}

    def everything(self, query: Query, *, at_once: int = 500) -> Iterator[Hit]:
        """Give a whole result; each page is a read of its own, so that a long export blocks nobody."""
        cursor = ""
        while True:
            found = self.find(query, limit=at_once, cursor=cursor)
            yield from found.hits
            if not found.next:
                return
            cursor = found.next


class _Run:
    """One search in one session."""

    def __init__(self, session: Session, words: WordIndex, query: Query) -> None:
        self._session = session
        self._words = words
        self._query = query
        self._groups = query.groups
        self._key, self._down = KEYS[query.order]

    def page(self, limit: int, after: _Cursor | None) -> Found:
        """Return a page; its hits lack their names still."""
        # A first page that could not be counted out had too many to be named.
        ids = None if after is not None and not after.exact else self.few()
        narrow = [] if ids is None else [self._words.among(ids)]
        conditions = [*narrow, *self._fits(along=ids is None)]
        rows = self._rows(conditions, limit + 1, after)
        total, exact = (after.total, after.exact) if after else self._count(conditions, rows, limit, ids)
        hits = self._entries([row.id for row in rows[:limit]])
        cursor = ""
        if len(rows) > limit:
            last = rows[limit - 1]
            cursor = _Cursor(last.key, last.tie, total, exact).text(self._query.order)
        return Found([Hit(hit, "", "") for hit in hits], total, exact, cursor)

    def grouped(self, ids: list[int], limit: int) -> dict[str, Found]:
        """Return the first hits of each kind of thing among some entries, their names lacking still."""
        entry = SearchEntryRow
        conditions = [self._words.among(ids), *self._fits(along=False)]
        place = func.row_number().over(partition_by=entry.what, order_by=self._order()).label("place")
        many = func.count().over(partition_by=entry.what).label("many")
        numbered = select(entry.id, place, many).where(*conditions).subquery()
        first = select(numbered).where(numbered.c.place <= limit).order_by(numbered.c.place)
        rows = self._session.execute(first).all()
        totals = {row.id: row.many for row in rows}
        found: dict[str, Found] = {}
        for hit in self._entries([row.id for row in rows]):
            known = found.get(hit.what)
            hits = [*(known.hits if known else []), Hit(hit, "", "")]
            found[hit.what] = Found(hits, totals[hit.id], exact=True, next="")
        return found

    def many_of_each(self, limit: int) -> dict[str, Found]:
        """Return the first hits of the kinds that are frequent at the beginning of the order."""
        entry = SearchEntryRow
        fit = and_(true(), *self._fits(along=True)).label("fits")
        place = func.row_number().over(order_by=self._order()).label("place")
        looked = (
            select(entry.id, entry.what, fit, place).order_by(*self._order()).limit(LOOKED_AT).subquery()
        )
        fitting = select(looked.c.id, looked.c.what).where(looked.c.fits).order_by(looked.c.place)
        found: dict[str, list[int]] = {}
        for identifier, what in self._session.execute(fitting):
            found.setdefault(what, []).append(identifier)
        return {
            what: Found(
                [Hit(hit, "", "") for hit in self._entries(ids[:limit])], len(ids), exact=False, next=""
            )
            for what, ids in found.items()
            if len(ids) > limit
        }

    def few(self) -> list[int] | None:
        """Return the ids that one index names, if they are few; None if every index names many."""
        ways: list[Select[int]] = []
        if self._groups and not self._words.are_many(self._session, self._groups, few=FEW):
            ways.append(self._words.matching(self._groups, withdrawn=self._query.withdrawn))
        ways += [
            select(SearchEntryRow.id).where(between(key, *bounds, indexed=True))
            for key, bounds in self._ranges()
        ]
        for way in ways:
            ids = list(self._session.scalars(way.limit(FEW + 1)))
            if len(ids) <= FEW:
                return ids
        return None

    def _ranges(self) -> Iterator[tuple[InstrumentedAttribute[Any], tuple[Any, Any]]]:
        """Give the ranges asked for; each leaves out what has no such key."""
        query = self._query
        if query.depth != (None, None):
            least, most = query.depth
            # A negative depth is the key of what has none.
            yield SearchEntryRow.depth_key, (max(least or 0.0, 0.0), HIGHEST if most is None else most)
        if query.station != (None, None):
            least, most = query.station
            low = -NO_STATION if least is None else least
            yield SearchEntryRow.station_key, (low, min(HIGHEST if most is None else most, HIGHEST))
        if query.date != (None, None):
            first, last = query.date
            yield SearchEntryRow.date_key, (first or "0", last or LAST_DATE)

    def _fits(self, *, along: bool) -> list[ColumnElement[bool]]:
        """Ask an entry itself; `along` the order, a range of the order's own key bounds the way."""
        conditions = [fits(self._words, self._groups)] if self._groups else []
        conditions += [
            between(key, *bounds, indexed=along and key is self._key) for key, bounds in self._ranges()
        ]
        if not self._query.withdrawn:
            conditions.append(SearchEntryRow.withdrawn.is_(False))
        return conditions

    def _rows(
        self, conditions: Sequence[ColumnElement[bool]], limit: int, after: _Cursor | None
    ) -> Sequence[Row[Any]]:
        """Return id, key and tie along the order."""
        key, tie = self._key, SearchEntryRow.tie
        statement = select(SearchEntryRow.id, key.label("key"), tie.label("tie")).where(*conditions)
        if after is not None:
            here, there = tuple_(key, tie), tuple_(after.key, after.tie)
            statement = statement.where(here < there if self._down else here > there)
        return self._session.execute(statement.order_by(*self._order()).limit(limit)).all()

    def _order(self) -> tuple[ColumnElement[Any], ColumnElement[Any]]:
        key, tie = self._key.expression, SearchEntryRow.tie.expression
        return (key.desc(), tie.desc()) if self._down else (key, tie)

    def _count(
        self,
        conditions: Sequence[ColumnElement[bool]],
        rows: Sequence[Row[Any]],
        limit: int,
        ids: list[int] | None,
    ) -> tuple[int, bool]:
        """Count what fits: exactly where few entries have to be looked at, else at least so many."""
        if len(rows) <= limit:
            return len(rows), True
        if ids is not None:
            counted = select(func.count()).select_from(SearchEntryRow).where(*conditions)
            return self._session.scalar(counted) or 0, True
        if self._groups and self._words_are_all():
            return FEW, False
        return max(self._count_some(conditions), len(rows)), False

    def _words_are_all(self) -> bool:
        """Whether what the word index names is what fits: no range, no words that must be neighbours."""
        phrases = [phrase for group in self._groups for phrase in group]
        return all(len(phrase.words) == 1 for phrase in phrases) and not list(self._ranges())

    def _count_some(self, conditions: Sequence[ColumnElement[bool]]) -> int:
        """Count what fits among the first entries of the order."""
        order = self._order()
        own = [between(key, *to, indexed=True) for key, to in self._ranges() if key is self._key]
        fit = and_(true(), *conditions).label("fits")
        looked = select(fit).where(*own).order_by(*order).limit(LOOKED_AT).subquery()
        return self._session.scalar(select(func.count()).select_from(looked).where(looked.c.fits)) or 0

    def _entries(self, ids: Sequence[int]) -> list[SearchEntryRow]:
        statement = select(SearchEntryRow).where(SearchEntryRow.id.in_(ids))
        found = {row.id: row for row in self._session.scalars(statement)}
        # An entry may have been indexed again between two statements only on a database without snapshots.
        return [found[identifier] for identifier in ids if identifier in found]


def _named(session: Session, hits: Iterable[Hit]) -> Iterator[Hit]:
    hits = list(hits)
    structures = {hit.entry.structure_id for hit in hits}
    surveys = {hit.entry.survey_id for hit in hits if hit.entry.survey_id}
    names: dict[str, str] = {}
    for table, ids in ((StructureRow, structures), (SurveyRow, surveys)):
        named = session.execute(select(table.id, table.name).where(table.id.in_(ids)))
        names |= {identifier: name for identifier, name in named}  # noqa: C416
    for hit in hits:
        entry = hit.entry
        yield Hit(entry, names.get(entry.structure_id, ""), names.get(entry.survey_id or "", ""))


def _read_cursor(text: str, order: Order) -> _Cursor:
    try:
        plain = base64.urlsafe_b64decode(text.encode() + b"=" * (-len(text) % 4))
        of, key, tie, total, exact = json.loads(plain)
        as_written = isinstance(tie, int) and isinstance(total, int) and isinstance(exact, bool)
        text_key = order in {Order.NEWEST, Order.NAME}
        key_fits = isinstance(key, str) if text_key else isinstance(key, (int, float))
        if of != order or not as_written or not key_fits or abs(tie) >= 2**63 or "\x00" in str(key):
            raise ValueError(of)  # noqa: TRY301
    except (ValueError, TypeError, binascii.Error) as error:
        raise InvalidError(
            f"the cursor {text!r:.60} is not one of a result ordered by {order!s}.",
            place="query cursor",
            remedy="Take the cursor of the page before, with the same filters and order.",
            faults=[Fault(path="query.cursor", message="not a cursor of this result", value=text[:60])],
        ) from error
    return _Cursor(key, tie, total, exact)


WHATS = tuple(str(what) for what in What)
