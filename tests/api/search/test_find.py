"""A search finds exactly what fits, in order, page by page, on SQLite and on PostgreSQL alike."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, text

from api.database import Database
from api.errors import InvalidError
from api.search import find
from api.search.find import WHATS, Finder
from api.search.query import KEYS, Order, Query
from tests.api.search.store import (
    FACES,
    KINDS,
    MEMBERS,
    SCOPES,
    VERDICTS,
    VOCABULARY,
    filled,
    made,
    write_scope,
)

ENTRIES = made()
MOST = len(ENTRIES)
HOSTILE = [
    '"', "*", "a*", "NEAR(a b)", "a AND", "OR OR", "NOT x", "-pit", "words:lap", "^lap", "{lap} : x",
   "lap\x00",
    "'); DROP TABLE search_entries; --", "lap:*", "!lap", "<-> lap", "a & | b", "\\", "%", "_", "\ud800",
    "(" * 200, "§zone331", "lap " * 400, "ﷺ", "\u202e", "🛩",
]  # fmt: skip


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def database(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    """Give a filled database of each kind."""
    url = f"sqlite:///{tmp_path_factory.mktemp('search') / 'a.sqlite3'}"
    if request.param == "postgresql":
        server = request.getfixturevalue("postgresql_server")
        name = f"t{uuid4().hex}"
        engine = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        engine.dispose()
        url = f"{server}/{name}"
    with filled(url) as made_database:
        yield made_database


def optional(values: list[str]) -> st.SearchStrategy[str]:
    """Give one of some values, or none."""
    return st.sampled_from(["", "", *values])


def some(values: list[str]) -> st.SearchStrategy[tuple[str, ...]]:
    """Give some of some values, in most cases none."""
    return st.just(()) | st.lists(st.sampled_from(values), max_size=2, unique=True).map(tuple)


def bounds(values: list[float]) -> st.SearchStrategy[tuple[float | None, float | None]]:
    """Give a range, open on either side or both."""
    end = st.none() | st.sampled_from(values)
    return st.just((None, None)) | st.tuples(end, end)


TYPED = st.lists(st.sampled_from([*VOCABULARY, "la", "d", "ri", "zzyzx"]), max_size=2).map(" ".join)
QUERIES = st.builds(
    Query,
    text=TYPED,
    what=some(["finding", "photo"]),
    zone=optional(["3", "33", "334", "9"]),
    member=optional(MEMBERS),
    face=optional(FACES),
    kinds=some(KINDS),
    verdicts=some(VERDICTS),
    person=optional(["agren", "inspector"]),
    station=bounds([0.0, 100.0, 200.0, 450.0]),
    depth=bounds([0.0, 0.1, 0.2, 0.35]),
    date=st.just((None, None)) | st.sampled_from([("2031-01-01", None), (None, "2033-12-31")]),
    withdrawn=st.booleans(),
    order=st.sampled_from(list(Order)),
)


@pytest.mark.parametrize("few", [3, 40, 10_000], ids=["along the order", "mixed", "by an index"])
def test_a_search_finds_exactly_what_fits(
    database: Database, few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whichever way a search takes, it finds what its description says, in its order, and counts it."""
    monkeypatch.setattr(find, "FEW", few)
    finder = Finder(database)

    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(query=QUERIES)
    @example(query=Query())
    def check(query: Query) -> None:
        found = finder.find(query, limit=MOST)
        wanted = {(one.scope.id, one.entry.ref) for one in ENTRIES if one.fits(query)}
        assert {(hit.entry.scope_id, hit.entry.ref) for hit in found.hits} == wanted
        assert len(found.hits) == found.total == len(wanted)
        assert found.exact
        column, down = KEYS[query.order]
        keys = [(getattr(hit.entry, column.key), hit.entry.tie) for hit in found.hits]
        assert keys == sorted(keys, reverse=down)

    check()


@pytest.mark.parametrize("few", [3, 10_000])
def test_each_kind_of_thing_gets_its_own_first_hits(
    database: Database, few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The groups of the page are the results of a search for each kind, whichever way they are found."""
    monkeypatch.setattr(find, "FEW", few)
    finder = Finder(database)
    for asked in (Query(text="la"), Query(zone="33", what=("photo", "person")), Query(text="zzyzx")):
        grouped = finder.by_kind(asked, limit=4)
        for what in WHATS:
            alone = finder.find(replace(asked, what=(what,)), limit=4)
            if not alone.hits or (asked.what and what not in asked.what):
                assert what not in grouped
                continue
            assert [hit.entry.ref for hit in grouped[what].hits] == [hit.entry.ref for hit in alone.hits]
            assert [hit.survey for hit in grouped[what].hits] == [hit.survey for hit in alone.hits]
            if grouped[what].exact and alone.exact:
                assert grouped[what].total == alone.total


@pytest.mark.parametrize("order", list(Order))
def test_pages_hold_every_entry_once_while_surveys_are_indexed_again(
    database: Database, order: Order, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cursor names a place in the order, not a row: new rows of the same entries shift nothing."""
    monkeypatch.setattr(find, "FEW", 5)
    finder, query, seen = Finder(database), Query(zone="3", order=order), []
    cursor, totals = "", set()
    for page in range(MOST):
        found = finder.find(query, limit=7, cursor=cursor)
        seen += [(hit.entry.scope_id, hit.entry.ref) for hit in found.hits]
        totals.add((found.total, found.exact))
        cursor = found.next
        if not cursor:
            break
        write_scope(database, page % SCOPES, ENTRIES)
    wanted = [(one.scope.id, one.entry.ref) for one in ENTRIES if one.fits(query)]
    assert sorted(seen) == sorted(wanted)
    assert len(totals) == 1
    ((total, exact),) = totals
    assert total == len(wanted) if exact else total <= len(wanted)


def test_any_text_is_a_search_and_never_an_error(database: Database) -> None:
    """Operators of either database's query language, quotes, zero bytes: a result or none, no failure."""
    finder = Finder(database)

    @settings(max_examples=35, deadline=None, suppress_health_check=list(HealthCheck))
    @given(typed=st.text(max_size=40) | st.sampled_from(HOSTILE), fact=st.text(max_size=12))
    def check(typed: str, fact: str) -> None:
        finder.find(Query(text=typed), limit=3)
        finder.find(Query(text=f"lap {typed}", member=fact, zone=fact, serial=fact), limit=3)
        finder.find(Query(person=typed, tags=(fact,), structure_id=fact, kinds=(fact,)), limit=3)

    check()
    for typed in ("--", "* *", "§", "\x00"):
        for asked in (Query(text=typed), Query(person=typed), Query(zone=typed), Query(serial=typed)):
            assert finder.find(asked, limit=3).total == 0, asked
    for typed in HOSTILE:
        finder.find(Query(text=typed, person=typed, serial=typed), limit=3)
    assert finder.find(Query(), limit=MOST).total == sum(not one.entry.withdrawn for one in ENTRIES)


@pytest.mark.parametrize(
    "cursor",
    ["x", "é", "[]", base64.urlsafe_b64encode(json.dumps(["newest", 1, 2, 3, True]).encode()).decode()],
)
def test_a_cursor_of_another_search_is_refused(tmp_path: Path, cursor: str) -> None:
    """A cursor that was not given out for this order is told as such, not taken for some place."""
    database = Database(f"sqlite:///{tmp_path / 'a.sqlite3'}")
    database.migrate()
    with pytest.raises(InvalidError, match="cursor"):
        Finder(database).find(Query(order=Order.NEWEST), limit=5, cursor=cursor)
    database.close()
