"""The service as one function of its settings: nothing happens at import, nothing is global."""

from __future__ import annotations

import logging
import socket
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress

import uvicorn
from fastapi import Depends, FastAPI

from api import openapi, problems
from api.archive_import import BagImports
from api.archiving import Archives
from api.context import Context
from api.database import Database
from api.exchange import Exchange
from api.files import PictureFiles
from api.pages import install_pages
from api.people.guard import Guard
from api.people.service import open_people
from api.photos import PhotoReader
from api.planning import Planner
from api.proposals import Proposals
from api.reports import Reports
from api.results import Results
from api.routes import (
    archives,
    compare,
    history,
    lenses,
    people,
    photos,
    planning,
    proposals,
    readings,
    references,
    removals,
    reports,
    results,
    sealing,
    search,
    structures,
    surveys,
    system,
    worklist,
)
from api.sealing.records import Records
from api.sealing.successors import Successors
from api.search.service import NoteChanges, Search
from api.security import BodyLimit, HostCheck, SecurityHeaders, refuse_cross_site
from api.services import Services
from api.settings import Settings
from api.uploads import Uploads
from api.worklist import WorkLists
from corrosion.archive import load_signer
from corrosion.errors import StorageError

logger = logging.getLogger("corrosion.api")

DESCRIPTION = """\
Corrosion surveys: structures, photos with their scale and marks, metal removed, and what it adds up to.

**Units.** Lengths are in the unit of the structure (`units`: `mm` or `in`), the same in every document of
its surveys. Pixel coordinates are (x, y) in the upright picture, x right, y down, the centre of the
top-left pixel at (0, 0). Angles are in degrees where the name ends in `_deg`. Results state their unit.

**Edits.** Everything that can be edited has an ETag. An edit sends it back as `If-Match`; if someone else
was faster the answer is 412 and nothing is changed.

**Errors.** Every error is `application/problem+json` (RFC 9457) and says what is wrong, where, and what to
do; `GET /api/problems` lists the kinds.

The service informs a licensed person. It does not release a part to service.
"""
TAGS = [
    {"name": "structures", "description": "The assembly: members, limits with their sources, stations."},
    {"name": "surveys", "description": "One look at a structure; survey files in and out."},
    {"name": "photos", "description": "Pictures, kept bit for bit, with tags, scale, placement, marks."},
    {"name": "removals", "description": "Metal taken off, by record, measurement or plan."},
    {"name": "readings", "description": "Remaining thickness, ultrasonic or calliper."},
    {"name": "results", "description": "Measures with their uncertainty, sums, verdicts, maps."},
    {"name": "planning", "description": "Blend plans, dispositions, repair or replace, bench cards."},
    {"name": "record", "description": "Signatures, the seal, revisions, the next survey."},
    {"name": "archives", "description": "A survey as one bag (BagIt, RFC 8493), out and in again."},
    {"name": "history", "description": "Every change, who made it and when; nothing can be taken out."},
    {"name": "people", "description": "Who may sign in, and as what."},
    {"name": "search", "description": "Finding things; saved searches; retention labels."},
    {"name": "lenses", "description": "Lens profiles from photos of a board, or from one straight edge."},
    {"name": "system", "description": "Health, the survey file's schema, kinds of problem."},
]
ROUTERS = (
    structures,
    surveys,
    photos,
    proposals,
    references,
    lenses,
    removals,
    readings,
    results,
    compare,
    planning,
    worklist,
    sealing,
    reports,
    archives,
    history,
    people,
    search,
    system,
)


def create_app(settings: Settings) -> FastAPI:
    """Build the service; the database is brought up to date on the way.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    FastAPI
        Its parts are in ``app.state.context``.

    Raises
    ------
    StorageError
        If the data folder, the database or the picture store cannot be used.
    """
    context = build_context(settings)
    app = FastAPI(
        title="Corrosion survey service",
        version="1",
        description=DESCRIPTION,
        openapi_tags=TAGS,
        openapi_url="/api/openapi.json",
        # Their pages load scripts from elsewhere; the service works offline.
        docs_url=None,
        redoc_url=None,
        lifespan=_lifespan,
        dependencies=[Depends(refuse_cross_site)],
    )
    app.state.context = context
    for module in ROUTERS:
        app.include_router(module.router, prefix="/api")
    problems.install(app)
    openapi.install(app)
    app.add_middleware(NoteChanges, search=context.search)
    # Inside the pages' middleware, which dresses its refusals, and outside the routes.
    app.add_middleware(Guard, people=context.people)
    install_pages(app)
    app.add_middleware(BodyLimit, max_json=settings.max_json_bytes, max_upload=settings.max_upload_bytes)
    app.add_middleware(HostCheck, allowed=settings.host_names)
    # Added last, so outermost: its headers are on every answer of the others.
    app.add_middleware(SecurityHeaders)
    return app


def build_context(settings: Settings) -> Context:
    """Open the stores that the settings name and put the use cases on them."""
    folder = settings.data_dir
    signer = load_signer(settings.archive_key) if settings.archive_key is not None else None
    database = open_database(settings)
    files = PictureFiles(
        settings.picture_url,
        folder=folder / "pictures",
        incoming=folder / "incoming",
        endpoint=settings.picture_endpoint,
    )
    abandoned = files.remove_abandoned()
    if abandoned:
        logger.info("removed %d files that broken-off uploads left behind", abandoned)
    reader = PhotoReader(max_bytes=settings.max_file_bytes, max_megapixels=settings.max_megapixels)
    exchange = Exchange(database)
    computed = Results(database, exchange)
    planner = Planner(database, exchange, computed)
    executor = ThreadPoolExecutor(settings.workers, thread_name_prefix="photo")
    return Context(
        settings=settings,
        database=database,
        files=files,
        services=Services(database),
        uploads=Uploads(database, files, reader),
        exchange=exchange,
        results=computed,
        planner=planner,
        people=open_people(database, settings),
        worklists=WorkLists(database, exchange, planner, files, settings),
        records=Records(database, computed, files),
        successors=Successors(database, exchange, computed),
        search=Search(database, exchange, computed),
        archives=Archives(database, files, computed, planner, signer),
        bag_imports=BagImports(database, files, reader, settings),
        reports=Reports(database, exchange, planner, files, executor),
        proposals=Proposals(database),
        executor=executor,
    )


def open_database(settings: Settings) -> Database:
    """Open the database that the settings name, made if missing, and bring it up to date.

    Raises
    ------
    StorageError
        If the data folder or the database cannot be used.
    """
    try:
        settings.data_dir.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(
            f"the data folder {str(settings.data_dir)!r} cannot be made ({error.strerror}).",
            place="CORROSION_DATA_DIR",
            remedy="Choose a folder you may write to.",
        ) from error
    database = Database(settings.store_url)
    database.migrate()
    return database


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Index what an earlier run left; close what `create_app` opened, after the last request."""
    context: Context = app.state.context
    context.search.background.changed()
    try:
        yield
    finally:
        context.close()


def serve(settings: Settings, *, opened: Callable[[str], None] | None = None) -> None:
    """Run the service until it is interrupted.

    Parameters
    ----------
    opened : callable, optional
        Called with the service's address once it listens.

    Raises
    ------
    SettingsError
        If the service would be open to the network before there is an administrator.
    StorageError
        See `create_app`.
    """
    settings.check_tls()
    if settings.is_open:
        settings.check_bind(administrator=_has_administrator(settings))
        _warn_of_plain_http(settings)
    config = uvicorn.Config(
        create_app(settings),
        host=settings.host,
        port=settings.port,
        log_level="warning",
        server_header=False,
        ssl_certfile=settings.tls_certificate,
        ssl_keyfile=settings.tls_key,
    )
    # Ctrl-C is how a person ends it, after the last request was answered.
    with suppress(KeyboardInterrupt):
        _Server(config, opened).run()


def _has_administrator(settings: Settings) -> bool:
    """Whether the store has one; a store that is not there yet has none, and is not made to find out."""
    if settings.database_url is None and not settings.sqlite_path.exists():
        return False
    database = open_database(settings)
    try:
        return open_people(database, settings).accounts.has_administrator()
    finally:
        database.close()


def _warn_of_plain_http(settings: Settings) -> None:
    if settings.without_tls:
        logger.warning("CORROSION_WITHOUT_TLS is set: passwords and sessions can be read on the network.")
    elif settings.tls_certificate is None:
        logger.warning(
            "No CORROSION_TLS_CERTIFICATE is set: from elsewhere people can sign in only through a proxy "
            "that speaks https."
        )


class _Server(uvicorn.Server):
    """A uvicorn server that tells its address, which is only known now if the port was 0."""

    def __init__(self, config: uvicorn.Config, opened: Callable[[str], None] | None) -> None:
        super().__init__(config)
        self._opened = opened

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start to listen, then tell the address."""
        await super().startup(sockets)
        if self._opened is None or not self.started:
            return
        host, port = self.servers[0].sockets[0].getsockname()[:2]
        shown = f"[{host}]" if ":" in host else host
        scheme = "https" if self.config.is_ssl else "http"
        self._opened(f"{scheme}://{shown}:{port}/")
