"""Who may talk to the service: host names, other sites, sizes of requests, and what browsers may do."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import PROBLEM_MEDIA_TYPE, CrossSiteError, HostError, TooLargeError, problem_of
from corrosion.errors import StorageError

SECURITY_HEADERS: Mapping[str, str] = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' blob: data:; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=()",
}
# The server hangs up after a failure; a client that is not told loses its next request on that connection.
FAILURE_HEADERS = {**SECURITY_HEADERS, "Connection": "close"}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
LOCAL_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})

# The only addresses that take pictures or archives; everything else takes JSON.
UPLOAD_PATHS = re.compile(
    r"^(/api/(surveys/(import|[^/]+/(photos|lenses/calibrate))|archives)|/archives)/?$"
)

# A client that is still sending reads no answer; this much more is taken and dropped first.
DRAIN_BYTES = 64 * 1024 * 1024


def refuse_cross_site(request: Request) -> None:
    """Refuse a write that a page of another site sent with the user's browser.

    Browsers say so themselves (Fetch Metadata; Origin, RFC 6454); programs send neither header.

    Raises
    ------
    CrossSiteError
        If the request changes something and comes from another origin.
    """
    if request.method in SAFE_METHODS:
        return
    site = request.headers.get("sec-fetch-site", "none")
    origin = request.headers.get("origin")
    host = request.headers.get("host", "")
    foreign = origin is not None and urlsplit(origin).netloc.lower() != host.lower()
    if site not in {"same-origin", "none"} or foreign:
        raise CrossSiteError(
            f"the request was sent by another site ({origin or site}).",
            remedy="Use the service's own pages, or a program.",
        )


class SecurityHeaders:
    """Puts the security headers on every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""

        async def send_safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, send_safely if scope["type"] == "http" else send)


class HostCheck:
    """Answers only to known host names, so that no other name can be pointed at this machine.

    Without it a page elsewhere could rebind its own name to 127.0.0.1 and read surveys as same-origin.
    """

    def __init__(self, app: ASGIApp, *, allowed: frozenset[str]) -> None:
        self.app = app
        self._allowed = frozenset(name.lower() for name in allowed | LOCAL_NAMES)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] == "http":
            host = Headers(scope=scope).get("host", "")
            if _without_port(host) not in self._allowed:
                error = HostError(
                    f"this service does not answer to {host!r:.120}.",
                    place="header Host",
                    remedy="Use 127.0.0.1 or localhost, or add the name to CORROSION_ALLOWED_HOSTS.",
                )
                await _answer(error, 421, scope, send)
                return
        await self.app(scope, receive, send)


class BodyLimit:
    """Stops reading a request that grows past its limit."""

    def __init__(self, app: ASGIApp, *, max_json: int, max_upload: int) -> None:
        self.app = app
        self._max_json = max_json
        self._max_upload = max_upload

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = self._limit_of(scope)
        stated = Headers(scope=scope).get("content-length", "")
        if stated.isdigit() and int(stated) > limit:
            await drain(receive)
            await _answer(_too_large(stated, limit), 413, scope, send)
            return
        received = 0

        async def receive_counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > limit:
                if message.get("more_body", False):
                    await drain(receive)
                raise _too_large(f"over {limit}", limit)
            return message

        await self.app(scope, receive_counted, send)

    def _limit_of(self, scope: Scope) -> int:
        takes_pictures = scope["method"] == "POST" and UPLOAD_PATHS.match(scope["path"])
        return self._max_upload if takes_pictures else self._max_json


def _too_large(size: str, limit: int) -> TooLargeError:
    return TooLargeError(
        f"the request has {size} bytes, more than {limit}.",
        remedy="Send less at once, or raise the limit in the settings.",
    )


async def drain(receive: Receive) -> None:
    """Take what a client still sends and drop it, up to a bound, so that it comes to read the answer."""
    dropped = 0
    while dropped < DRAIN_BYTES:
        message = await receive()
        dropped += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body", False):
            return


async def _answer(error: StorageError, status: int, scope: Scope, send: Send) -> None:
    body = json.dumps(problem_of(error, instance=scope["path"])).encode()
    headers = [
        (b"content-type", PROBLEM_MEDIA_TYPE.encode()),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body if scope["method"] != "HEAD" else b""})


def _without_port(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.rpartition(":")[0].lower() if ":" in host else host.lower()
