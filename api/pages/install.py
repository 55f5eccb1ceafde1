"""Puts the pages on the service: routers, static files, and errors as pages where a browser asks."""

from __future__ import annotations

import json
from collections.abc import Callable, MutableMapping
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Depends, FastAPI, Request, Response
from fastapi.responses import FileResponse, HTMLResponse
from starlette.datastructures import Headers
from starlette.staticfiles import StaticFiles
from starlette.types import Message, Receive, Scope, Send

from api.errors import PROBLEM_MEDIA_TYPE
from api.pages import (
    account,
    archives,
    compare,
    decision,
    findings,
    history,
    lenses,
    map_page,
    people,
    plan,
    preferences,
    record,
    retention,
    rework,
    rules,
    search,
    structures,
    surveys,
    worklist,
)
from api.pages.templating import HERE, STATIC, bundle_is_built, render
from api.security import FAILURE_HEADERS

ROUTERS = (
    structures,
    surveys,
    rework,
    map_page,
    compare,
    findings,
    lenses,
    plan,
    decision,
    worklist,
    record,
    rules,
    preferences,
    search,
    history,
    retention,
    archives,
    account,
    people,
)
NOT_BUILT = HERE / "templates" / "not_built.html"

# A bundle's address carries its hash, so the bytes under one address never change.
IMMUTABLE = "public, max-age=31536000, immutable"


class NotBuiltError(Exception):
    """The TypeScript and style sheets have not been bundled."""


def install_pages(app: FastAPI) -> None:
    """Add the pages to the service.

    Call it after the API's routers and error handlers are in place.

    Parameters
    ----------
    app : FastAPI
        With its `Context` in ``app.state.context``.
    """
    app.mount("/static", _Static(STATIC), name="static")
    app.include_router(_icon())
    for module in ROUTERS:
        app.include_router(module.router, dependencies=[Depends(_need_bundle)], include_in_schema=False)
    app.add_exception_handler(NotBuiltError, _say_not_built)
    app.add_exception_handler(Exception, _failure(app.exception_handlers[Exception]))
    app.add_middleware(ErrorPages)


def _failure(otherwise: Any) -> Callable[[Request, Exception], Response]:
    """Return what answers a failure of ours: with a page if a browser navigates, else as `otherwise`."""

    def answer(request: Request, error: Exception) -> Response:
        said: Response = otherwise(request, error)
        # A failure is answered outside the middleware, so `ErrorPages` never sees it.
        if not _wants_page(request.scope) or not bundle_is_built():
            return said
        code = said.status_code
        page = render(request, "error.html", status=code, code=code, problem=_read(bytes(said.body)))
        page.headers.update(FAILURE_HEADERS)
        return page

    return answer


def _need_bundle() -> None:
    if not bundle_is_built():
        raise NotBuiltError


def _say_not_built(request: Request, error: Exception) -> Response:
    del request, error
    return HTMLResponse(NOT_BUILT.read_text("utf-8"), 503, {"Cache-Control": "no-store"})


def _icon() -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.get("/icon.svg")
    def icon() -> FileResponse:
        """Return the tool's icon."""
        return FileResponse(HERE / "icon.svg", headers={"Cache-Control": "public, max-age=86400"})

    return router


class _Static(StaticFiles):
    """Bundled files; those asked for with their hash may be kept for ever."""

    def __init__(self, folder: Path) -> None:
        super().__init__(directory=folder, check_dir=False)

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Serve one file."""
        response = await super().get_response(path, scope)
        hashed = bool(scope.get("query_string"))
        response.headers["Cache-Control"] = IMMUTABLE if hashed else "no-cache"
        return response


class ErrorPages:
    """Turns a problem document into a page where a browser navigates outside ``/api``.

    The API's handlers word every error; this only dresses their words.
    """

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http" or not _wants_page(scope):
            await self.app(scope, receive, send)
            return
        held: list[Message] = []

        async def hold(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_problem(message):
                held.append(message)
            elif held:
                held.append(message)
                if not message.get("more_body", False):
                    await _page_of(held, scope)(scope, receive, send)
            else:
                await send(message)

        await self.app(scope, receive, hold)


def _wants_page(scope: MutableMapping[str, Any]) -> bool:
    if scope["path"].startswith(("/api", "/static")) or scope["method"] not in {"GET", "HEAD"}:
        return False
    return "text/html" in Headers(scope=scope).get("accept", "")


def _is_problem(message: Message) -> bool:
    kind = Headers(raw=message["headers"]).get("content-type", "")
    return bool(message["status"] >= 400) and kind.startswith(PROBLEM_MEDIA_TYPE)


def _page_of(held: list[Message], scope: Scope) -> Response:
    body = b"".join(part.get("body", b"") for part in held[1:])
    status = int(held[0]["status"])
    if not bundle_is_built():
        return HTMLResponse(NOT_BUILT.read_text("utf-8"), 503)
    return render(Request(scope), "error.html", status=status, code=status, problem=_read(body))


def _read(body: bytes) -> dict[str, Any]:
    try:
        found = json.loads(body)
    except ValueError:
        found = None
    return found if isinstance(found, dict) else {"title": "The service failed", "detail": ""}
