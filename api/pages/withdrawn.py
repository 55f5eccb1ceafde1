"""What was withdrawn from a survey, for the pages that list it."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api import wire
from api.context import Context
from api.tables import PhotoRow


@dataclass(frozen=True)
class WithdrawnPart:
    """A photo, removal or reading that was taken back; `what` says in short what it was."""

    kind: str
    name: str
    what: str
    when: datetime
    reason: str


def withdrawn_parts(context: Context, survey_id: str, kinds: AbstractSet[str]) -> list[WithdrawnPart]:
    """List what was withdrawn, of some kinds, the latest first."""
    found = []
    for row in context.services.withdrawn(survey_id):
        record = wire.withdrawn_record(row)
        if record.kind in kinds:
            name = row.upload_name if isinstance(row, PhotoRow) and row.upload_name else row.key
            what = _what(record.part)
            found.append(WithdrawnPart(record.kind, name, what, record.withdrawn_at, record.reason))
    return found


def _what(part: dict[str, Any]) -> str:
    marks = part.get("marks")
    said = [str(part[name]) for name in ("member", "face") if part.get(name)]
    if marks:
        said.append(f"{len(marks)} mark{'' if len(marks) == 1 else 's'}")
    return ", ".join(said)
