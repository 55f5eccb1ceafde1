"""What a survey's planning and decision refer to."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from corrosion.model.decision import Decision
from corrosion.model.planning import Planning


def members_named(chosen: BaseModel | None) -> list[tuple[str, str]]:
    """List the members that a planning or a decision names: the path within it, and the member."""
    rows: dict[str, list[Any]] = {}
    if isinstance(chosen, Planning):
        rows = {"facts": chosen.facts, "reinforcements": chosen.reinforcements}
    if isinstance(chosen, Decision):
        rows = {"actions": chosen.actions}
    return [
        (f"{part}.{number}.member", row.member)
        for part, listed in rows.items()
        for number, row in enumerate(listed)
        if row.member is not None
    ]
