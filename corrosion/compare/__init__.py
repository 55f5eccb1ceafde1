"""Two surveys of one structure, compared: what grew, how fast, what is new, what nobody looked at again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from corrosion.compare.classify import (
    Side,
    blended_by,
    judged,
    matched,
    merged,
    unmatched_earlier,
    unmatched_later,
)
from corrosion.compare.forecast import DAYS_PER_YEAR, Place, forecast
from corrosion.compare.growth import Terms, growths
from corrosion.compare.matching import match_findings
from corrosion.compare.ratio import critical
from corrosion.compare.removed import Sum, member_change
from corrosion.compare.results import (
    CHANGE_MEANING,
    Change,
    Comparison,
    FindingChange,
    Forecast,
    Growth,
    MemberChange,
    Reach,
    Shown,
)
from corrosion.compare.shares import common_instruments
from corrosion.errors import CompareError
from corrosion.model import SurveyFile
from corrosion.removal import MemberRemoval, collect_entries
from corrosion.results import Assessment
from corrosion.survey import member_layouts
from corrosion.terms import MarkKind

__all__ = [
    "CHANGE_MEANING",
    "Change",
    "Comparison",
    "FindingChange",
    "Forecast",
    "Growth",
    "MemberChange",
    "Reach",
    "Shown",
    "compare",
    "compare_all",
    "survey_day",
]

LEVEL = 0.05
"""Significance level where none is stated: two-sided, so 2.5 % of things that did not grow look grown."""

Removals = Callable[[str], MemberRemoval]


def compare(
    earlier: Assessment,
    later: Assessment,
    *,
    level: float = LEVEL,
    removals: tuple[Removals, Removals] | None = None,
) -> Comparison:
    """Compare two surveys of one structure.

    Findings are matched by kind, member, face and place (`matching`); growth is the later value minus the
    earlier one, where one instrument's systematic part cancels (`shares`); dates assume even growth
    (`forecast`). What no photo of the later survey shows is *not seen this time*, never gone.

    Parameters
    ----------
    earlier, later : Assessment
        In order of date.
    level : float
        Two-sided significance level; intervals have the coverage 1 - level.
    removals : pair of callable, optional
        Give the removal of a member of either survey, where they are at hand already.

    Returns
    -------
    Comparison
        Findings in the order in which they matter; the order of findings in the surveys does not.

    Raises
    ------
    CompareError
        If a date is missing, the dates are equal or reversed, or the structures are not the same.
    """
    _check_structure(earlier.survey, later.survey)
    before_day, after_day = _days(earlier.survey, later.survey)
    years = (after_day - before_day).days / DAYS_PER_YEAR
    _check_level(level)
    common = common_instruments(earlier.survey, later.survey)
    terms = Terms(earlier.survey, later.survey, years, level, common)
    given = removals or (_removals(earlier), _removals(later))
    shared = _shared_members(earlier, later)
    sums = [{one: give(one) for one in shared} for give in given]
    before, after = (
        Side.of(survey, {name: removal.entries for name, removal in of.items()})
        for survey, of in zip((earlier, later), sums, strict=True)
    )
    return Comparison(
        earlier=earlier.survey.survey,
        later=later.survey.survey,
        earlier_date=before_day,
        later_date=after_day,
        years=years,
        level=level,
        findings=sorted(_findings(before, after, sums[1], terms, after_day), key=_matter),
        members=_members(earlier, later, (sums[0], sums[1]), terms),
        problems=_problems(earlier.survey, later.survey, common),
    )


def compare_all(assessments: Sequence[Assessment], *, level: float = LEVEL) -> list[Comparison]:
    """Compare three or more surveys, each with the one before it; with more than two also last and first.

    Raises
    ------
    CompareError
        See `compare`; fewer than two surveys are refused too.
    """
    if len(assessments) < 2:
        raise CompareError(
            f"{len(assessments)} survey is nothing to compare.", remedy="Name two or more, oldest first."
        )
    steps = [compare(one, other, level=level) for one, other in pairwise(assessments)]
    if len(assessments) > 2:
        steps.append(compare(assessments[0], assessments[-1], level=level))
    return steps


def survey_day(survey: SurveyFile) -> dt.date:
    """Day of a survey.

    Raises
    ------
    CompareError
        If it has none, or one that is no calendar date.
    """
    name = f"survey {survey.survey.name!r}"
    given = survey.survey.date
    if not given:
        raise CompareError(
            "it has no date.", place=name, remedy="Enter the day it was made: a rate needs both days."
        )
    try:
        return dt.date.fromisoformat(given)
    except ValueError as error:
        raise CompareError(
            f"its date {given!r} is not a calendar day.", place=name, remedy="Write it as 2031-04-17."
        ) from error


def _days(earlier: SurveyFile, later: SurveyFile) -> tuple[dt.date, dt.date]:
    before, after = survey_day(earlier), survey_day(later)
    if before == after:
        raise CompareError(
            f"both surveys are of {before}: no time passed, so there is no rate.",
            remedy="Correct the date of one, or compare surveys of different days.",
        )
    if before > after:
        raise CompareError(
            f"the survey named first is of {before}, the second of {after}: they are in the wrong order.",
            remedy="Name the earlier survey first.",
        )
    return before, after


def _check_level(level: float) -> None:
    try:
        critical(level)
    except ValueError as error:
        raise CompareError(
            f"the significance level {level:g} is not between 0 and 1.", remedy="Usual is 0.05."
        ) from error


def _check_structure(earlier: SurveyFile, later: SurveyFile) -> None:
    before, after = earlier.structure, later.structure
    if before.serial and after.serial and before.serial != after.serial:
        raise CompareError(
            f"the surveys are of different structures: serial {before.serial!r} and {after.serial!r}.",
            remedy="Compare two surveys of one structure.",
        )
    if not {m.id for m in before.members} & {m.id for m in after.members}:
        raise CompareError(
            f"the structures {before.name!r} and {after.name!r} have no member in common.",
            remedy="Compare two surveys of one structure; its members keep their ids.",
        )


def _removals(assessment: Assessment) -> Removals:
    """Give the removal of a member without summing it up all over again: only single places are asked."""
    survey = assessment.survey
    layouts = member_layouts(survey)

    def give(member: str) -> MemberRemoval:
        listed = collect_entries(member, survey, assessment.findings)
        return MemberRemoval(layouts[member], listed, survey.settings.within_probability)

    return give


def _shared_members(earlier: Assessment, later: Assessment) -> list[str]:
    names = {one.member.id for one in earlier.members}
    return [one.member.id for one in later.members if one.member.id in names]


def _findings(
    before: Side, after: Side, removals: dict[str, MemberRemoval], terms: Terms, day: dt.date
) -> list[FindingChange]:
    matches = match_findings(before.findings, after.findings)
    joined = merged(before, after, matches)
    rows = []
    for pair in matches.pairs:
        start = matched(pair, joined.get(pair.later, []), before, after)
        rows.append(_grown(start, before, after, removals, terms, day))
    alone = unmatched_later(before, after, matches)
    rows += [_with_forecast(row, after, removals, terms, day) for row in alone]
    return rows + unmatched_earlier(before, after, matches, joined)


def _grown(
    start: FindingChange,
    before: Side,
    after: Side,
    removals: dict[str, MemberRemoval],
    terms: Terms,
    day: dt.date,
) -> FindingChange:
    """Compare the measures of a matched row and look ahead."""
    later = start.later
    assert later is not None  # noqa: S101 -- a pair has both
    found, notes = growths(list(start.earlier), later, terms)
    blend = blended_by(later, before, after)
    if blend is not None:
        found = [one for one in found if one.quantity != "depth"]
        notes.append(f"blend-out {blend.id} lies over it: its depth may count from the blended surface")
    row = judged(start, found, notes)
    return row if blend is not None else _with_forecast(row, after, removals, terms, day)


def _with_forecast(
    row: FindingChange,
    after: Side,
    removals: dict[str, MemberRemoval],
    terms: Terms,
    day: dt.date,
) -> FindingChange:
    """Look ahead for a pit; one seen once has no rate, but may have reached its limit."""
    later = row.later
    if later is None or later.kind is not MarkKind.PIT or later.member_id not in removals:
        return row
    assessed = next(one for one in after.assessment.members if one.member.id == later.member_id)
    place = Place(removals[later.member_id], assessed.readings)
    return replace(row, forecast=forecast(later, row.growth("depth"), place, terms, day))


def _members(
    earlier: Assessment,
    later: Assessment,
    sums: tuple[dict[str, MemberRemoval], dict[str, MemberRemoval]],
    terms: Terms,
) -> list[MemberChange]:
    before = {one.member.id: one for one in earlier.members}
    after = {one.member.id: one for one in later.members}
    return [
        member_change(Sum(before[name], sums[0][name]), Sum(after[name], sums[1][name]), terms)
        for name in sums[0]
    ]


def _problems(earlier: SurveyFile, later: SurveyFile, common: dict[str, str]) -> list[str]:
    problems = []
    if earlier.structure.name != later.structure.name:
        problems.append(
            f"the structure is called {earlier.structure.name!r} in the earlier survey and "
            f"{later.structure.name!r} in the later one; make sure that it is the same."
        )
    before, after = ({m.id for m in one.structure.members} for one in (earlier, later))
    problems += [f"member {name} is only in the earlier survey." for name in sorted(before - after)]
    problems += [f"member {name} is only in the later survey." for name in sorted(after - before)]
    problems += [
        f"instrument {why}: its systematic part does not cancel." for why in common.values() if why
    ]
    return problems


def _matter(row: FindingChange) -> tuple[bool, int, float, float, str]:
    """Order rows: at the limit first, then by what became of them, soonest limit, fastest growth."""
    ahead = row.forecast
    soonest = ahead.years[0] if ahead and ahead.years[0] is not None else float("inf")
    depth = row.growth("depth")
    rate = depth.per_year.value if depth else 0.0
    reached = ahead is not None and ahead.reach is Reach.REACHED
    return not reached, list(Change).index(row.change), soonest, -rate, row.key
