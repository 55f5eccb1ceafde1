"""A service with one person of every kind, for the tests of rights and sign-in."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlencode

from anyio.from_thread import BlockingPortal, start_blocking_portal
from fastapi import FastAPI
from pwdlib.hashers.argon2 import Argon2Hasher

from api.actor import Role
from api.app import create_app
from api.database import Database
from api.people.accounts import Details
from api.people.passwords import Passwords
from api.people.service import PLAIN_COOKIE, People, open_people
from api.people.sessions import Browser
from api.settings import Settings

HERE = Browser("127.0.0.1", "test")
PASSWORD = "seven yellow rivets in a row"  # noqa: S105 - opens nothing but these tests
KINDS: dict[str, frozenset[Role]] = {
    "reader": frozenset(),
    "inspector": frozenset({Role.INSPECTOR}),
    "planner": frozenset({Role.PLANNER}),
    "clerk": frozenset({Role.CLERK}),
    "administrator": frozenset({Role.ADMINISTRATOR}),
}
# An inspector's tokens.
TOKENS = {"read token": "read", "write token": "write"}


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = datetime(2031, 4, 17, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        """Return the time."""
        return self.now

    def forward(self, **parts: float) -> None:
        """Let time pass."""
        self.now += timedelta(**parts)


def cheap() -> Passwords:
    """Hash passwords as the service does, at the least cost: tests are not attacked."""
    return Passwords(Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1))


def opened(url: str, clock: Clock | None = None, **settings: Any) -> tuple[Database, People]:
    """Open the people of a database with a clock of the test's own."""
    database = Database(url)
    database.migrate()
    given = Settings(**settings)
    return database, open_people(database, given, passwords=cheap(), clock=clock or Clock())


def with_everybody(people: People) -> None:
    """Add one person of every kind, the administrator first."""
    for name in sorted(KINDS):
        people.accounts.add(name, Details(name.title(), KINDS[name]), PASSWORD, must_change=False)


class Answer(NamedTuple):
    """What came back."""

    status: int
    headers: dict[str, str]
    text: str


@dataclass
class House:
    """A service in this process, and the headers that make somebody known to it."""

    app: FastAPI
    people: People
    portal: BlockingPortal
    headers: dict[str, dict[str, str]] = field(default_factory=dict)

    def ask(
        self,
        method: str,
        path: str,
        headers: Mapping[str, str] | None = None,
        body: bytes = b"",
        client: str = "127.0.0.1",
    ) -> Answer:
        """Send a request straight to the application."""
        scope = _scope(method, path, headers or {}, client)
        return self.portal.call(_ask, self.app, scope, body)

    def form(
        self, path: str, fields: Mapping[str, str], headers: Mapping[str, str] | None = None
    ) -> Answer:
        """Send a form as a browser does."""
        sent = {"content-type": "application/x-www-form-urlencoded", "accept": "text/html"}
        return self.ask("POST", path, sent | dict(headers or {}), urlencode(fields).encode())


def _scope(method: str, path: str, headers: Mapping[str, str], client: str) -> dict[str, Any]:
    plain, _, query = path.partition("?")
    sent = {"host": "127.0.0.1", **headers}
    return {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": plain,
        "raw_path": plain.encode(),
        "root_path": "",
        "query_string": query.encode(),
        "client": (client, 50000),
        "server": ("127.0.0.1", 80),
        "headers": [(name.lower().encode(), value.encode()) for name, value in sent.items()],
    }


async def _ask(app: FastAPI, scope: dict[str, Any], body: bytes) -> Answer:
    start: dict[str, Any] = {}
    parts: list[bytes] = []
    sent: list[bytes] = []

    async def receive() -> dict[str, Any]:
        if sent:
            # The client waits for its answer; whoever asks again is cancelled when that is sent.
            await asyncio.Event().wait()
        sent.append(body)
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            start.update(message)
        else:
            parts.append(message.get("body", b""))

    await app(scope, receive, send)
    headers = {name.decode(): value.decode() for name, value in start["headers"]}
    return Answer(start["status"], headers, b"".join(parts).decode("utf-8", "replace"))


@contextmanager
def empty_house(folder: Path, **settings: Any) -> Iterator[House]:
    """Give a service without accounts, or with those that its folder has."""
    app = create_app(Settings(data_dir=folder, **settings))
    # In a thread of its own: a browser test of the same process keeps a loop running in this one.
    with (
        start_blocking_portal() as portal,
        portal.wrap_async_context_manager(app.router.lifespan_context(app)),
    ):
        yield House(app, app.state.context.people, portal, {"anonymous": {}})


@contextmanager
def house(folder: Path) -> Iterator[House]:
    """Give a service with one person of every kind, each signed in, and an inspector's two tokens."""
    with empty_house(folder) as made:
        with_everybody(made.people)
        for name in KINDS:
            secret = made.people.sessions.sign_in(name, PASSWORD, HERE)
            made.headers[name] = {"cookie": f"{PLAIN_COOKIE}={secret}"}
        inspector = made.people.accounts.named("inspector").id
        for name, scope in TOKENS.items():
            secret, _ = made.people.tokens.make(inspector, name, scope, 30)
            made.headers[name] = {"authorization": f"Bearer {secret}"}
        yield made
