"""What a comparison of two surveys says, as plain frozen values in millimetres and years."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from corrosion.model import SurveyInfo
from corrosion.quantity import Measured
from corrosion.results import Finding, Point, Spot
from corrosion.terms import Face, MarkKind

Ends = tuple[float | None, float | None]
"""Low and high end of an interval; None where it is open."""


class Change(StrEnum):
    """What became of a finding between two surveys. `CHANGE_MEANING` has the words for a reader."""

    GROWN = "grown"
    MERGED = "merged"
    NEW = "new"
    FIRST_SEEN = "first seen"
    AMBIGUOUS = "ambiguous"
    SMALLER = "smaller"
    WITHIN_NOISE = "smaller than noise"
    NOT_COMPARED = "not comparable"
    UNCHANGED = "unchanged"
    BLENDED = "blended"
    ON_RECORD = "on record"
    NOT_FOUND = "not found"
    NOT_SEEN = "not seen this time"
    NOT_PLACED = "not placed"


CHANGE_MEANING: dict[Change, str] = {
    Change.GROWN: "Area or depth is larger, by more than chance explains at the stated level.",
    Change.MERGED: "Two or more findings of the earlier survey now lie inside this one.",
    Change.NEW: "The place was photographed last time and nothing was marked there.",
    Change.FIRST_SEEN: "Found where the earlier survey did not look: it may have been there before.",
    Change.AMBIGUOUS: "More than one pairing fits the places; which is which is for a person to say.",
    Change.SMALLER: "Smaller by more than chance explains. Metal does not grow back: check both measures.",
    Change.WITHIN_NOISE: "A change smaller than the level asks for: growth is neither shown nor ruled out.",
    Change.NOT_COMPARED: "Found again, but no measure of both surveys can be compared.",
    Change.UNCHANGED: "The measures differ by no more than one standard uncertainty of the difference.",
    Change.BLENDED: "The pit's place now lies inside a blend-out.",
    Change.ON_RECORD: "A blend-out that the other survey holds as a removal record.",
    Change.NOT_FOUND: "The place was photographed this time and nothing was marked there. "
    "That is no proof that it is clean.",
    Change.NOT_SEEN: "The place was not photographed this time. It is not gone: nobody looked.",
    Change.NOT_PLACED: "Not on the layout, so it cannot be compared by place.",
}


class Shown(StrEnum):
    """What the difference of one quantity shows."""

    LARGER = "larger"
    SMALLER = "smaller"
    WITHIN_NOISE = "smaller than noise"
    UNCHANGED = "unchanged"
    NOT_DETERMINED = "not determined"


@dataclass(frozen=True)
class Growth:
    """Change of one quantity of one finding.

    Attributes
    ----------
    quantity : str
        ``area`` (mm2) or ``depth`` (mm).
    earlier, later, difference : Measured
        ``difference`` is later minus earlier; of bounds it is a bound itself and flagged as such.
    per_year : Measured
        Difference over the years between the surveys, mm2 or mm; a year is 365.25 days.
    interval : Ends
        Of the rate, at the comparison's coverage; open on the side that a bound leaves open.
    shown : Shown
    cancelled : tuple of str
        Instruments whose systematic part both readings share, so that it drops out of the difference.
    note : str
        Why nothing, or not everything, can be said; may be empty.
    """

    quantity: str
    earlier: Measured
    later: Measured
    difference: Measured
    per_year: Measured
    interval: Ends
    shown: Shown
    cancelled: tuple[str, ...] = ()
    note: str = ""


class Reach(StrEnum):
    """What can be said of the date at which a pit reaches the removal allowed there."""

    BETWEEN = "between"
    NOT_BEFORE = "not before"
    NO_LATER = "no later than"
    REACHED = "reached"
    NO_DATE = "no date"


@dataclass(frozen=True)
class Forecast:
    """When the pit's depth would use up the removal that is still allowed at its place.

    Attributes
    ----------
    reach : Reach
    earliest, latest : date or None
        Rounded outwards to whole days; None where that end is open. Linear growth is assumed.
    years : Ends
        The same in years after the later survey; negative ends count as now.
    spot : Spot or None
        The place judged: least margin inside the finding in the later survey.
    allowance : float
        Clean-up allowance that blending takes on top of the depth, mm; 0 where none is stated.
    left : Measured or None
        Limit minus removed minus allowance minus pit depth, mm: what the pit may still grow.
    spans : float or None
        Time to the latest end (or the earliest where it is open) over the time between the surveys.
    reason : str
        In words.
    """

    reach: Reach
    earliest: dt.date | None = None
    latest: dt.date | None = None
    years: Ends = (None, None)
    spot: Spot | None = None
    allowance: float = 0.0
    left: Measured | None = None
    spans: float | None = None
    reason: str = ""


@dataclass(frozen=True)
class FindingChange:
    """One thing on the metal in two surveys.

    Attributes
    ----------
    earlier : tuple of Finding
        None, one, or several that merged.
    later : Finding or None
    shift, u_shift : Point or None
        How far the place moved (station, offset) and its combined standard uncertainty, mm.
    named : bool
        Only one feature name in both surveys tells this pair from others that fit the places.
    rivals : tuple of str
        Identifiers of the other findings that fit, where it is ambiguous.
    growths : tuple of Growth
    forecast : Forecast or None
        Of pits only.
    notes : tuple of str
        In plain words.
    """

    change: Change
    kind: MarkKind
    member_id: str | None
    face: Face | None
    earlier: tuple[Finding, ...] = ()
    later: Finding | None = None
    shift: Point | None = None
    u_shift: Point | None = None
    named: bool = False
    rivals: tuple[str, ...] = ()
    growths: tuple[Growth, ...] = ()
    forecast: Forecast | None = None
    notes: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """What names the row: stable while neither survey changes."""
        if self.later is not None:
            return f"later:{self.later.id}"
        return f"earlier:{self.earlier[0].id}"

    @property
    def position(self) -> Point | None:
        """(station, offset), mm, in the later survey where it is known."""
        found = [one for one in (self.later, *self.earlier) if one is not None and one.position is not None]
        return found[0].position if found else None

    def growth(self, quantity: str) -> Growth | None:
        """Return the growth of one quantity."""
        return next((one for one in self.growths if one.quantity == quantity), None)


@dataclass(frozen=True)
class MemberChange:
    """What came off one member between two surveys.

    Attributes
    ----------
    earlier, later : Spot or None
        Deepest sum of each survey, wherever it was.
    most : Measured or None
        Largest thickness removed at one place between the surveys, mm (sum now minus sum then).
    at : Point or None
        Where.
    least : Measured or None
        The most negative difference, where one is beyond its uncertainty: a record is missing.
    missing : tuple of str
        Entries of the earlier survey that the later one no longer has.
    volume : Measured
        Removed volume now minus then, mm3.
    notes : tuple of str
    """

    member_id: str
    earlier: Spot | None
    later: Spot | None
    most: Measured | None
    at: Point | None
    least: Measured | None
    least_at: Point | None
    missing: tuple[str, ...]
    volume: Measured
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Comparison:
    """Two surveys of one structure, compared.

    Attributes
    ----------
    level : float
        Significance level, two-sided; intervals have the coverage 1 - level.
    years : float
        Between the surveys.
    findings : list of FindingChange
        What matters first.
    problems : list of str
        What hinders the comparison, in plain words.
    """

    earlier: SurveyInfo
    later: SurveyInfo
    earlier_date: dt.date
    later_date: dt.date
    years: float
    level: float
    findings: list[FindingChange]
    members: list[MemberChange]
    problems: list[str]

    def counts(self) -> dict[Change, int]:
        """Count the findings by what became of them, in the order of `Change`."""
        found = [one.change for one in self.findings]
        return {change: found.count(change) for change in Change if change in found}
