"""The search as one part of a running service."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.types import ASGIApp, Receive, Scope, Send

from api.database import Database
from api.exchange import Exchange
from api.results import Results
from api.search.find import Finder, Found
from api.search.indexer import Background, Indexer
from api.search.query import Query
from api.search.retention import Retention
from api.search.saved import SavedSearches

QUIET_S = 30.0
"""How long nothing must have changed before the index follows by itself; a search does not wait for it."""

WAIT_S = 0.8
"""How long a search waits for what is still to be indexed."""

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


@dataclass(frozen=True)
class Answer:
    """What was found, and how many surveys (and structures) were not indexed by then."""

    found: Found
    waiting: int


class Search:
    """Finds things, and keeps the index, saved searches and retention labels."""

    def __init__(self, database: Database, exchange: Exchange, results: Results) -> None:
        self.finder = Finder(database)
        self.indexer = Indexer(database, exchange, results)
        self.background = Background(self.indexer, quiet_s=QUIET_S)
        self.saved = SavedSearches(database)
        self.retention = Retention(database)

    def catch_up(self, seconds: float = WAIT_S) -> int:
        """Index what changed, for as long as `seconds`; return how much is left."""
        waiting = self.indexer.waiting()
        if not waiting:
            return 0
        self.background.wait(seconds)
        return self.indexer.waiting()

    def find(self, query: Query, *, limit: int, cursor: str = "") -> Answer:
        """Catch up with what changed as far as time allows, then search."""
        waiting = self.catch_up()
        return Answer(self.finder.find(query, limit=limit, cursor=cursor), waiting)

    def close(self) -> None:
        """Stop indexing."""
        self.background.close()


class NoteChanges:
    """Tells the search after every request that may have stored something."""

    def __init__(self, app: ASGIApp, *, search: Search) -> None:
        self.app = app
        self._search = search

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        await self.app(scope, receive, send)
        if scope["type"] == "http" and scope["method"] not in SAFE:
            self._search.background.changed()
