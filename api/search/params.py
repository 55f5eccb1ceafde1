"""What a search's address can ask for, and the same in millimetres."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from api.search.build import NOT_JUDGED, What
from api.search.query import Order, Query
from corrosion.model.base import PlainLength as Length
from corrosion.terms import Face, MarkKind, Verdict
from corrosion.units import LengthUnit, mm_per

VerdictName = Literal["within", "too close to call", "over", "not determined", "not judged"]
VERDICT_NAMES: tuple[str, ...] = (*(str(verdict) for verdict in Verdict), NOT_JUDGED)
LACKS = ("picture missing", "not tagged", "no scale", "not placed", "no marks")
Day = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$", examples=["2031-04-17"])]


class SearchParams(BaseModel):
    """A search. Everything given must hold; of a list, any one."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    text: Annotated[
        str,
        Field(
            description="Beginnings of words, in any order; accents, case and separators do not count. "
            "Words after the twelfth are not looked at.",
            examples=["lap joint an470"],
        ),
    ] = ""
    what: Annotated[tuple[What, ...], Field(description="Kinds of thing to find; all if unset.")] = ()
    zone: Annotated[str, Field(max_length=20, description="Beginning of a zone number: 33 finds 334.")] = ""
    member: Annotated[str, Field(max_length=80, description="Member; case makes no difference.")] = ""
    face: Annotated[Face | None, Field(description="Face of the member.")] = None
    kind: Annotated[tuple[MarkKind, ...], Field(description="Kinds of finding.")] = ()
    verdict: Annotated[tuple[VerdictName, ...], Field(description="Verdicts of findings.")] = ()
    serial: Annotated[str, Field(max_length=400, description="Beginning of the structure's serial.")] = ""
    person: Annotated[str, Field(max_length=400, description="Beginnings of an inspector's names.")] = ""
    tag: Annotated[
        tuple[Annotated[str, Field(max_length=40)], ...],
        Field(description="All of them: a photo's view, or what it lacks, such as 'no scale'."),
    ] = ()
    structure_id: Annotated[str, Field(max_length=32, description="Only in this structure.")] = ""
    survey_id: Annotated[str, Field(max_length=32, description="Only in this survey.")] = ""
    units: Annotated[LengthUnit, Field(description="Unit of the lengths asked for and answered.")] = "mm"
    station_from: Annotated[Length | None, Field(description="Least station on the layout.")] = None
    station_to: Annotated[Length | None, Field(description="Largest station on the layout.")] = None
    depth_from: Annotated[
        Length | None, Field(description="Least depth, as stated, also where that is only a bound.")
    ] = None
    depth_to: Annotated[Length | None, Field(description="Largest depth, as stated.")] = None
    date_from: Annotated[Day | None, Field(description="First day.")] = None
    date_to: Annotated[Day | None, Field(description="Last day.")] = None
    withdrawn: Annotated[bool, Field(description="Also find what was withdrawn.")] = False
    order: Annotated[Order, Field(description="What lacks the key comes last.")] = Order.NEWEST

    @model_validator(mode="before")
    @classmethod
    def _forget_empty_fields(cls, given: Any) -> Any:
        # A form sends every field, also those left empty.
        if not isinstance(given, dict):
            return given
        kept = {name: value for name, value in given.items() if value not in ("", None, [""])}
        return {name: _without_empty(value) for name, value in kept.items()}

    @model_validator(mode="after")
    def _days_exist(self) -> SearchParams:
        for name in ("date_from", "date_to"):
            day = getattr(self, name)
            if day is not None:
                try:
                    date.fromisoformat(day)
                except ValueError as error:
                    raise ValueError(f"{name} {day!r} is not a day of the calendar") from error
        return self

    @property
    def is_empty(self) -> bool:
        """Whether nothing is asked for: only how the answer should look."""
        asked = self.model_dump(exclude_defaults=True, exclude={"units", "order", "withdrawn"})
        return not any(not isinstance(value, str) or value.strip() for value in asked.values())

    def query(self) -> Query:
        """Return the search in millimetres."""
        per = mm_per(self.units)
        return Query(
            text=self.text,
            what=tuple(map(str, self.what)),
            zone=self.zone,
            member=self.member,
            face=str(self.face or ""),
            kinds=tuple(map(str, self.kind)),
            verdicts=tuple(map(str, self.verdict)),
            serial=self.serial,
            person=self.person,
            tags=self.tag,
            structure_id=self.structure_id,
            survey_id=self.survey_id,
            station=(_mm(self.station_from, per), _mm(self.station_to, per)),
            depth=(_mm(self.depth_from, per), _mm(self.depth_to, per)),
            date=(self.date_from, self.date_to),
            withdrawn=self.withdrawn,
            order=self.order,
        )

    def pairs(self) -> list[tuple[str, str]]:
        """Return name and value of everything that differs from its default, for an address."""
        pairs: list[tuple[str, str]] = []
        for name, value in self.model_dump(mode="json", exclude_defaults=True).items():
            values = value if isinstance(value, list) else [value]
            pairs += [(name, str(one).lower() if isinstance(one, bool) else str(one)) for one in values]
        return pairs

    def shown_in(self, unit: LengthUnit) -> SearchParams:
        """Return the same search with its lengths in another unit, as a form shows them."""
        if unit == self.units:
            return self
        factor = mm_per(self.units) / mm_per(unit)
        lengths = ("station_from", "station_to", "depth_from", "depth_to")
        known = {name: getattr(self, name) for name in lengths}
        # Nine digits: a range that goes there and back again means the same.
        shown = {name: float(f"{value * factor:.9g}") for name, value in known.items() if value is not None}
        return self.model_copy(update={**shown, "units": unit})


def _mm(value: float | None, per: float) -> float | None:
    return None if value is None else value * per


def _without_empty(value: Any) -> Any:
    return [one for one in value if one != ""] if isinstance(value, list) else value
