"""The word index of each database behind one interface. Migration 0007 makes it.

SQLite has FTS5, PostgreSQL has ``tsvector`` with a GIN index. Both hold the words of
`SearchEntryRow.words` without their places: the index finds entries that have all the words, and
`holds` asks an entry itself whether they stand next to each other. So both give the same answers.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Protocol

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    and_,
    bindparam,
    cast,
    column,
    func,
    literal,
    or_,
    select,
    table,
    text,
    true,
)
from sqlalchemy.dialects.postgresql import ARRAY, TSQUERY
from sqlalchemy.orm import InstrumentedAttribute, Session
from sqlalchemy.types import BigInteger, String

from api.search.tables import WORDS_TABLE, SearchEntryRow
from api.search.words import WITHDRAWN, Group, Phrase

ENTRIES = SearchEntryRow.__table__


SURELY = 10
"""How many times more than a few the planner must expect: its statistics are a sample."""


class WordIndex(Protocol):
    """What the search asks of a database."""

    def matching(self, groups: Sequence[Group], *, withdrawn: bool) -> Select[int]:
        """Select the ids of entries that have the words of every group; `withdrawn` ones only if asked."""
        ...

    def holds(self, phrase: Phrase) -> ColumnElement[bool]:
        """Ask whether an entry has a phrase, without the index."""
        ...

    def among(self, ids: Sequence[int]) -> ColumnElement[bool]:
        """Ask whether an entry is one of some."""
        ...

    def are_many(self, session: Session, groups: Sequence[Group], *, few: int) -> bool:
        """Whether far more than `few` entries are sure to have the words, known without counting them."""
        ...

    def prepare(self, session: Session) -> None:
        """Make a session ready for searching."""
        ...

    def keep(self, connection: Connection, scope_id: str) -> None:
        """Put the words of a scope's new entries into the index."""
        ...


class SqliteWords:
    """FTS5."""

    def matching(self, groups: Sequence[Group], *, withdrawn: bool) -> Select[int]:
        """Select ids through FTS5; every word is quoted, so none is an operator."""
        # The hidden column of the table's own name stands for all its columns.
        words = table(WORDS_TABLE, column("rowid", BigInteger), column(WORDS_TABLE))
        asked = " AND ".join(f"({' OR '.join(map(_fts5, group))})" for group in groups)
        asked = asked if withdrawn else f'({asked}) NOT "{WITHDRAWN}"'
        return select(words.c.rowid).where(words.c[WORDS_TABLE].op("MATCH")(asked))

    def holds(self, phrase: Phrase) -> ColumnElement[bool]:
        """Look for the phrase in the entry's words."""
        return func.instr(SearchEntryRow.words, phrase.pattern) > 0

    def among(self, ids: Sequence[int]) -> ColumnElement[bool]:
        """Hand the ids over as one value: there may be more than a statement takes parameters."""
        listed = func.json_each(json.dumps(list(ids))).table_valued("value")
        return SearchEntryRow.id.in_(select(listed.c.value))

    def are_many(self, session: Session, groups: Sequence[Group], *, few: int) -> bool:  # noqa: ARG002
        """Leave it to the index, which stops as soon as it has named a few."""
        return False

    def prepare(self, session: Session) -> None:
        """Nothing to do."""

    def keep(self, connection: Connection, scope_id: str) -> None:
        """Nothing to do: triggers keep the index."""


class PostgresWords:
    """``tsvector`` and GIN, without any extension."""

    def matching(self, groups: Sequence[Group], *, withdrawn: bool) -> Select[int]:
        """Select ids through the GIN index; every word is quoted, so none is an operator."""
        words = table(WORDS_TABLE, column("entry_id", BigInteger), column("words"))
        asked = " & ".join(f"({' | '.join(map(_tsquery, group))})" for group in groups)
        asked = asked if withdrawn else f"({asked}) & !'{WITHDRAWN}'"
        return select(words.c.entry_id).where(words.c.words.op("@@")(cast(literal(asked, String), TSQUERY)))

    def holds(self, phrase: Phrase) -> ColumnElement[bool]:
        """Look for the phrase in the entry's words."""
        return func.strpos(SearchEntryRow.words, phrase.pattern) > 0

    def among(self, ids: Sequence[int]) -> ColumnElement[bool]:
        """Hand the ids over as one array."""
        return SearchEntryRow.id == func.any(bindparam(None, list(ids), ARRAY(BigInteger), unique=True))

    def are_many(self, session: Session, groups: Sequence[Group], *, few: int) -> bool:
        """Ask the planner's statistics: GIN names all entries before it gives the first.

        Only for one group: of several, the statistics know each, but not how many have all.
        """
        if len(groups) != 1:
            return False
        asked = self.matching(groups, withdrawn=True)
        plain = asked.compile(dialect=session.get_bind().dialect, compile_kwargs={"literal_binds": True})
        (plan,) = session.connection().exec_driver_sql(f"EXPLAIN (FORMAT JSON) {plain}").scalar_one()
        return bool(plan["Plan"]["Plan Rows"] > SURELY * few)

    def prepare(self, session: Session) -> None:
        """Keep the planner from reading the whole table, and from compiling a statement run once."""
        session.execute(text("SET LOCAL enable_seqscan = off"))
        session.execute(text("SET LOCAL jit = off"))

    def keep(self, connection: Connection, scope_id: str) -> None:
        """Split the words at their spaces; places are not kept."""
        split = func.string_to_array(func.btrim(ENTRIES.c.words), " ")
        words = table(WORDS_TABLE, column("entry_id"), column("words"))
        source = select(ENTRIES.c.id, func.array_to_tsvector(split)).where(ENTRIES.c.scope_id == scope_id)
        connection.execute(words.insert().from_select(["entry_id", "words"], source))


def word_index(*, sqlite: bool) -> WordIndex:
    """Return the word index of a kind of database."""
    return SqliteWords() if sqlite else PostgresWords()


def fits(index: WordIndex, groups: Sequence[Group]) -> ColumnElement[bool]:
    """Ask whether an entry fits all groups, by its own words."""
    return and_(true(), *(or_(*(index.holds(phrase) for phrase in group)) for group in groups))


def between(
    key: InstrumentedAttribute[Any], least: float | str, most: float | str, *, indexed: bool
) -> ColumnElement[bool]:
    """Ask for a range of a key; unless `indexed`, so that no index of that key is chosen for it."""
    plain: ColumnElement[Any] = key.expression
    if not indexed:
        plain = plain + "" if isinstance(least, str) else plain + 0.0
    return and_(plain >= least, plain <= most)


def _fts5(phrase: Phrase) -> str:
    quoted = [f'"{word}"' for word in phrase.words]
    return f"({' AND '.join(quoted)}{'*' if phrase.prefix else ''})"


def _tsquery(phrase: Phrase) -> str:
    quoted = [f"'{word}'" for word in phrase.words]
    return f"({' & '.join(quoted)}{':*' if phrase.prefix else ''})"
