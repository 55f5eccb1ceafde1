"""When a pit's depth would use up the removal that is still allowed at its place.

A limit is on metal removed, not on the depth of a pit. Blending a pit away takes its depth at least, and
the clean-up allowance where one is stated, on top of what was removed there before. So the pit reaches the
limit when ``removed + allowance + depth = limit``. With the depth growing evenly, at the rate between two
surveys, that is after the time ``(limit - removed - allowance - depth) / rate``, the ratio of two related
normal estimates, whose confidence set Fieller's theorem gives (`ratio.fieller`).

Corrosion need not grow evenly: it stops when dried and protected, and runs away under a broken finish. The
date is an aid for choosing when to look again, not a time until which nothing need be done.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Point as ShapelyPoint
from shapely.geometry.base import BaseGeometry

from corrosion.compare.growth import Terms, named_depth
from corrosion.compare.ratio import RatioSet, SetKind, fieller
from corrosion.compare.removed import deepest_points, grid_over
from corrosion.compare.results import Ends, Forecast, Growth, Reach, Shown
from corrosion.compare.shares import covariance, of_survey
from corrosion.quantity import FloatArray, Measured, exact, total
from corrosion.removal import MemberRemoval
from corrosion.results import Finding, ReadingCheck, Spot
from corrosion.terms import Flag

DAYS_PER_YEAR = 365.25
MOST_YEARS = 100.0
"""Farther ahead a date says nothing about a structure (a choice of ours); that end is left open."""

_NOT_ESTABLISHED = "no date: growth is not established"
_SHRUNK = "no date: the depth came out smaller; metal does not grow back, so check both readings"


@dataclass(frozen=True)
class Place:
    """One member of the later survey, where limits are judged."""

    removal: MemberRemoval
    readings: list[ReadingCheck]


def forecast(
    finding: Finding, growth: Growth | None, place: Place, terms: Terms, later: dt.date
) -> Forecast:
    """Say when a pit would reach the limit at its place.

    Parameters
    ----------
    finding : Finding
        The pit in the later survey, with an outline.
    growth : Growth or None
        Of its depth.
    place : Place
    terms : Terms
    later : date
        Of the later survey.

    Returns
    -------
    Forecast
        Never one bare date: an interval, one open end, or the reason why there is neither.
    """
    if finding.outline is None or finding.outline.is_empty:
        return Forecast(Reach.NO_DATE, reason="no date: it is not placed on the layout")
    if finding.depth is None:
        return Forecast(Reach.NO_DATE, reason="no date: no depth was read this time")
    spot = worst_place(finding.outline, place)
    start = Forecast(Reach.NO_DATE, spot=spot, allowance=_allowance(terms))
    hindered = _hindrance(finding, place, spot)
    if hindered:
        return replace(start, reason=f"no date: {hindered}")
    left = _left(finding, spot, place, terms)
    start = replace(start, left=left)
    if left.value <= 0.0:
        return replace(start, reach=Reach.REACHED, reason=_reached(left))
    doubt = _doubt(left, growth)
    if doubt or growth is None:
        return replace(start, reason=f"no date: {doubt}")
    return _dated(start, left, growth, terms, later)


def _doubt(left: Measured, growth: Growth | None) -> str:
    """Say why the depths carry no date; empty where they do."""
    if growth is None:
        return "its depth was not read in both surveys"
    if Flag.INDICATIVE in left.flags | growth.difference.flags:
        return "a depth read from light or focus cannot give one"
    if math.isnan(left.u) or math.isnan(growth.difference.u):
        return "an uncertainty is not known"
    return ""


def worst_place(outline: BaseGeometry, place: Place) -> Spot:
    """Spot inside an outline with the least left to give; one without a limit counts as the worst."""
    points = _points_in(outline, place.removal)
    margin = place.removal.field(points).margin
    worst = points[int(np.argmin(np.where(np.isnan(margin), -np.inf, margin)))]
    spots = [place.removal.spot((float(worst[0]), float(worst[1])))]
    spots += [check.spot for check in place.readings if outline.intersects(ShapelyPoint(check.reading.at))]
    return min(spots, key=lambda spot: -math.inf if spot.margin is None else spot.margin)


def _points_in(outline: BaseGeometry, removal: MemberRemoval) -> FloatArray:
    """Points of an outline on the member: its corners, a grid, and where sums may be deepest."""
    middle = outline.representative_point()
    deepest = deepest_points(removal)
    near = deepest[shapely.intersects_xy(outline, deepest[:, 0], deepest[:, 1])]
    corners = shapely.get_coordinates(outline)[:, :2]
    found = np.concatenate([np.array([[middle.x, middle.y]]), corners, grid_over(outline), near])
    on_member = removal.layout.contains(found)
    return np.asarray(found[on_member] if on_member.any() else found[:1])


def _allowance(terms: Terms) -> float:
    stated = terms.later.planning.allowance
    return stated.depth if stated is not None else 0.0


def _hindrance(finding: Finding, place: Place, spot: Spot) -> str:
    outline = finding.outline
    unknown = [
        blend.id
        for blend, _ in place.removal.undetermined
        if blend.outline is not None and outline is not None and blend.outline.intersects(outline)
    ]
    if unknown:
        return f"blend-out {unknown[0]} over it cannot be summed, so what is left is not known"
    if spot.limit is None:
        return "no limit is set there"
    return ""


def _left(finding: Finding, spot: Spot, place: Place, terms: Terms) -> Measured:
    """Give the growth in depth that is left until the limit, mm."""
    depth = named_depth(finding, "later", terms)
    u_limit = float(place.removal.layout.u_limit_at(np.array([spot.at]))[0])
    limit = Measured(spot.limit or 0.0, "mm", {"limit": np.array([u_limit])})
    removed = of_survey(spot.removed, "later", terms.common, "removed")
    assert depth is not None  # noqa: S101 -- `forecast` has looked
    parts = [limit, removed.scaled(-1.0), depth.scaled(-1.0), exact(-_allowance(terms), "mm")]
    return total(parts, "mm")


def _reached(left: Measured) -> str:
    clear = left.value < -2.0 * left.u
    return (
        "blending the pit away takes at least all that may still come off here"
        if clear
        else "reached by the best estimate, but within its uncertainty: measure better before deciding"
    )


def _dated(start: Forecast, left: Measured, growth: Growth, terms: Terms, later: dt.date) -> Forecast:
    """Turn the ratio's confidence set into dates."""
    grown = growth.difference
    times = fieller(
        left.value, grown.value, (left.u**2, grown.u**2), covariance(left, grown), level=terms.level
    )
    sooner, longer = _open(left, grown)
    ends = _ends(times, sooner=sooner, longer=longer)
    years: Ends = (
        None if ends[0] is None else max(ends[0] * terms.years, 0.0),
        None if ends[1] is None or ends[1] * terms.years > MOST_YEARS else ends[1] * terms.years,
    )
    if growth.shown is Shown.SMALLER:
        years = (None, None)
        reach, reason = Reach.NO_DATE, _SHRUNK
    elif growth.shown is not Shown.LARGER and (sooner or not longer):
        years = (years[0], None)
        reach, reason = Reach.NO_DATE, _no_date(years[0])
    elif years[0] is None and years[1] is None:
        reach, reason = Reach.NO_DATE, "no date: bounds alone say neither how soon nor how late"
    else:
        reach = _reach(years)
        reason = _reach_words(reach, longer=longer)
    return replace(
        start,
        reach=reach,
        years=years,
        earliest=_day(later, years[0], up=False),
        latest=_day(later, years[1], up=True),
        spans=_spans(years, terms.years),
        reason=reason,
    )


def _open(left: Measured, grown: Measured) -> tuple[bool, bool]:
    """Whether bounds leave the limit to come sooner, or later, than the values alone say.

    What is left is limit minus depth: a depth "at least" makes it an "at most", and is passed on so.
    """
    sooner = Flag.LOWER_BOUND in left.flags or Flag.LOWER_BOUND in grown.flags
    longer = Flag.UPPER_BOUND in left.flags or Flag.UPPER_BOUND in grown.flags
    return sooner, longer


def _ends(times: RatioSet, *, sooner: bool, longer: bool) -> Ends:
    low = times.low if times.kind is SetKind.BETWEEN else max(times.high, 0.0)
    if times.kind is SetKind.EVERYTHING or (times.kind is SetKind.OUTSIDE and times.low >= 0.0):
        low = 0.0
    high = times.high if times.kind is SetKind.BETWEEN else None
    return None if sooner else low, None if longer else high


def _no_date(low: float | None) -> str:
    if low is not None and low > 0.0:
        return _NOT_ESTABLISHED
    return f"{_NOT_ESTABLISHED}, nor is it ruled out that the limit is near"


def _reach(years: Ends) -> Reach:
    if years[0] is None:
        return Reach.NO_LATER
    return Reach.NOT_BEFORE if years[1] is None else Reach.BETWEEN


def _reach_words(reach: Reach, *, longer: bool) -> str:
    """Say why an end is open; empty where none is."""
    if reach is Reach.NO_LATER:
        return "a depth is only a bound, so it may be any time sooner"
    if reach is Reach.NOT_BEFORE and longer:
        return "a depth is only a bound, so it may be any time later"
    return f"the late end is more than {MOST_YEARS:g} years off" if reach is Reach.NOT_BEFORE else ""


def _day(later: dt.date, years: float | None, *, up: bool) -> dt.date | None:
    """Date so many years after the later survey, rounded outwards to whole days."""
    if years is None:
        return None
    days = min(years, MOST_YEARS) * DAYS_PER_YEAR
    try:
        return later + dt.timedelta(days=math.ceil(days) if up else math.floor(days))
    except OverflowError:
        return None


def _spans(years: Ends, between: float) -> float | None:
    ends = [end for end in years if end is not None]
    return max(ends) / between if ends else None
