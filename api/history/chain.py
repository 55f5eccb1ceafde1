"""A line of the history, the text it is hashed as, and how lines hang together.

The hash of a line is the SHA-256 (FIPS 180-4) of its canonical JSON in UTF-8. Canonical means here, after
RFC 8785: no white space between tokens, members sorted by name, strings escaped only where JSON demands
it. It departs from RFC 8785 in how numbers are spelt (as Python's ``repr``: ``1.0``, not ``1``), because
the text of a line is kept and handed out as it was hashed: a reader hashes the text and need not spell
numbers at all. Each line holds the hash of the line before it, so that none can be changed, taken out,
put in or moved without all later hashes changing.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

Json = dict[str, Any]
Action = Literal["added", "changed", "withdrawn", "deleted", "as found"]

START_HASH = "0" * 64
"""What the first line names as the hash before it."""

_encode = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False, check_circular=False
).encode


@dataclass(frozen=True)
class HistoryEntry:
    """One change of one row.

    Attributes
    ----------
    seq : int
        Number of the line, from 1, without gaps.
    at : datetime
        When it was written, in UTC.
    table, row_id : str
        What was changed.
    survey_id, structure_id : str or None
        What it belongs to, where it belongs to one.
    action : str
        ``"as found"`` is a row that was there before the history began.
    before, after : dict or None
        What changed, by path (`api.history.diff`); None where the row was not there before or after.
    reason : str
        As the person gave it; may be empty.
    previous, hash : str
        Hash of the line before, and of this one.
    """

    seq: int
    at: datetime
    actor_key: str
    actor_name: str
    via: str
    table: str
    row_id: str
    survey_id: str | None
    structure_id: str | None
    action: Action
    before: Json | None
    after: Json | None
    reason: str
    previous: str
    hash: str = ""


def canonical(value: Any) -> str:
    """Write a value as canonical JSON; `ValueError` if a number is not finite."""
    return _encode(value)


def digest(text: str) -> str:
    """Hash a text: SHA-256 of its UTF-8, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def time_text(moment: datetime) -> str:
    """Write a moment in UTC, always with microseconds; one without a zone is taken as UTC."""
    utc = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return utc.isoformat(timespec="microseconds")


def entry_json(entry: HistoryEntry) -> Json:
    """Return what is hashed of a line: everything but the hash itself."""
    return {
        "seq": entry.seq,
        "at": time_text(entry.at),
        "actor": {"key": entry.actor_key, "name": entry.actor_name},
        "via": entry.via,
        "table": entry.table,
        "row": entry.row_id,
        "survey": entry.survey_id,
        "structure": entry.structure_id,
        "action": entry.action,
        "before": entry.before,
        "after": entry.after,
        "reason": entry.reason,
        "previous": entry.previous,
    }


def entry_text(entry: HistoryEntry) -> str:
    """Return the text of a line whose SHA-256 is its hash."""
    return canonical(entry_json(entry))


def entry_from(body: str, hash_: str) -> HistoryEntry:
    """Read a line from its text.

    Raises
    ------
    ValueError
        If the text is not that of a line; also KeyError and TypeError are turned into it.
    """
    try:
        given = json.loads(body)
        return HistoryEntry(
            seq=given["seq"],
            at=datetime.fromisoformat(given["at"]),
            actor_key=given["actor"]["key"],
            actor_name=given["actor"]["name"],
            via=given["via"],
            table=given["table"],
            row_id=given["row"],
            survey_id=given["survey"],
            structure_id=given["structure"],
            action=given["action"],
            before=given["before"],
            after=given["after"],
            reason=given["reason"],
            previous=given["previous"],
            hash=hash_,
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"not a line of a history ({error})") from error
