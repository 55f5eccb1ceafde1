"""Made-up entries on each database, and what a search of them must find, told without the index."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from sqlalchemy import insert

from api.database import Database
from api.search import build
from api.search.build import LETTERS, NOT_JUDGED, Entry, Scope, What
from api.search.engine import word_index
from api.search.indexer import remove_entries
from api.search.query import Query
from api.search.tables import SearchEntryRow
from api.search.words import fact
from api.tables import StructureRow, SurveyRow
from corrosion.terms import Verdict

SCOPES = 6
PER_SCOPE = 40
VOCABULARY = ["lap", "joint", "lapse", "drain", "hole", "primer", "doubler", "rivet"]
ZONES = ["331", "334", "340", "511"]
MEMBERS = ["SK1", "SK-2", "RB1"]
FACES = ["inner", "outer"]
KINDS = ["pit", "blend-out", "affected"]
VERDICTS = [*map(str, Verdict), NOT_JUDGED]
PEOPLE = ["Inspector A", "Søren Ågren"]


@dataclass(frozen=True)
class Made:
    """An entry, its scope and the words it was made of: the ground truth of a search."""

    entry: Entry
    scope: Scope
    words: tuple[str, ...]
    person: str

    def fits(self, query: Query) -> bool:
        """Whether a search must find it, by the search's description and nothing else."""
        entry = self.entry
        typed = query.text.split()
        return (
            all(any(w.startswith(t) if len(t) > 1 else w == t for w in self.words) for t in typed)
            and (not query.what or entry.what in query.what)
            and (entry.zone or "").startswith(query.zone)
            and query.member in {"", entry.member}
            and query.face in {"", entry.face}
            and (not query.kinds or entry.kind in query.kinds)
            and (not query.verdicts or entry.verdict in query.verdicts)
            and (not query.person or query.person in self.person)
            and _within(entry.depth, query.depth)
            and _within(entry.station, query.station)
            and _within(entry.date or None, query.date)
            and (query.withdrawn or not entry.withdrawn)
        )


def _within(value: float | str | None, bounds: tuple[object, object]) -> bool:
    least, most = bounds
    if (least, most) == (None, None):
        return True
    if value is None:
        return False
    return (least is None or value >= least) and (most is None or value <= most)  # type: ignore[operator]


def made() -> list[Made]:
    """Make the entries; each scope has its own day and person."""
    rng = np.random.default_rng(7)
    return [_one(rng, scope, place) for scope in range(SCOPES) for place in range(PER_SCOPE)]


def _one(rng: np.random.Generator, number: int, place: int) -> Made:
    def pick(values: list[str]) -> str:
        return values[int(rng.integers(len(values)))]

    person = PEOPLE[number % len(PEOPLE)]
    words = tuple(dict.fromkeys(pick(VOCABULARY) for _ in range(3)))
    facts = {
        "zone": pick(ZONES),
        "member": pick(MEMBERS),
        "face": pick(FACES),
        "kind": pick(KINDS),
        "verdict": pick(VERDICTS),
    }
    has_depth = rng.random() < 0.7
    entry = Entry(
        What.FINDING if place % 4 else What.PHOTO,
        f"e{place}",
        " ".join(words),
        facts=tuple(fact(LETTERS[name], value) for name, value in facts.items()),
        **{name: value for name, value in facts.items()},  # noqa: C416
        # Few different values, so that many entries are equal in an order.
        station=float(rng.integers(0, 10)) * 50.0 if rng.random() < 0.8 else None,
        depth=float(rng.integers(0, 8)) / 20.0 if has_depth else None,
        date="" if number == 0 else f"203{number}-04-17",
        share=float(rng.random()),
        withdrawn=bool(rng.random() < 0.1),
    )
    scope = Scope(
        f"v{number}",
        f"s{number % 2}",
        f"v{number}",
        facts=tuple(fact(LETTERS["person"], word) for word in person.split()),
    )
    return Made(entry, scope, words, person.lower().replace("ø", "o").replace("å", "a"))


def write_scope(database: Database, number: int, entries: list[Made]) -> None:
    """Index the entries of one scope, in place of those that are there."""
    scope = f"v{number}"
    with database.writing() as session:
        remove_entries(session, scope)
        rows = [build.columns(one.entry, one.scope) for one in entries if one.scope.id == scope]
        session.connection().execute(insert(SearchEntryRow), rows)
        word_index(sqlite=database.is_sqlite).keep(session.connection(), scope)


@contextmanager
def filled(url: str) -> Iterator[Database]:
    """Give a database that holds the entries of `made`."""
    database = Database(url)
    database.migrate()
    with database.writing() as session:
        for number in range(2):
            session.add(StructureRow(id=f"s{number}", name=f"Structure {number}", units="mm", document={}))
        session.flush()
        for number in range(SCOPES):
            known = {"structure_id": f"s{number % 2}", "name": f"Survey {number}", "document": {}}
            session.add(SurveyRow(id=f"v{number}", **known))
    entries = made()
    for number in range(SCOPES):
        write_scope(database, number, entries)
    yield database
    database.close()
