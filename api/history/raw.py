"""Reading columns as the database holds them, whatever somebody put into them.

The typed way of reading breaks off at a text that is no JSON or no time; verification must go on and
name it.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from pydantic_core import from_json
from sqlalchemy import JSON, Boolean, Column, ColumnElement, Float, FromClause, type_coerce
from sqlalchemy.types import NullType

from api.tables import UtcDateTime


def raw_columns(table: FromClause, *, without: frozenset[str] = frozenset()) -> list[ColumnElement[Any]]:
    """Select a table's columns without any conversion."""
    return [
        type_coerce(column, NullType()).label(column.name)
        for column in table.c
        if column.name not in without
    ]


def stored_value(column: Column[Any] | Any, value: Any) -> Any:
    """Convert a raw value as the typed way would; what cannot be converted stays as it is."""
    try:
        return _converted(column.type, value)
    except (ValueError, TypeError):
        return value


def _converted(kind: Any, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, JSON) and isinstance(value, str | bytes):
        return from_json(value)
    if isinstance(kind, UtcDateTime):
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    if isinstance(kind, Boolean) and value in (0, 1):
        return bool(value)
    if isinstance(kind, Float) and isinstance(value, int):
        return float(value)
    return value
