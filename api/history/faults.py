"""What a verification of the store found."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from api.history.chain import canonical
from api.history.log import Head

Kind = Literal["history", "row", "picture"]
SHOWN_LENGTH = 80


@dataclass(frozen=True)
class Fault:
    """One thing that is not as it was written.

    Attributes
    ----------
    kind : str
        Whether a line of the history, a row or a stored file is wrong.
    place : str
        Which one, as a person can find it.
    problem : str
        What is wrong with it.
    """

    kind: Kind
    place: str
    problem: str


@dataclass
class StoreReport:
    """What was looked at, and everything found wrong."""

    lines: int = 0
    rows: int = 0
    files: int = 0
    size_bytes: int = 0
    head: Head | None = None
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        """Whether nothing at all is wrong."""
        return not self.faults

    def add(self, kind: Kind, place: str, problem: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(kind, place, problem))


def shown(value: Any) -> str:
    """Write a value for a person, cut to a line."""
    try:
        text = canonical(value)
    except (TypeError, ValueError):
        text = repr(value)
    return text if len(text) <= SHOWN_LENGTH else f"{text[:SHOWN_LENGTH]}… ({len(text)} signs)"
