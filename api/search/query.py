"""What can be looked for, as conditions on words and ranges of keys; lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy.orm import InstrumentedAttribute

from api.search.build import LETTERS
from api.search.tables import SearchEntryRow
from api.search.words import NOWHERE, Group, Phrase, beginning, fact, one_of, typed_groups


class Order(StrEnum):
    """Orders of a result; what has no date, depth or station comes last."""

    NEWEST = "newest"
    DEEPEST = "deepest"
    WORST = "worst"
    STATION = "station"
    NAME = "name"


KEYS: dict[Order, tuple[InstrumentedAttribute[Any], bool]] = {
    Order.NEWEST: (SearchEntryRow.date_key, True),
    Order.DEEPEST: (SearchEntryRow.depth_key, True),
    Order.WORST: (SearchEntryRow.worst_key, True),
    Order.STATION: (SearchEntryRow.station_key, False),
    Order.NAME: (SearchEntryRow.title_key, False),
}
"""Key of each order, and whether the largest comes first."""


@dataclass(frozen=True)
class Query:
    """What is looked for: everything given must hold, of a list any one. Lengths in mm.

    Attributes
    ----------
    text : str
        Beginnings of words.
    zone : str
        Beginning of a zone number.
    person : str
        Beginnings of the inspector's names.
    tags : tuple of str
        All of them: a photo's view, face, or what it lacks (``no scale``).
    station, depth, date : pair
        Least and most, None where open. Depths compare as stated, also where they are bounds.
    withdrawn : bool
        Also find what was withdrawn.
    """

    text: str = ""
    what: tuple[str, ...] = ()
    zone: str = ""
    member: str = ""
    face: str = ""
    kinds: tuple[str, ...] = ()
    verdicts: tuple[str, ...] = ()
    serial: str = ""
    person: str = ""
    tags: tuple[str, ...] = ()
    structure_id: str = ""
    survey_id: str = ""
    station: tuple[float | None, float | None] = (None, None)
    depth: tuple[float | None, float | None] = (None, None)
    date: tuple[str | None, str | None] = (None, None)
    withdrawn: bool = False
    order: Order = Order.NEWEST

    @property
    def text_groups(self) -> list[Group]:
        """Groups of the typed text alone: what is highlighted."""
        return _or_nothing(typed_groups(self.text), self.text)

    @property
    def groups(self) -> list[Group]:
        """All conditions on words."""
        groups = self.text_groups
        for name, values in (("what", self.what), ("kind", self.kinds), ("verdict", self.verdicts)):
            if values:
                groups.append(one_of(LETTERS[name], values))
        for name in ("member", "face"):
            if value := getattr(self, name):
                groups.append(one_of(LETTERS[name], [value]))
        for name in ("structure", "survey"):
            if value := getattr(self, f"{name}_id"):
                groups.append((Phrase((fact(LETTERS[name], value),)),))
        for name in ("zone", "serial"):
            if value := getattr(self, name):
                groups.append(one_of(LETTERS[name], [value], prefix=True))
        groups += [one_of(LETTERS["tag"], [tag]) for tag in self.tags]
        return groups + _or_nothing(beginning(LETTERS["person"], self.person), self.person)


def _or_nothing(groups: list[Group], typed: str) -> list[Group]:
    """Find nothing, rather than everything, where what was typed has neither letters nor digits."""
    return groups if groups or not typed.strip() else [(Phrase((NOWHERE,)),)]
