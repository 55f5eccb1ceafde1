"""What one running service is made of, and the dependencies that hand it to the routes."""

from __future__ import annotations

import re
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Header, Query, Request, Response

from api.archive_import import BagImports
from api.archiving import Archives
from api.database import Database
from api.errors import RequestError, VersionMissingError
from api.exchange import Exchange
from api.files import PictureFiles
from api.people.service import People
from api.planning import Planner
from api.proposals import Proposals
from api.reports import Reports
from api.results import Results
from api.sealing.records import Records
from api.sealing.successors import Successors
from api.search.service import Search
from api.services import Page, Services
from api.settings import Settings
from api.uploads import Uploads
from api.worklist import WorkLists


@dataclass(frozen=True)
class Context:
    """The parts of one running service."""

    settings: Settings
    database: Database
    files: PictureFiles
    services: Services
    uploads: Uploads
    exchange: Exchange
    results: Results
    planner: Planner
    people: People
    worklists: WorkLists
    records: Records
    successors: Successors
    search: Search
    archives: Archives
    bag_imports: BagImports
    reports: Reports
    proposals: Proposals
    executor: Executor

    def close(self) -> None:
        """Close what the parts hold open, after the last use."""
        self.reports.close()
        self.executor.shutdown()
        self.reports.remove_files()
        self.search.close()
        self.database.close()


def _context(request: Request) -> Context:
    context: Context = request.app.state.context
    return context


ContextDep = Annotated[Context, Depends(_context)]


def _page(
    limit: Annotated[int, Query(ge=1, le=1000, description="Most items to return.")] = 100,
    offset: Annotated[int, Query(ge=0, description="Items to skip.")] = 0,
) -> Page:
    return Page(limit, offset)


PageDep = Annotated[Page, Depends(_page)]


def _expected_version(
    if_match: Annotated[
        str | None,
        Header(
            description='The ETag of the version that was edited, for example `"3"`. '
            "Without it the edit is refused (428); with an old one too (412)."
        ),
    ] = None,
) -> int:
    if if_match is None or if_match.strip() == "*":
        raise VersionMissingError(
            "the edit does not say which version it was made on.",
            place="header If-Match",
            remedy="Send the ETag of what you read as If-Match, so that nobody's work is overwritten.",
        )
    match = re.fullmatch(r'\s*"(\d{1,9})"\s*', if_match)
    if match is None:
        raise RequestError(
            f"If-Match {if_match!r:.80} is not one of this service's ETags.",
            place="header If-Match",
            remedy='Send the ETag as it was received, with its quotes: "3".',
        )
    return int(match[1])


ExpectedVersion = Annotated[int, Depends(_expected_version)]


def etag(response: Response, version: int) -> None:
    """Put a version on a response as its ETag; browsers ask again each time but get 304 for the same."""
    response.headers["ETag"] = f'"{version}"'
    response.headers["Cache-Control"] = "private, no-cache"
