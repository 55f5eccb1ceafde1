"""Slows down whoever guesses passwords, without ever locking anybody out for good.

A try is counted before the password is looked at, so that many at once gain nothing, and forgiven when it
was right. The counts are in the database: a restart forgives nobody. NIST SP 800-63B-4, section 3.2.2 (from
memory), asks for such a limit; its lock after 100 failures would let anybody shut a person out for good, so
the wait has a longest value instead.
"""

from __future__ import annotations

import hashlib
import ipaddress
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.database import Database
from api.errors import TooManyTriesError
from api.people.tables import ThrottleRow
from api.tables import Base, now


@dataclass(frozen=True)
class Limit:
    """Failures that cost nothing, and the longest wait after more; each further one doubles the wait."""

    free: int
    longest: timedelta

    def wait(self, failures: int) -> timedelta:
        """Return how long to wait after a number of failures in a row."""
        over = failures - self.free
        if over < 0:
            return timedelta(0)
        return min(timedelta(seconds=2.0 ** min(over, 20)), self.longest)


# Rules of ours. Whoever mistypes on a phone gets five tries from one place at once. An account tried from
# everywhere waits half a minute at most, so that its owner still comes in while somebody else guesses.
PAIR = "both"
ACCOUNT = "account"
ADDRESS = "address"
LIMITS: Mapping[str, Limit] = {
    PAIR: Limit(5, timedelta(minutes=15)),
    ACCOUNT: Limit(20, timedelta(seconds=30)),
    ADDRESS: Limit(30, timedelta(minutes=15)),
}
# A failure fades, so that those of a whole office do not add up over months.
FADE = timedelta(minutes=10)
FORGET = timedelta(days=1)

# The table itself, not the class: the counts are no records, and the history must not see them.
THROTTLE = Base.metadata.tables[ThrottleRow.__tablename__]


class Throttle:
    """Counts failed sign-ins.

    Parameters
    ----------
    database : Database
    clock : callable
        Returns the time in UTC.
    """

    def __init__(self, database: Database, clock: Callable[[], datetime] = now) -> None:
        self._database = database
        self._clock = clock

    def count(self, name: str, address: str) -> None:
        """Count a try that is about to be made.

        Parameters
        ----------
        name : str
            Name of the account as typed, in its one spelling; whether it exists makes no difference.
        address : str
            Network address it comes from.

        Raises
        ------
        TooManyTriesError
            If it comes too early; it is not counted then, and `seconds` says how long to wait.
        """
        moment = self._clock()
        keys = keys_of(name, address)
        with self._database.writing() as session:
            session.execute(delete(THROTTLE).where(THROTTLE.c.last < moment - FORGET))
            rows = self._rows(session, keys, moment)
            wait = max(row.blocked_until for row in rows.values()) - moment
            if wait > timedelta(0):
                raise _too_many(wait)
            for kind, row in rows.items():
                failures = max(0, row.failures - int((moment - row.last) / FADE)) + 1
                blocked = moment + LIMITS[kind].wait(failures)
                session.execute(
                    update(THROTTLE)
                    .where(THROTTLE.c.key == row.key)
                    .values(failures=failures, last=moment, blocked_until=blocked)
                )

    def forgive(self, name: str, address: str) -> None:
        """Take back what `count` counted: the password was right."""
        keys = keys_of(name, address)
        with self._database.writing() as session:
            session.execute(delete(THROTTLE).where(THROTTLE.c.key.in_([keys[PAIR], keys[ACCOUNT]])))
            # Only this one: else whoever has an account could sign in between guesses at others.
            session.execute(
                update(THROTTLE)
                .where(THROTTLE.c.key == keys[ADDRESS], THROTTLE.c.failures > 0)
                .values(failures=THROTTLE.c.failures - 1, blocked_until=self._clock())
            )

    def _rows(self, session: Session, keys: Mapping[str, str], moment: datetime) -> dict[str, Any]:
        """Return the rows of some keys, locked until the session ends; made where missing."""
        fresh = [
            {"key": key, "failures": 0, "last": moment, "blocked_until": moment} for key in keys.values()
        ]
        insert = sqlite.insert if self._database.is_sqlite else postgresql.insert
        session.execute(insert(THROTTLE).values(fresh).on_conflict_do_nothing())
        # In one order, else two sign-ins could wait for each other.
        columns = (THROTTLE.c.key, THROTTLE.c.failures, THROTTLE.c.last, THROTTLE.c.blocked_until)
        statement = (
            select(*columns).where(THROTTLE.c.key.in_(keys.values())).order_by(THROTTLE.c.key)
        ).with_for_update()
        by_key: dict[str, Any] = {row.key: row for row in session.execute(statement)}
        return {kind: by_key[key] for kind, key in keys.items()}


def keys_of(name: str, address: str) -> dict[str, str]:
    """Return what tries are counted by; hashed, so that every key has one length and tells no name."""
    net = _network(address)
    parts = {PAIR: f"{name}\0{net}", ACCOUNT: name, ADDRESS: net}
    return {
        kind: hashlib.sha256(f"{kind}\0{text}".encode("utf-8", "surrogatepass")).hexdigest()
        for kind, text in parts.items()
    }


def _network(address: str) -> str:
    """Return an address; of IPv6 the first 64 bits, which one customer has to himself (RFC 6177)."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        mapped = parsed.ipv4_mapped
        return str(mapped or ipaddress.ip_network((int(parsed), 64), strict=False))
    return str(parsed)


def _too_many(wait: timedelta) -> TooManyTriesError:
    seconds = ceil(wait.total_seconds())
    error = TooManyTriesError(
        "there were too many failed sign-ins.",
        place="sign-in",
        remedy=f"Wait {seconds} s, then try once more; an administrator can set a new password.",
    )
    error.seconds = seconds
    return error
