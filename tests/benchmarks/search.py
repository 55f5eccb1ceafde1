"""How fast a search answers among a million findings, on SQLite and on PostgreSQL.

The floor is a count by primary key over the same connection, in the same run. The target is the 95th
percentile of every query: below 200 ms on a quiet machine.

    python -m tests.benchmarks.search                       SQLite, a million entries
    python -m tests.benchmarks.search --entries 100000
    python -m tests.benchmarks.search --url postgresql+psycopg://...   an EMPTY database of your own
    python -m tests.benchmarks.search --explain             also print the plans
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from sqlalchemy import func, insert, select, text

from api.database import Database
from api.search import build
from api.search.build import LETTERS, NOT_JUDGED, Entry, Scope, What
from api.search.engine import word_index
from api.search.find import Finder
from api.search.query import Order, Query
from api.search.tables import SearchEntryRow
from api.search.words import fact
from api.tables import StructureRow, SurveyRow
from corrosion.terms import Face, MarkKind, Verdict

TARGET_MS = 200.0
PER_SURVEY = 100
REPEATS = 15
SEED = 20310417
ZONES = [f"{hundred}{ten}{one}" for hundred in (3, 5, 6) for ten in (1, 2, 3, 4) for one in (1, 2, 3, 4)]
MEMBERS = ["SK1", "SK2", "SK3", "SP-1", "SP-2", "RB1", "RB2", "RB3", "ST.4", "CAP-L", "CAP-R", "WB1"]
NOTES = [
    "", "", "", "", "along the lap joint", "below the drain hole", "paint blistered", "exfoliation at edge",
    "sealant missing", "near fastener AN470-AD4-5", "left of the doubler", "white powder", "deep, re-check",
]  # fmt: skip
PLACES = ["Stabilizer, left", "Stabilizer, right", "Fin", "Outer wing, left", "Centre section", "Elevator"]
PEOPLE = ["Inspector A", "Inspector B", "Søren Ågren", "M. Óvári", "J. Example"]

QUERIES: dict[str, Query] = {
    "nothing asked": Query(),
    "one common word": Query(text="pit"),
    "two common words": Query(text="pit stabilizer"),
    "common word, deepest first": Query(text="pit", order=Order.DEEPEST),
    "rare part number": Query(text="an470-ad4 sealant"),
    "one survey by its number": Query(text="look 04711"),
    "prefix of three letters": Query(text="exf"),
    "no such word": Query(text="zzyzx"),
    "zone and verdict": Query(zone="334", verdicts=("over",), order=Order.WORST),
    "zone prefix": Query(zone="33", what=("finding",)),
    "member, kind, face": Query(member="SK1", kinds=("pit",), face="inner", order=Order.STATION),
    "depth range, broad": Query(depth=(0.1, 0.4), order=Order.DEEPEST),
    "depth range, narrow": Query(depth=(1.3, None), order=Order.NEWEST),
    "station range": Query(station=(400.0, 420.0), order=Order.STATION),
    "date range": Query(date=("2031-02-01", "2031-02-28")),
    "serial": Query(serial="sn-0042"),
    "person": Query(person="agren"),
    "everything at once": Query(
        text="lap joint", zone="33", kinds=("pit",), depth=(0.1, None), date=("2028-01-01", None)
    ),
    "contradiction of two broad facts": Query(kinds=("pit",), verdicts=("within",)),
}


def fill(database: Database, entries: int) -> None:
    """Write synthetic entries of findings, a survey at a time, through the index's own rows."""
    rng = np.random.default_rng(SEED)
    words = word_index(sqlite=database.is_sqlite)
    surveys = max(entries // PER_SURVEY, 1)
    for first in range(0, surveys, 100):
        with database.writing() as session:
            connection = session.connection()
            for number in range(first, min(first + 100, surveys)):
                scope, heads = _scope(number)
                connection.execute(insert(StructureRow), heads[0]) if number % 20 == 0 else None
                connection.execute(insert(SurveyRow), heads[1])
                rows = [build.columns(entry, scope) for entry in _entries(rng, number)]
                connection.execute(insert(SearchEntryRow), rows)
                words.keep(connection, scope.id)
        if first % 1000 == 0:
            print(f"  {first} of {surveys} surveys", file=sys.stderr)
    with database.engine.begin() as connection:
        connection.execute(text("ANALYZE"))


def _scope(number: int) -> tuple[Scope, tuple[dict[str, object], dict[str, object]]]:
    structure = f"s{number // 20}"
    name = f"{PLACES[number // 20 % len(PLACES)]} {number // 20:04}"
    serial = f"SN-{number // 20:04}"
    person = PEOPLE[number % len(PEOPLE)]
    facts = (
        fact(LETTERS["structure"], structure),
        fact(LETTERS["serial"], serial),
        fact(LETTERS["survey"], f"v{number}"),
        *(fact(LETTERS["person"], word) for word in person.split()),
    )
    survey = f"Look {number:05}"
    heads = (
        {"id": structure, "version": 1, "name": name, "units": "mm", "document": {}},
        {"id": f"v{number}", "version": 1, "structure_id": structure, "name": survey, "document": {}}
        | {"revision": 1},
    )
    return Scope(f"v{number}", structure, f"v{number}", (name, serial, survey, person), facts), heads


def _entries(rng: np.random.Generator, number: int) -> Iterator[Entry]:
    day = f"{2025 + number % 7}-{1 + number % 12:02}-{1 + number % 28:02}"
    depths = rng.gamma(2.0, 0.08, PER_SURVEY)
    picks = rng.integers(0, 1000, (PER_SURVEY, 6))
    for place in range(PER_SURVEY):
        pick = picks[place]
        kind = list(MarkKind)[(0, 0, 0, 0, 0, 0, 1, 1, 2, 3)[pick[0] % 10]]
        judged = list(Verdict)[pick[1] % 4] if kind is MarkKind.BLEND_OUT else None
        verdict = str(judged) if judged else NOT_JUDGED
        zone, member = ZONES[pick[2] % len(ZONES)], MEMBERS[pick[3] % len(MEMBERS)]
        face = list(Face)[pick[4] % 2]
        facts = {"zone": zone, "member": member, "face": face, "kind": kind, "verdict": verdict}
        yield Entry(
            What.FINDING,
            f"f{place}/{kind[0].upper()}{pick[5] % 9}",
            f"f{place}/{kind[0].upper()}{pick[5] % 9}",
            f"{kind}; {NOTES[pick[5] % len(NOTES)]}",
            texts=(member, zone, f"IMG_{number % 10000:04}.jpg"),
            facts=tuple(fact(LETTERS[name], value) for name, value in facts.items()),
            zone=zone,
            member=member,
            face=str(face),
            kind=str(kind),
            verdict=verdict,
            station=float(rng.uniform(0, 3000)),
            depth=float(depths[place]) if pick[0] % 5 else None,
            date=day,
            share=float(depths[place]) / 0.2,
        )


def timed(run: Callable[[], object]) -> tuple[float, float]:
    """Return the median and the 95th percentile of a call, in ms."""
    times = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        run()
        times.append(1000.0 * (time.perf_counter() - begin))
    return float(np.median(times)), float(np.percentile(times, 95))


def floor_of(database: Database) -> float:
    """Return the median of a count by primary key, in ms."""

    def count() -> None:
        with database.reading() as session:
            session.scalar(select(func.count()).where(SearchEntryRow.id == 4711))

    return timed(count)[0]


def measure(database: Database, *, explain: bool) -> bool:
    """Time every query and print it; return whether all met the target."""
    finder, floor, met = Finder(database), floor_of(database), True
    print(f"{'query':36} {'total':>9} {'p50 ms':>8} {'p95 ms':>8} {'floors':>7}")
    for name, query in QUERIES.items():
        found = finder.find(query, limit=50)
        half, most = timed(lambda query=query: finder.find(query, limit=50))  # type: ignore[misc]
        total = f"{'' if found.exact else '>= '}{found.total}"
        print(f"{name:36} {total:>9} {half:8.1f} {most:8.1f} {half / floor:7.0f}")
        met &= most < TARGET_MS
        if explain:
            _explain(database, query)
    second = finder.find(Query(text="pit", order=Order.DEEPEST), limit=50).next
    half, most = timed(lambda: finder.find(Query(text="pit", order=Order.DEEPEST), limit=50, cursor=second))
    print(f"{'its second page':36} {'':>9} {half:8.1f} {most:8.1f} {half / floor:7.0f}")
    for name in ("one common word", "one survey by its number"):
        half, most = timed(lambda name=name: finder.by_kind(QUERIES[name], limit=5))  # type: ignore[misc]
        print(f"{'the page, ' + name:36} {'':>9} {half:8.1f} {most:8.1f} {half / floor:7.0f}")
        met &= most < 2 * TARGET_MS
    print(f"floor, a count by primary key: {floor:.2f} ms; target: every p95 below {TARGET_MS:g} ms")
    return met


def _explain(database: Database, query: Query) -> None:
    """Print the plan of the look into the word index."""
    if not query.groups:
        return
    with database.reading() as session:
        words = word_index(sqlite=database.is_sqlite)
        words.prepare(session)
        way = words.matching(query.groups, withdrawn=False).limit(20_001)
        plain = way.compile(database.engine, compile_kwargs={"literal_binds": True})
        head = "EXPLAIN QUERY PLAN " if database.is_sqlite else "EXPLAIN ANALYZE "
        for row in session.connection().exec_driver_sql(f"{head}{plain}"):
            print("      ", *row)


def main() -> int:
    """Fill a database, measure, and say whether the target is met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=1_000_000)
    parser.add_argument("--url", default="")
    parser.add_argument("--keep", type=Path, help="SQLite file to fill once and use again")
    parser.add_argument("--explain", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = given.keep or Path(folder) / "search.sqlite3"
        database = Database(given.url or f"sqlite:///{path}")
        database.migrate()
        with database.reading() as session:
            filled = session.scalar(select(func.count()).select_from(SearchEntryRow)) or 0
        if not filled:
            begin = time.perf_counter()
            fill(database, given.entries)
            print(f"filled in {time.perf_counter() - begin:.0f} s")
        met = measure(database, explain=given.explain)
        database.close()
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
