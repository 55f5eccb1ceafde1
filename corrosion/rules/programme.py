"""Corrosion programme levels 1 to 3, from the history of what was removed at a place.

Source of the levels: the definitions adopted by an operator's authority (NASC, 2017-01-16), which follow
the industry's wording. They have gaps; those are returned as not determined.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from corrosion.grades import DepthGrade, depth_grade
from corrosion.model.planning import ApproachShare, MemberFacts
from corrosion.removal import Entry, EntryList, MemberRemoval
from corrosion.removal.chains import exceedance
from corrosion.results import Point
from corrosion.terms import Verdict

SOURCE = "NASC, corrosion prevention programme definitions, 2017-01-16"


class ProgrammeLevel(StrEnum):
    """Level of corrosion found, as a programme counts it."""

    ONE = "level 1"
    TWO = "level 2"
    THREE = "level 3"
    NOT_DETERMINED = "not determined"


@dataclass(frozen=True)
class Inspection:
    """What one inspection added at a place.

    Attributes
    ----------
    date : str
        Day of the rework.
    removed, total : float
        Taken off then, and in all by then, mm.
    single, cumulative : Verdict
        Each against the limit there.
    limit : float or None
        mm.
    """

    date: str
    removed: float
    total: float
    single: Verdict
    cumulative: Verdict
    limit: float | None

    @property
    def surely_light(self) -> bool:
        """Whether so little was taken off that the corrosion cannot have been more than light."""
        return depth_grade(self.removed) is DepthGrade.LIGHT


@dataclass(frozen=True)
class LevelAnswer:
    """A level, and why."""

    level: ProgrammeLevel
    reasons: list[str]


def location_history(removal: MemberRemoval, at: Point) -> list[Inspection] | None:
    """Totals per inspection at one place, the oldest first.

    Parameters
    ----------
    removal : MemberRemoval
        Of everything done so far; planned removals have no date and must not be in it.
    at : tuple of float
        (station, offset), mm.

    Returns
    -------
    list of Inspection or None
        None where a removal that reaches the place has no date: its inspection is not known.
    """
    reached = [line.entry_id for line in removal.spot(at).ledger]
    here = [entry for entry in removal.entries if entry.id in reached]
    dates = sorted({entry.date for entry in here if entry.date is not None})
    if any(entry.date is None for entry in here):
        return None
    history: list[Inspection] = []
    before, u_before = 0.0, 0.0
    for date in dates:
        done = [entry for entry in here if str(entry.date) <= date]
        inspection, u = _inspection(removal, done, date, at, (before, u_before))
        history.append(inspection)
        before, u_before = inspection.total, u
    return history


def _inspection(
    removal: MemberRemoval, done: list[Entry], date: str, at: Point, before: tuple[float, float]
) -> tuple[Inspection, float]:
    """Sum one inspection, and give the standard uncertainty of the sum."""
    spot = MemberRemoval(removal.layout, EntryList(done, []), removal.within_probability).spot(at)
    removed = spot.removed.value - before[0]
    # Errors that both sums share would cancel; counting them twice leans to the safe side.
    u_limit = float(removal.layout.u_limit_at(np.array([at]))[0])
    spread = math.hypot(spot.removed.u, before[1], u_limit)
    single = _against(removed, spread, spot.limit, removal.within_probability)
    entry = Inspection(date, removed, spot.removed.value, single, spot.verdict, spot.limit)
    return entry, spot.removed.u


def _against(value: float, u: float, limit: float | None, allowed: float) -> Verdict:
    if limit is None:
        return Verdict.NOT_DETERMINED
    if value > limit:
        return Verdict.OVER
    chance = float(exceedance(np.array([value]), np.array([u]), np.array([limit]))[0])
    return Verdict.WITHIN if chance <= allowed else Verdict.TOO_CLOSE


def programme_level(
    history: list[Inspection] | None, facts: MemberFacts | None, approach: ApproachShare | None = None
) -> LevelAnswer:
    """Give the programme level of corrosion at one place.

    Parameters
    ----------
    history : list of Inspection or None
        From `location_history`.
    facts : MemberFacts or None
        What a person states: local or widespread, an unusual event, urgency.
    approach : ApproachShare or None
        From which share of the limit a removal approaches it; the source gives none.
    """
    if facts is not None and facts.urgent:
        return _level(ProgrammeLevel.THREE, f"Stated as an urgent concern by {facts.source}.")
    lacking = _lacking(history)
    if lacking or not history:
        return _open(lacking)
    return _by_sums(history, facts, approach)


def _lacking(history: list[Inspection] | None) -> str:
    """Say what the history lacks; empty where it can be judged."""
    if history is None:
        return "A removal here has no date, so its inspection is not known: date it."
    if not history:
        return "Nothing was removed here yet, so there is no sum to judge."
    return "No limit is set here." if history[-1].limit is None else ""


def _by_sums(
    history: list[Inspection], facts: MemberFacts | None, approach: ApproachShare | None
) -> LevelAnswer:
    latest = history[-1]
    if latest.single is Verdict.OVER:
        return _single_over(facts)
    if Verdict.TOO_CLOSE in {latest.single, latest.cumulative}:
        return _open("The sum is too close to the limit to call: measure better.")
    if latest.cumulative is Verdict.OVER:
        return _sum_over(history, facts)
    return _within(latest, facts, approach)


def _single_over(facts: MemberFacts | None) -> LevelAnswer:
    """Judge a single rework beyond the limit."""
    if facts is not None and facts.unusual_event and facts.widespread is False:
        event = facts.unusual_event
        return _level(
            ProgrammeLevel.ONE,
            f"Beyond the limit, but local, from an event not typical of the fleet: {event}.",
        )
    return _level(ProgrammeLevel.TWO, "A single rework goes beyond the limit.")


def _sum_over(history: list[Inspection], facts: MemberFacts | None) -> LevelAnswer:
    """Judge a sum beyond the limit of which the latest rework alone is within it."""
    stated = facts.light_each_time if facts is not None else None
    if stated or (stated is None and all(one.surely_light for one in history)):
        return _level(
            ProgrammeLevel.ONE,
            f"Light corrosion at each of {len(history)} inspections; only their sum is beyond the limit.",
        )
    if stated is None:
        return _open("The sum is beyond the limit; state whether the corrosion was light each time.")
    return _open("The sum is beyond the limit and the corrosion was not light each time: engineering.")


def _within(latest: Inspection, facts: MemberFacts | None, approach: ApproachShare | None) -> LevelAnswer:
    """Judge a sum within the limit."""
    widespread = facts.widespread if facts is not None else None
    if widespread is None:
        return _open("State whether the corrosion is local or widespread.")
    if not widespread:
        return _level(ProgrammeLevel.ONE, "Local, and removed within the limit.")
    if approach is None or latest.limit is None:
        return _open(
            "Widespread; the source does not say when a removal approaches the limit: set a share."
        )
    if latest.removed >= approach.share * latest.limit:
        words = f"Widespread, and a single rework approaches the limit ({approach.share:.0%} of it, "
        return _level(ProgrammeLevel.TWO, f"{words}{approach.source}).")
    return _open(
        "Widespread, within the limit and not approaching it: no definition covers it, engineering."
    )


def _level(level: ProgrammeLevel, reason: str) -> LevelAnswer:
    return LevelAnswer(level, [reason, f"Levels after {SOURCE}."])


def _open(reason: str) -> LevelAnswer:
    return LevelAnswer(ProgrammeLevel.NOT_DETERMINED, [reason])
