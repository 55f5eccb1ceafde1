"""The door: finds out who sent a request, and lets it in if the table of rights does."""

from __future__ import annotations

from contextlib import suppress
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from api.actor import Actor, acting_as
from api.errors import (
    METHOD_NOT_ALLOWED,
    NotAllowedError,
    NotFoundError,
    NotSignedInError,
    kind_of,
    problem,
    problem_of,
)
from api.people.lacks import role_lacked
from api.people.rights import OWN, Right, methods_of, right_of
from api.people.service import People, is_near
from api.people.sessions import LOCALLY, Identity
from api.problems import headers_of, respond
from api.security import drain
from corrosion.errors import StorageError

SIGN_IN = "/sign-in"
ACCOUNT = "/account"
NOBODY = Actor("nobody", "nobody signed in", frozenset(), "session")


class Guard:
    """Identifies whoever sends a request, makes that the actor of all it does, and checks the rights.

    What it found is in ``request.state.identity``: None for somebody who is not signed in. It stands
    outside the routes, so that a body is not even read before the sender may send it, and the threads that
    serve a request copy the context and so act as the same person.
    """

    def __init__(self, app: ASGIApp, *, people: People) -> None:
        self.app = app
        self._people = people

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] == "websocket":
            # No route has one; were one added, it would have to be guarded first.
            await send({"type": "websocket.close", "code": 1008})
            return
        # Bundled files are the same for everybody; asking the database for each would only cost time.
        if scope["type"] != "http" or scope["path"].startswith("/static/"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        identity: Identity | None = None
        refusal: StorageError | None = None
        try:
            api = scope["path"].startswith("/api/")
            identity = await run_in_threadpool(self._people.identify, headers, api=api)
        except StorageError as error:
            refusal = error
        scope.setdefault("state", {})["identity"] = identity
        answer = self._answer(scope, headers, identity, refusal)
        if answer is not None:
            # A body over its limit raises while it is dropped; the refusal stands either way.
            with suppress(StorageError):
                await drain(receive)
            await answer(scope, receive, send)
            return
        with acting_as(identity.actor if identity else NOBODY):
            await self.app(scope, receive, send)

    def _answer(
        self, scope: Scope, headers: Headers, identity: Identity | None, refusal: StorageError | None
    ) -> Response | None:
        """Return what to answer instead of serving; None to serve."""
        method, path = scope["method"], scope["path"]
        right = right_of(method, path)
        if right is None and path.endswith("/"):
            # The routes lead on to the same address without the slash.
            right = right_of(method, path.rstrip("/"))
        if right is not None and right.public:
            return None
        if refusal is None and identity is LOCALLY:
            refusal = None if is_near(scope) else _not_here()
        elif refusal is None and identity is None:
            if _navigates(scope, headers):
                return _to_sign_in(scope)
            refusal = _not_signed_in()
        elif refusal is None and identity is not None:
            if right is None and (methods := methods_of(path)):
                return _not_offered(scope, methods)
            if identity.must_change and right is not OWN and _navigates(scope, headers):
                return RedirectResponse(ACCOUNT, 303)
            refusal = refusal_of(identity, right)
        if refusal is None:
            return None
        return respond(kind_of(refusal).status, problem_of(refusal, instance=path), headers_of(refusal))


def refusal_of(identity: Identity, right: Right | None) -> StorageError | None:
    """Return why somebody who is signed in may not do something; None if they may.

    Parameters
    ----------
    right : Right or None
        What it takes; None where no row says so, and then nobody may.
    """
    if right is None:
        return NotFoundError("there is nothing at this address.", remedy="Go back to the start page.")
    if identity.must_change and right is not OWN:
        return NotAllowedError(
            "somebody else has set your password.", remedy="Change it first, on the page of your account."
        )
    if identity.actor.via == "token":
        if right.in_person:
            return NotAllowedError(
                f"a token may not {right.to}.", remedy="Sign in as a person and do it there."
            )
        if right.changes and not identity.may_write:
            return NotAllowedError(
                "the token has the scope 'read'.", remedy="Use a token with the scope 'write'."
            )
    words = role_lacked(right, identity.actor.roles)
    if not words:
        return None
    return NotAllowedError(
        f"you may not {right.to}: it takes the role {words}.",
        remedy="Ask an administrator for the role, or somebody who has it to do it.",
    )


def _not_signed_in() -> NotSignedInError:
    return NotSignedInError(
        "you are not signed in, or your session has ended.",
        remedy="Sign in again, in another window if something is not saved yet; then repeat this.",
    )


def _not_here() -> NotAllowedError:
    return NotAllowedError(
        "this service has no accounts and serves only the machine it runs on.",
        remedy="Use it there, or add an administrator: corrosion people add NAME --role administrator.",
    )


def _not_offered(scope: Scope, methods: list[str]) -> Response:
    detail = f"{scope['method']} is not offered at {scope['path']}."
    body = problem(METHOD_NOT_ALLOWED, detail, instance=scope["path"])
    return respond(METHOD_NOT_ALLOWED.status, body, {"Allow": ", ".join(methods)})


def _navigates(scope: Scope, headers: Headers) -> bool:
    """Whether a browser is going to a page: then a page helps more than a problem document."""
    if scope["path"].startswith("/api"):
        return False
    return "text/html" in headers.get("accept", "") and headers.get("sec-fetch-dest", "document") != "empty"


def _to_sign_in(scope: Scope) -> Response:
    if scope["method"] not in {"GET", "HEAD"} or scope["path"] == "/":
        return RedirectResponse(SIGN_IN, 303)
    request = Request(scope)
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse(f"{SIGN_IN}?next={quote(here, safe='/')}", 303)
