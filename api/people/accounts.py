"""Accounts: who may sign in, and as what."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from api.actor import Role
from api.database import Database
from api.errors import ConflictError, InvalidError, NotFoundError, StaleError
from api.people.passwords import Passwords, check_password
from api.people.tables import AccountRow, SessionRow, TokenRow
from api.tables import Base, now

NAME = re.compile(r"[^\W_][\w.@+-]{0,63}")
DISPLAY_LENGTH = 120
COMMAND = "corrosion people add NAME --role administrator"
SESSIONS = Base.metadata.tables[SessionRow.__tablename__]
TOKENS = Base.metadata.tables[TokenRow.__tablename__]


@dataclass(frozen=True)
class Details:
    """What can be said of a person beside name and password.

    Attributes
    ----------
    display_name : str
        As records show it.
    roles : frozenset of Role
        None: may read only.
    certificate_number, certificate_kind : str
        As typed; nobody checks them here. They are offered when the person signs.
    """

    display_name: str
    roles: frozenset[Role] = frozenset()
    certificate_number: str = ""
    certificate_kind: str = ""


class Accounts:
    """Adds people, changes what they may do, and disables them; nobody is ever deleted."""

    def __init__(self, database: Database, passwords: Passwords) -> None:
        self._database = database
        self._passwords = passwords

    def exist(self) -> bool:
        """Whether there is any account: then everybody has to sign in."""
        with self._database.reading() as session:
            return session.scalar(select(AccountRow.id).limit(1)) is not None

    def has_administrator(self) -> bool:
        """Whether somebody could sign in and manage people."""
        with self._database.reading() as session:
            return bool(_administrators(session))

    def everybody(self) -> list[AccountRow]:
        """List all accounts by name, disabled ones too."""
        with self._database.reading() as session:
            return list(session.scalars(select(AccountRow).order_by(AccountRow.name)))

    def one(self, account_id: str) -> AccountRow:
        """Return an account; `NotFoundError` if there is none."""
        with self._database.reading() as session:
            return _find(session, account_id)

    def named(self, name: str) -> AccountRow:
        """Return an account by its name, however it is spelt; `NotFoundError` if there is none."""
        with self._database.reading() as session:
            row = session.scalar(select(AccountRow).where(AccountRow.name == spelling(name)))
        if row is None:
            raise NotFoundError(
                f"there is no account {name!r:.80}.", remedy="List them with: corrosion people list"
            )
        return row

    def add(self, name: str, details: Details, password: str, *, must_change: bool) -> AccountRow:
        """Add a person.

        Parameters
        ----------
        must_change : bool
            Somebody else chose the password, so it has to be changed at the first sign-in.

        Raises
        ------
        InvalidError
            If a name or the password cannot be used, or if the first account is no administrator.
        ConflictError
            If the name is taken.
        """
        spelt = checked_name(name)
        check_details(details)
        check_password(password, spelt, details.display_name)
        row = AccountRow(
            name=spelt, must_change=must_change, password_hash=self._passwords.hashed(password)
        )
        _put(row, details)
        with self._database.writing() as session:
            if Role.ADMINISTRATOR not in details.roles and not session.scalar(_count()):
                raise InvalidError(
                    "the first account must be an administrator: from then on everybody has to sign in.",
                    place="roles",
                    remedy=f"Run: {COMMAND}",
                )
            if session.scalar(select(AccountRow.id).where(AccountRow.name == spelt)):
                raise ConflictError(
                    f"the name {spelt!r} is taken.", place="name", remedy="Choose another one."
                )
            session.add(row)
        return row

    def change(self, account_id: str, version: int, details: Details) -> AccountRow:
        """Change what is said of a person, and the roles.

        Raises
        ------
        NotFoundError, StaleError, InvalidError
        ConflictError
            If nobody would be left to manage people.
        """
        check_details(details)
        with self._database.writing() as session:
            row = _find(session, account_id)
            if row.version != version:
                raise StaleError(
                    "somebody else changed this account first.",
                    place=f"account {row.name}",
                    remedy="Read it again, look at what changed, and repeat the edit.",
                )
            if Role.ADMINISTRATOR not in details.roles:
                _keep_one_administrator(session, row)
            _put(row, details)
        return row

    def describe(self, account_id: str, display_name: str, number: str, kind: str) -> AccountRow:
        """Let people change what is said of themselves; their roles stay."""
        with self._database.writing() as session:
            row = _find(session, account_id)
            details = Details(display_name, roles_of(row), number, kind)
            check_details(details)
            _put(row, details)
        return row

    def set_password(self, account_id: str, password: str, *, must_change: bool) -> None:
        """Give a person another password; every session ends and every token is revoked.

        Raises
        ------
        NotFoundError, InvalidError
        """
        row = self.one(account_id)
        check_password(password, row.name, row.display_name)
        hashed = self._passwords.hashed(password)
        with self._database.writing() as session:
            row = _find(session, account_id)
            row.password_hash = hashed
            row.must_change = must_change
            shut_out(session, account_id)

    def disable(self, account_id: str) -> None:
        """Keep a person out from now on; `ConflictError` for the last administrator."""
        with self._database.writing() as session:
            row = _find(session, account_id)
            _keep_one_administrator(session, row)
            row.disabled_at = row.disabled_at or now()
            shut_out(session, account_id)

    def enable(self, account_id: str) -> None:
        """Let a disabled person in again, with the password of before."""
        with self._database.writing() as session:
            _find(session, account_id).disabled_at = None

    def sign_out(self, account_id: str, *, keep: str = "") -> None:
        """End all sessions of a person, but for the one named `keep`."""
        with self._database.writing() as session:
            end_sessions(session, account_id, keep=keep)


def spelling(name: str) -> str:
    """Return the one spelling of a name: case and width of letters make no difference."""
    return unicodedata.normalize("NFKC", name).strip().casefold()


def checked_name(name: str) -> str:
    """Return the one spelling of a name for a new account; `InvalidError` if it cannot be one."""
    spelt = spelling(name)
    if not NAME.fullmatch(spelt):
        raise InvalidError(
            f"{name!r:.80} cannot be a name to sign in with.",
            place="name",
            remedy="Use up to 64 letters and digits; dots, hyphens, underscores, + and @ may follow.",
        )
    return spelt


def roles_of(row: AccountRow) -> frozenset[Role]:
    """Return the roles of an account."""
    return frozenset(Role(word) for word in row.roles.split())


def roles_from(words: Iterable[str]) -> frozenset[Role]:
    """Read roles; `InvalidError` names one that does not exist."""
    known = {role.value for role in Role}
    given = list(words)
    wrong = [word for word in given if word not in known]
    if wrong:
        raise InvalidError(
            f"there is no role {wrong[0]!r:.80}.", place="roles", remedy=f"Use {', '.join(Role)}."
        )
    return frozenset(Role(word) for word in given)


def check_details(details: Details) -> None:
    """Refuse texts that a record could not show: empty, too long, or with control characters."""
    texts: Sequence[tuple[str, str, int]] = (
        ("display_name", details.display_name, DISPLAY_LENGTH),
        ("certificate_number", details.certificate_number, 80),
        ("certificate_kind", details.certificate_kind, 120),
    )
    for place, text, most in texts:
        if len(text) > most or not all(one.isprintable() for one in text):
            raise InvalidError(
                f"{text!r:.80} is too long or holds characters that cannot be shown.",
                place=place,
                remedy=f"Use at most {most} printable characters.",
            )
    if not details.display_name.strip():
        raise InvalidError(
            "the name to be shown in records is empty.", place="display_name", remedy="Enter it."
        )


def shut_out(session: Session, account_id: str) -> None:
    """End all sessions of an account and revoke its tokens."""
    end_sessions(session, account_id)
    standing = select(TokenRow).where(TokenRow.account_id == account_id, TokenRow.revoked_at.is_(None))
    for token in session.scalars(standing):
        token.revoked_at = now()


def end_sessions(session: Session, account_id: str, *, keep: str = "") -> None:
    """End all sessions of an account, but for the one named `keep`."""
    standing = SESSIONS.c.account_id == account_id, SESSIONS.c.ended_at.is_(None), SESSIONS.c.id != keep
    session.execute(update(SESSIONS).where(*standing).values(ended_at=now()))


def _put(row: AccountRow, details: Details) -> None:
    row.display_name = details.display_name.strip()
    row.roles = " ".join(role for role in Role if role in details.roles)
    row.certificate_number = details.certificate_number.strip()
    row.certificate_kind = details.certificate_kind.strip()


def _find(session: Session, account_id: str) -> AccountRow:
    row = session.get(AccountRow, account_id)
    if row is None:
        raise NotFoundError(f"there is no account {account_id!r:.80}.", remedy="List the people there are.")
    return row


def _count() -> Any:
    return select(func.count()).select_from(AccountRow)


def _administrators(session: Session, *, lock: bool = False) -> list[AccountRow]:
    statement = select(AccountRow).where(AccountRow.disabled_at.is_(None)).order_by(AccountRow.id)
    rows = session.scalars(statement.with_for_update() if lock else statement)
    return [row for row in rows if Role.ADMINISTRATOR in roles_of(row)]


def _keep_one_administrator(session: Session, leaving: AccountRow) -> None:
    """Refuse to let the last administrator go: nobody could manage people any more."""
    # Locked, else two administrators could each make the other the last one at the same time.
    left = {row.id for row in _administrators(session, lock=True)}
    if left == {leaving.id}:
        raise ConflictError(
            f"{leaving.name!r} is the last administrator.",
            place="roles",
            remedy="Make somebody else an administrator first.",
        )
