"""Who is acting: set once where a request or command comes in, read wherever a change is recorded."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal


class Role(StrEnum):
    """What a person may do here; one person may have several."""

    INSPECTOR = "inspector"
    PLANNER = "planner"
    CLERK = "clerk"
    ADMINISTRATOR = "administrator"


@dataclass(frozen=True)
class Actor:
    """A person (or the machine's own user) as far as rights and records need to know.

    Attributes
    ----------
    key : str
        The account's id; ``"local"`` where the service runs for one person without accounts.
    name : str
        As shown in the history.
    roles : frozenset of Role
    via : str
        How they came in.
    """

    key: str
    name: str
    roles: frozenset[Role]
    via: Literal["local", "session", "token", "command"]


LOCAL = Actor("local", "local user", frozenset(Role), "local")
"""The one person of a service without accounts, which listens on this machine only."""

_acting: ContextVar[Actor] = ContextVar("acting", default=LOCAL)


def current_actor() -> Actor:
    """Return who is acting in this context; a new context starts as the local user."""
    return _acting.get()


@contextmanager
def acting_as(actor: Actor) -> Iterator[None]:
    """Act as someone until the block ends; threads that copy the context act as the same person."""
    token = _acting.set(actor)
    try:
        yield
    finally:
        _acting.reset(token)
