"""Signing in and out; whose browser or program a request comes from.

The secret of a session is 256 random bits in a cookie that no script can read; the database has only its
SHA-256, so that a copy of the database opens nothing. Every sign-in and every change of the password makes
a new secret, so that one planted before is worth nothing (session fixation).
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from api.actor import LOCAL, Actor, acting_as
from api.database import Database
from api.errors import InvalidError, NotFoundError, NotSignedInError
from api.people.accounts import NAME, SESSIONS, TOKENS, end_sessions, roles_of, spelling
from api.people.passwords import Passwords, check_password
from api.people.tables import AccountRow, SessionRow, TokenRow
from api.people.throttle import Throttle
from api.tables import new_id, now
from corrosion.errors import StorageError

SECRET_BYTES = 32
# How stale `last_seen` may get: a write for every thumbnail would slow the service down for nothing.
SEEN_EVERY = timedelta(minutes=1)


@dataclass(frozen=True)
class Identity:
    """Who sent a request, and by what.

    Attributes
    ----------
    actor : Actor
    door : str
        Id of the session or token; empty in local mode.
    may_write : bool
        False for a token with the scope ``read``.
    must_change : bool
        The password has to be changed before anything else.
    """

    actor: Actor
    door: str = ""
    may_write: bool = True
    must_change: bool = False


LOCALLY = Identity(LOCAL)


@dataclass(frozen=True)
class Limits:
    """How long a session lasts: after its last request, and in all."""

    idle: timedelta
    absolute: timedelta


@dataclass(frozen=True)
class Browser:
    """Where a sign-in comes from, as far as it can be told."""

    address: str
    name: str = ""


class Sessions:
    """Signs people in and out, and knows them again."""

    def __init__(
        self,
        database: Database,
        passwords: Passwords,
        limits: Limits,
        clock: Callable[[], datetime] = now,
    ) -> None:
        self.limits = limits
        self._database = database
        self._passwords = passwords
        self._clock = clock
        self._throttle = Throttle(database, clock)

    def sign_in(self, name: str, password: str, browser: Browser, *, before: str = "") -> str:
        """Sign a person in.

        Parameters
        ----------
        before : str
            Secret that the browser had until now; its session ends.

        Returns
        -------
        str
            The secret of the new session.

        Raises
        ------
        NotSignedInError
            If name and password do not belong together; it does not say which of them is wrong.
        TooManyTriesError
            After too many failures.
        """
        spelt = spelling(name)[:200]
        self._throttle.count(spelt, browser.address)
        with self._database.reading() as session:
            statement = select(AccountRow).where(AccountRow.name == spelt)
            # What cannot be a name need not be one that a database can take either.
            row = session.scalar(statement) if NAME.fullmatch(spelt) else None
        ok, renewed = self._passwords.matches(password, row.password_hash if row else None)
        if row is None or not ok:
            raise NotSignedInError(
                "name and password do not belong together.",
                remedy="Check both; an administrator can set a new password.",
            )
        self._throttle.forgive(spelt, browser.address)
        if row.disabled_at is not None:
            raise NotSignedInError(
                f"the account {row.name!r} is disabled.", remedy="Ask an administrator to enable it."
            )
        with acting_as(_identity(row, "session").actor), self._database.writing() as session:
            if renewed:
                session.get_one(AccountRow, row.id).password_hash = renewed
            if before:
                known = SESSIONS.c.secret_hash == hashed(before), SESSIONS.c.ended_at.is_(None)
                session.execute(update(SESSIONS).where(*known).values(ended_at=self._clock()))
            return self._begin(session, row.id, browser)

    def identify(self, secret: str) -> Identity | None:
        """Return who a session belongs to; None if it has ended in any way."""
        moment = self._clock()
        statement = (
            select(SessionRow, AccountRow)
            .join(AccountRow, AccountRow.id == SessionRow.account_id)
            .where(SessionRow.secret_hash == hashed(secret))
        )
        with self._database.reading() as session:
            found = session.execute(statement).one_or_none()
        if found is None:
            return None
        kept, account = found[0], found[1]
        if account.disabled_at is not None or not self._stands(kept, moment):
            return None
        if moment - kept.last_seen > SEEN_EVERY:
            # Whoever only looks must not fail because somebody else writes for long.
            with suppress(StorageError), self._database.writing() as session:
                session.execute(update(SESSIONS).where(SESSIONS.c.id == kept.id).values(last_seen=moment))
        return replace(_identity(account, "session"), door=kept.id, must_change=account.must_change)

    def change_password(self, identity: Identity, old: str, new: str, browser: Browser) -> str:
        """Let a person change the password; all other sessions end, this one gets a new secret.

        Raises
        ------
        InvalidError
            If the old one is wrong or the new one cannot be used.
        TooManyTriesError
            After too many wrong ones: an unattended screen is no place to guess.
        """
        with self._database.reading() as session:
            row = session.get_one(AccountRow, identity.actor.key)
        self._throttle.count(row.name, browser.address)
        if not self._passwords.matches(old, row.password_hash)[0]:
            raise InvalidError(
                "the present password is wrong.", place="old", remedy="Type the one you signed in with."
            )
        self._throttle.forgive(row.name, browser.address)
        check_password(new, row.name, row.display_name)
        if self._passwords.matches(new, row.password_hash)[0]:
            raise InvalidError("the new password is the old one.", place="new", remedy="Choose another.")
        kept = self._passwords.hashed(new)
        with self._database.writing() as session:
            row = session.get_one(AccountRow, identity.actor.key)
            row.password_hash = kept
            row.must_change = False
            end_sessions(session, row.id)
            return self._begin(session, row.id, browser)

    def of(self, account_id: str) -> list[SessionRow]:
        """List a person's sessions that still stand, the last used first."""
        moment = self._clock()
        statement = select(SessionRow).where(
            SessionRow.account_id == account_id, SessionRow.ended_at.is_(None)
        )
        with self._database.reading() as session:
            rows = session.scalars(statement.order_by(SessionRow.last_seen.desc()))
            return [row for row in rows if self._stands(row, moment)]

    def end(self, account_id: str, session_id: str) -> None:
        """End one session of a person; `NotFoundError` if the person has no such session."""
        own = SESSIONS.c.account_id == account_id, SESSIONS.c.id == session_id
        with self._database.writing() as session:
            if session.execute(select(SESSIONS.c.id).where(*own)).first() is None:
                raise NotFoundError(
                    "there is no such session of yours.", remedy="Load the page again; it may have ended."
                )
            standing = SESSIONS.c.ended_at.is_(None)
            session.execute(update(SESSIONS).where(*own, standing).values(ended_at=self._clock()))

    def _begin(self, session: Session, account_id: str, browser: Browser) -> str:
        secret = secrets.token_urlsafe(SECRET_BYTES)
        moment = self._clock()
        row = {
            "id": new_id(),
            "secret_hash": hashed(secret),
            "account_id": account_id,
            "created": moment,
            "last_seen": moment,
            "address": browser.address[:64],
            "browser": "".join(one for one in browser.name if one.isprintable())[:200],
        }
        session.execute(insert(SESSIONS).values(row))
        return secret

    def _stands(self, row: SessionRow, moment: datetime) -> bool:
        return (
            row.ended_at is None
            and moment - row.last_seen < self.limits.idle
            and moment - row.created < self.limits.absolute
        )


class Tokens:
    """Keys for programs: each for one person, with a scope and an end."""

    PREFIX = "corrosion_"
    LONGEST = timedelta(days=366)

    def __init__(self, database: Database, clock: Callable[[], datetime] = now) -> None:
        self._database = database
        self._clock = clock

    def make(self, account_id: str, label: str, scope: str, days: int) -> tuple[str, TokenRow]:
        """Make a token.

        Parameters
        ----------
        scope : str
            ``read`` or ``write``; never more than the person's own roles allow.
        days : int
            How long it is good for, 1 to 366.

        Returns
        -------
        str
            The token itself: shown this once, kept nowhere.
        TokenRow

        Raises
        ------
        InvalidError
        """
        text = label.strip()
        if not text or len(text) > 80 or not text.isprintable():
            raise InvalidError(
                "the token needs a name.", place="label", remedy="Say in up to 80 characters what uses it."
            )
        if scope not in {"read", "write"}:
            raise InvalidError(f"{scope!r:.40} is no scope.", place="scope", remedy="Use read or write.")
        if not 1 <= days <= self.LONGEST.days:
            raise InvalidError(
                f"a token cannot be good for {days} days.", place="days", remedy="Use 1 to 366 days."
            )
        secret = self.PREFIX + secrets.token_urlsafe(SECRET_BYTES)
        moment = self._clock()
        row = TokenRow(
            secret_hash=hashed(secret),
            account_id=account_id,
            label=text,
            scope=scope,
            created=moment,
            expires=moment + timedelta(days=days),
        )
        with self._database.writing() as session:
            session.add(row)
        return secret, row

    def identify(self, secret: str) -> Identity | None:
        """Return who a token belongs to; None if it is unknown, out of date or revoked."""
        moment = self._clock()
        statement = (
            select(TokenRow, AccountRow)
            .join(AccountRow, AccountRow.id == TokenRow.account_id)
            .where(TokenRow.secret_hash == hashed(secret))
        )
        with self._database.reading() as session:
            found = session.execute(statement).one_or_none()
        if found is None:
            return None
        kept, account = found[0], found[1]
        dead = kept.revoked_at is not None or kept.expires <= moment
        if dead or account.disabled_at is not None or account.must_change:
            return None
        if kept.last_used is None or moment - kept.last_used > SEEN_EVERY:
            with self._database.writing() as session:
                session.execute(
                    update(TOKENS).where(TOKENS.c.id == kept.id).values({TOKENS.c.last_used: moment})
                )
        return replace(_identity(account, "token"), door=kept.id, may_write=kept.scope == "write")

    def of(self, account_id: str) -> list[TokenRow]:
        """List a person's tokens that were not revoked, the newest first."""
        statement = select(TokenRow).where(TokenRow.account_id == account_id, TokenRow.revoked_at.is_(None))
        with self._database.reading() as session:
            return list(session.scalars(statement.order_by(TokenRow.created.desc())))

    def revoke(self, account_id: str, token_id: str) -> None:
        """Revoke a token of a person; `NotFoundError` if the person has no such token."""
        with self._database.writing() as session:
            row = session.get(TokenRow, token_id)
            if row is None or row.account_id != account_id:
                raise NotFoundError("there is no such token of yours.", remedy="Load the page again.")
            row.revoked_at = row.revoked_at or self._clock()


def hashed(secret: str) -> str:
    """Hash the secret of a session or token: SHA-256 is enough for 256 random bits."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _identity(account: AccountRow, via: Literal["session", "token"]) -> Identity:
    return Identity(Actor(account.id, account.display_name, roles_of(account), via))
