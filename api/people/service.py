"""The people of one running service, and who of them sent a request."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from starlette.requests import cookie_parser
from starlette.responses import Response

from api.database import Database
from api.errors import NotSignedInError
from api.people.accounts import Accounts
from api.people.passwords import Passwords
from api.people.sessions import LOCALLY, Browser, Identity, Limits, Sessions, Tokens
from api.settings import Settings
from api.tables import now

PLAIN_COOKIE = "corrosion-session"
# A browser takes a cookie of this name only if it is Secure, from this very host and for all of it
# (RFC 6265bis, section 4.1.3.2, from memory), so that no neighbour can plant one.
SECURE_COOKIE = "__Host-corrosion-session"


@dataclass(frozen=True)
class People:
    """Accounts, sessions and tokens of one service.

    Attributes
    ----------
    secure : bool
        Whether the cookie may go over https only.
    """

    accounts: Accounts
    sessions: Sessions
    tokens: Tokens
    secure: bool

    @property
    def cookie(self) -> str:
        """Name of the cookie with a session's secret."""
        return SECURE_COOKIE if self.secure else PLAIN_COOKIE

    def secret_of(self, headers: Mapping[str, str]) -> str:
        """Return the secret a browser sent; empty if it sent none."""
        return cookie_parser(headers.get("cookie", "")).get(self.cookie, "")

    def identify(self, headers: Mapping[str, str], *, api: bool) -> Identity | None:
        """Return who sent a request; None if nobody is signed in.

        It asks the database, so call it in the thread pool.

        Parameters
        ----------
        api : bool
            Whether the request is to the API; tokens are good for nothing else.

        Raises
        ------
        NotSignedInError
            If an API request brings a token that is not, or no longer, good for anything.
        """
        secret = self.secret_of(headers)
        stated = headers.get("authorization", "")
        if api and stated:
            return self._by_token(stated)
        known = self.sessions.identify(secret) if secret else None
        if known is None and not self.accounts.exist():
            return LOCALLY
        return known

    def keep(self, response: Response, secret: str) -> None:
        """Give a browser the secret of its session; gone when it is closed, or at the session's end."""
        response.set_cookie(
            self.cookie,
            secret,
            max_age=int(self.sessions.limits.absolute.total_seconds()),
            path="/",
            secure=self.secure,
            httponly=True,
            samesite="strict",
        )

    def forget(self, response: Response) -> None:
        """Take the cookie back from a browser."""
        response.delete_cookie(self.cookie, path="/", secure=self.secure, httponly=True, samesite="strict")

    def _by_token(self, stated: str) -> Identity:
        scheme, _, token = stated.partition(" ")
        known = self.tokens.identify(token.strip()) if scheme.lower() == "bearer" else None
        if known is None:
            if not self.accounts.exist():
                return LOCALLY
            raise NotSignedInError(
                "the token is not known here, or no longer good.",
                place="header Authorization",
                remedy="Send it as 'Bearer TOKEN'; make a new one on the page of your account.",
            )
        return known


def open_people(
    database: Database,
    settings: Settings,
    *,
    passwords: Passwords | None = None,
    clock: Callable[[], datetime] = now,
) -> People:
    """Put the people of a service together.

    Parameters
    ----------
    passwords : Passwords, optional
        How passwords are hashed; with the recommended costs by default.
    clock : callable
        Returns the time in UTC.
    """
    hashing = passwords or Passwords()
    limits = Limits(
        idle=timedelta(minutes=settings.session_idle_minutes),
        absolute=timedelta(hours=settings.session_hours),
    )
    return People(
        accounts=Accounts(database, hashing),
        sessions=Sessions(database, hashing, limits, clock),
        tokens=Tokens(database, clock),
        secure=settings.secure_cookies,
    )


def browser_of(scope: Mapping[str, Any], headers: Mapping[str, str]) -> Browser:
    """Return where a request comes from, as the server was told."""
    client = scope.get("client")
    return Browser(client[0] if client else "", headers.get("user-agent", ""))


def is_near(scope: Mapping[str, Any]) -> bool:
    """Whether a request comes from this machine; what has no network address does."""
    client = scope.get("client")
    try:
        address = ipaddress.ip_address(client[0]) if client else None
    except ValueError:
        return True
    mapped = getattr(address, "ipv4_mapped", None)
    return address is None or (mapped or address).is_loopback
