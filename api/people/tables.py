"""The tables of `api.people`.

Nothing that opens a door is stored as it is: passwords as argon2 hashes, the secrets of sessions and tokens
as SHA-256. A column with ``info={"secret": True}`` must not be copied, not even into the history. What has
``info={"history": False}`` holds no records, only who is at the door.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from api.tables import Base, new_id, now


class AccountRow(Base):
    """A person who may sign in. Accounts are disabled, never deleted: records name them for good.

    `roles` are words with a space between. `must_change` is set while somebody else knows the password.
    """

    __tablename__ = "accounts"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    version: Mapped[int] = mapped_column()
    created: Mapped[datetime] = mapped_column(default=now)
    name: Mapped[str] = mapped_column(String(64), unique=True)
    display_name: Mapped[str] = mapped_column(String(120))
    roles: Mapped[str] = mapped_column(String(100))
    certificate_number: Mapped[str] = mapped_column(String(80), default="")
    certificate_kind: Mapped[str] = mapped_column(String(120), default="")
    password_hash: Mapped[str] = mapped_column(String(200), info={"secret": True})
    must_change: Mapped[bool] = mapped_column(default=False)
    disabled_at: Mapped[datetime | None]
    # Of two edits of one version exactly one succeeds.
    __mapper_args__ = {"version_id_col": version}  # noqa: RUF012 - SQLAlchemy reads it once


class SessionRow(Base):
    """One sign-in of one browser. `secret_hash` is the SHA-256 of what its cookie holds."""

    __tablename__ = "sessions"
    __table_args__ = ({"info": {"history": False}},)
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True, info={"secret": True})
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.id"), index=True)
    created: Mapped[datetime] = mapped_column(default=now)
    last_seen: Mapped[datetime] = mapped_column(default=now)
    ended_at: Mapped[datetime | None]
    address: Mapped[str] = mapped_column(String(64), default="")
    browser: Mapped[str] = mapped_column(String(200), default="")


class TokenRow(Base):
    """A program's key to the API, for one person. `scope` is ``read`` or ``write``."""

    __tablename__ = "tokens"
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True, info={"secret": True})
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.id"), index=True)
    label: Mapped[str] = mapped_column(String(80))
    scope: Mapped[str] = mapped_column(String(8))
    created: Mapped[datetime] = mapped_column(default=now)
    expires: Mapped[datetime]
    last_used: Mapped[datetime | None] = mapped_column(info={"history": False})
    revoked_at: Mapped[datetime | None]


class ThrottleRow(Base):
    """Failed sign-ins in a row, for one key: an account, an address, or both together."""

    __tablename__ = "throttle"
    __table_args__ = (Index(None, "last"), {"info": {"history": False}})
    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    failures: Mapped[int]
    last: Mapped[datetime]
    blocked_until: Mapped[datetime]
