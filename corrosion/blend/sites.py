"""Which corrosion is to be blended out, how deep, and which cannot be planned."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import shapely

from corrosion.blend.results import Site
from corrosion.model import Mark, SurveyFile
from corrosion.model.planning import Allowance, Planning
from corrosion.quantity import Measured
from corrosion.removal import MemberRemoval
from corrosion.results import Finding
from corrosion.terms import Flag, MarkKind

CORROSION = frozenset({MarkKind.PIT, MarkKind.AFFECTED})


@dataclass(frozen=True)
class SiteList:
    """Sites, what cannot be planned with its reason, what a blend-out has taken out already, and notes."""

    sites: list[Site]
    undetermined: list[tuple[Finding, str]]
    blended: list[tuple[Finding, str]]
    notes: list[str]


def collect_sites(
    member_id: str, survey: SurveyFile, findings: list[Finding], now: MemberRemoval
) -> SiteList:
    """Gather the corrosion of one member that is to be blended out.

    A pit counts as taken out only where a blend-out that covers it says so: by the same feature name, or
    by a later date. Otherwise the blend-out is taken for older than the pit, which never hides removal.

    Parameters
    ----------
    survey : SurveyFile
        In millimetres.
    findings : list of Finding
        Of the whole survey.
    now : MemberRemoval
        The member's removals so far.
    """
    mine = [finding for finding in findings if finding.member_id == member_id]
    blend_outs = [finding for finding in mine if finding.kind is MarkKind.BLEND_OUT]
    pits = [finding for finding in mine if finding.kind is MarkKind.PIT]
    listed = SiteList([], [], [], [])
    for finding in mine:
        if finding.kind not in CORROSION:
            continue
        if _only_outlines_pits(finding, pits):
            listed.notes.append(
                f"Affected area {finding.id} has no depth of its own: only the pits in it are planned."
            )
            continue
        by = next((b for b in blend_outs if _took_out(b, finding, survey)), None)
        reason = _too_shallow(by, finding) if by else _why_not(finding, survey)
        if by is not None and not reason:
            listed.blended.append((finding, by.id))
        elif reason:
            listed.undetermined.append((finding, reason))
        else:
            listed.sites.extend(_site(finding, survey.planning.allowance, now))
    return listed


def _why_not(finding: Finding, survey: SurveyFile) -> str:
    """Say why corrosion cannot be planned; empty where it can."""
    return _depth_lacks(finding.depth) or _place_lacks(finding) or _planning_lacks(finding, survey.planning)


def _depth_lacks(depth: Measured | None) -> str:
    if depth is None:
        return "no depth was read; a photo alone never gives one"
    if not depth.known or math.isnan(depth.u):
        return "the uncertainty of its depth is not known"
    if Flag.LOWER_BOUND in depth.flags:
        return "its depth is only a lower bound, it may go deeper; read its depth"
    return ""


def _place_lacks(finding: Finding) -> str:
    if finding.outline is None:
        return "its photo is not placed on the layout"
    if finding.outline.is_empty:
        return "it lies off the member on the layout"
    return "" if finding.face is not None else "its photo does not say which face it shows"


def _planning_lacks(finding: Finding, planning: Planning) -> str:
    if planning.allowance is None:
        return "no clean-up allowance is set; set it with its source"
    if planning.run_out is None:
        return "no run-out ratio is set; set it with its source"
    if finding.depth is not None and planned_depth(finding.depth, planning.allowance) <= 0.0:
        return "its depth was read as zero, so there is nothing to plan"
    return ""


def _site(finding: Finding, allowance: Allowance | None, now: MemberRemoval) -> Iterator[Site]:
    """Make the site; nothing where `_why_not` has ruled it out."""
    if finding.depth is None or finding.face is None or finding.outline is None or allowance is None:
        return
    earlier = [e.footprint for e in now.entries if e.face is finding.face]
    yield Site(
        finding=finding,
        face=finding.face,
        outline=finding.outline,
        corrosion=finding.depth,
        depth=planned_depth(finding.depth, allowance),
        inside_earlier=bool(earlier and shapely.intersects(earlier, finding.outline).any()),
    )


def planned_depth(corrosion: Measured, allowance: Allowance) -> float:
    """Give the depth to plan for, mm: depth read, plus U (k = 2), plus the clean-up allowance."""
    return corrosion.value + corrosion.expanded + allowance.depth


def _took_out(blend_out: Finding, pit: Finding, survey: SurveyFile) -> bool:
    if blend_out.face is not pit.face or blend_out.outline is None or pit.outline is None:
        return False
    if not blend_out.outline.covers(pit.outline):
        return False
    blended, seen = list(_marks(blend_out, survey)), list(_marks(pit, survey))
    names = {mark.feature for mark in blended} & {mark.feature for mark in seen} - {None}
    dates = [_date(mark) for mark in blended]
    last_seen = [_date(mark) for mark in seen]
    later = all(dates) and all(last_seen) and min(map(str, dates)) > max(map(str, last_seen))
    return bool(names) or bool(later)


def _only_outlines_pits(affected: Finding, pits: list[Finding]) -> bool:
    """Whether an affected area without a depth holds pits, which are then planned instead."""
    outline = affected.outline
    if affected.kind is not MarkKind.AFFECTED or affected.depth is not None or outline is None:
        return False
    here = [pit for pit in pits if pit.face is affected.face and pit.outline is not None]
    return any(outline.intersects(pit.outline) for pit in here)


def _too_shallow(blend_out: Finding, pit: Finding) -> str:
    """Say that a blend-out went less deep than the pit it is meant to have taken out."""
    if blend_out.depth is None:
        return f"blend-out {blend_out.id} covers it, but has no depth; read it"
    if pit.depth is not None and blend_out.depth.value < pit.depth.value:
        return (
            f"blend-out {blend_out.id} covers it, but is less deep than it was; look again and re-measure"
        )
    return ""


def _marks(finding: Finding, survey: SurveyFile) -> Iterator[Mark]:
    named = set(finding.sources)
    for photo in survey.photos:
        yield from (mark for mark in photo.marks if (photo.id, mark.id) in named)


def _date(mark: Mark) -> str | None:
    return max([d for d in (mark.date, *(reading.date for reading in mark.depths)) if d], default=None)
