"""Growth of one quantity of a finding between two surveys, with its uncertainty and what it shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from corrosion.compare.ratio import critical
from corrosion.compare.results import Ends, Growth, Shown
from corrosion.compare.shares import cancelled, of_survey
from corrosion.model import Mark, SurveyFile
from corrosion.quantity import Measured, total
from corrosion.results import Finding
from corrosion.terms import Flag, MarkKind, MeasuredFrom

QUANTITIES = ("depth", "area", "length")


@dataclass(frozen=True)
class Terms:
    """What a comparison rests on.

    Attributes
    ----------
    years : float
        Between the surveys; positive.
    level : float
        Significance level, two-sided.
    common : dict
        From `shares.common_instruments`.
    """

    earlier: SurveyFile
    later: SurveyFile
    years: float
    level: float
    common: dict[str, str]


def growths(earlier: list[Finding], later: Finding, terms: Terms) -> tuple[list[Growth], list[str]]:
    """Compare every quantity that both surveys have of one thing.

    Parameters
    ----------
    earlier : list of Finding
        One, or several that merged: their areas add up, the deepest gives the depth.
    later : Finding
    terms : Terms

    Returns
    -------
    growths : list of Growth
    notes : list of str
        Why a quantity that both have is not compared.
    """
    found, notes = [], []
    why_not = _depth_hindrance(earlier, later, terms)
    for quantity in QUANTITIES:
        before, after = _earlier(earlier, quantity, terms), _of(later, quantity, "later", terms)
        if before is None or after is None:
            continue
        if quantity == "depth" and why_not:
            notes.append(why_not)
            continue
        found.append(growth_of(quantity, before, after, terms))
    return found, notes


def named_depth(finding: Finding, survey: str, terms: Terms) -> Measured | None:
    """Give a finding's depth with its error sources named by survey; see `shares.of_survey`."""
    return _of(finding, "depth", survey, terms)


def _of(finding: Finding, quantity: str, survey: str, terms: Terms) -> Measured | None:
    found = finding.depth if quantity == "depth" else finding.quantities.get(quantity)
    return None if found is None else of_survey(found, survey, terms.common, finding.id)


def _earlier(findings: list[Finding], quantity: str, terms: Terms) -> Measured | None:
    """Give the earlier value; of several that merged the deepest depth, or the sum of areas."""
    values = [_of(finding, quantity, "earlier", terms) for finding in findings]
    known = [value for value in values if value is not None]
    if not known:
        return None
    if quantity == "depth":
        return max(known, key=lambda value: value.value)
    if len(known) < len(values) or (quantity == "length" and len(values) > 1):
        return None
    return total(known, known[0].unit)


def _depth_hindrance(earlier: list[Finding], later: Finding, terms: Terms) -> str:
    """Say why two depths of a blend-out are no two looks at one depth; empty where they are."""
    if later.kind is not MarkKind.BLEND_OUT:
        return ""
    marks = [_mark(finding, terms.earlier) for finding in earlier] + [_mark(later, terms.later)]
    if all(mark is None or mark.measured_from is MeasuredFrom.ORIGINAL for mark in marks):
        return ""
    return (
        "the depths of these blend-outs count from the surface as found, which was not the same one: "
        "compare the thickness removed instead"
    )


def _mark(finding: Finding, survey: SurveyFile) -> Mark | None:
    photo_id, mark_id = finding.sources[0]
    marks = (mark for photo in survey.photos if photo.id == photo_id for mark in photo.marks)
    return next((mark for mark in marks if mark.id == mark_id), None)


def growth_of(quantity: str, earlier: Measured, later: Measured, terms: Terms) -> Growth:
    """Subtract an earlier value from a later one; both with sources named by `shares.of_survey`.

    A depth read as a bound, and the area of a mark cut off by the picture's border, are bounds; their
    difference is one, or nothing at all.

    Returns
    -------
    Growth
    """
    difference = total([later, earlier.scaled(-1.0)], later.unit)
    below, above = _bounded(earlier, later, quantity)
    flags = difference.flags - {Flag.LOWER_BOUND, Flag.UPPER_BOUND}
    flags |= {Flag.LOWER_BOUND} if below and not above else set()
    flags |= {Flag.UPPER_BOUND} if above and not below else set()
    difference = Measured(
        difference.value, difference.unit, difference.shared, difference.own, flags, difference.known
    )
    reach = critical(terms.level) * difference.u
    return Growth(
        quantity=quantity,
        earlier=earlier,
        later=later,
        difference=difference,
        per_year=difference.scaled(1.0 / terms.years),
        interval=_interval(difference.value, reach, terms.years, open_ends=(above, below)),
        shown=_shown(difference, reach, below=below, above=above),
        cancelled=cancelled(earlier, later, terms.common),
        note=_note(difference, below=below, above=above),
    )


def _bounded(earlier: Measured, later: Measured, quantity: str) -> tuple[bool, bool]:
    """Whether the difference is bounded from below, and from above, only."""
    low, high = {Flag.LOWER_BOUND}, {Flag.UPPER_BOUND}
    if quantity != "depth":
        low |= {Flag.TRUNCATED}
    below = bool(later.flags & low or earlier.flags & high)
    above = bool(later.flags & high or earlier.flags & low)
    return below, above


def _interval(value: float, reach: float, years: float, *, open_ends: tuple[bool, bool]) -> Ends:
    open_low, open_high = open_ends
    if math.isnan(reach):
        return None, None
    return (
        None if open_low else (value - reach) / years,
        None if open_high else (value + reach) / years,
    )


def _shown(difference: Measured, reach: float, *, below: bool, above: bool) -> Shown:
    if math.isnan(reach) or (below and above):
        return Shown.NOT_DETERMINED
    if difference.value > reach and not above:
        return Shown.LARGER
    if difference.value < -reach and not below:
        return Shown.SMALLER
    if below or above:
        return Shown.NOT_DETERMINED
    return Shown.UNCHANGED if abs(difference.value) <= difference.u else Shown.WITHIN_NOISE


def _note(difference: Measured, *, below: bool, above: bool) -> str:
    if not difference.known:
        return "one of the two has no uncertainty that could honestly be given"
    if below and above:
        return "both are bounds, and no bound of their difference follows"
    if below:
        return "at least this much: one of the two is only a bound"
    return "at most this much: one of the two is only a bound" if above else ""
