"""Which tables the history covers, and what of their rows goes into it.

Everything, unless its table says otherwise where it is declared:

* a table with ``info={"history": False}`` is left out (who is at the door, what can be made anew),
* so is a column with ``info={"history": False}``, for what follows from other changes,
* of a column with ``info={"secret": True}`` or ``info={"history": "digest"}`` only the SHA-256 is
  recorded. A change of it is still found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum
from functools import cache
from typing import Any

from sqlalchemy import Table

from api.history.chain import Json, canonical, digest, time_text
from api.tables import Base

UNLOGGED: dict[str, str] = {
    "history": "it is the history",
    "history_head": "it is the history",
    "search_entries": "made anew from the surveys at any time",
    "search_states": "made anew from the surveys at any time",
}
"""Tables left out beside those that say so themselves, with the reason."""

SKIPPED: dict[str, frozenset[str]] = {
    # It only counts the changes that are recorded themselves.
    "surveys": frozenset({"revision"}),
}
"""Columns left out beside those that say so themselves."""


NAME_LENGTH = 400


@dataclass(frozen=True)
class Scope:
    """How one table is covered.

    Attributes
    ----------
    table : Table
    survey, structure : str
        Columns that name the survey or structure a row belongs to; empty where it belongs to none.
    skipped, digested : frozenset of str
        Columns left out, and columns of which only the SHA-256 is recorded.
    """

    table: Table
    survey: str
    structure: str
    skipped: frozenset[str]
    digested: frozenset[str]

    def row_id(self, key: tuple[Any, ...]) -> str:
        """Name a row by its primary key, as the history does: its parts, or what fits of them."""
        name = "/".join(str(part) for part in key)
        return name if len(name) <= NAME_LENGTH else name[: NAME_LENGTH - 65] + "#" + digest(name)

    def row_id_of(self, row: Mapping[Any, Any]) -> str:
        """Name a row as read from the table."""
        return self.row_id(tuple(row[column.name] for column in self.table.primary_key))


@cache
def scope_of(name: str) -> Scope | None:
    """Return how a table is covered; None if it is not."""
    table = Base.metadata.tables[name]
    if name in UNLOGGED or table.info.get("history") is False:
        return None
    columns = table.c.keys()
    own = {"surveys": "id"}.get(name, "survey_id")
    structure = {"structures": "id"}.get(name, "structure_id")
    return Scope(
        table=table,
        survey=own if own in columns else "",
        structure=structure if structure in columns else "",
        skipped=SKIPPED.get(name, frozenset())
        | {column.name for column in table.c if column.info.get("history") is False},
        digested=frozenset(
            column.name
            for column in table.c
            if column.info.get("secret") or column.info.get("history") == "digest"
        ),
    )


def scopes() -> list[Scope]:
    """Return every covered table, in the order of their names."""
    found = (scope_of(name) for name in sorted(Base.metadata.tables))
    return [scope for scope in found if scope is not None]


def state_of(row: Mapping[Any, Any], scope: Scope | None = None) -> Json:
    """Return what the history records of a row: its columns as JSON values."""
    skipped = scope.skipped if scope else frozenset()
    digested = scope.digested if scope else frozenset()
    return {
        str(name): _digested(value) if name in digested else _plain(value)
        for name, value in row.items()
        if name not in skipped
    }


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return time_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, bytes):
        return value.hex()
    return value


def _digested(value: Any) -> Json | None:
    return None if value is None else {"sha256": digest(canonical(_plain(value)))}
