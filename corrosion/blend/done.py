"""After the work: the blend-out that was made against the one that was planned."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from corrosion.layout import MemberLayout
from corrosion.model import Removal, RunOut, SurveyFile
from corrosion.removal import Entry, MemberRemoval, collect_entries
from corrosion.removal.chains import exceedance
from corrosion.removal.entries import shape_on_layout
from corrosion.removal.profiles import FlatProfile
from corrosion.results import Finding, Spot
from corrosion.terms import Flag, Origin, Verdict

LEAST_COVERED = 0.3
"""Share of a plan's footprint that blend-outs must cover to count as its work (this program's choice)."""


@dataclass(frozen=True)
class SlopeCheck:
    """A blend-out's run-out against the planned ratio.

    Attributes
    ----------
    room : float
        Run-out that the narrowest part of the outline has room for on each side, mm.
    needed : float
        Run-out of one side that the ratio asks for at its depth, mm.
    stands : Verdict
        *over*: steeper than the ratio by best estimate; *too close to call* within the uncertainty of
        depth and outline; *not determined* where the profile says nothing of the run-out.
    """

    entry_id: str
    room: float
    needed: float
    stands: Verdict
    words: str


@dataclass(frozen=True)
class DoneBlend:
    """A planned removal that the survey keeps, and what was made of it.

    `actual` is empty while nothing was done: the plan still stands. Otherwise the blend-outs replace it,
    and the differences are actual less planned: deepest depth in mm, area in mm2, and the planned area
    that they leave uncovered.
    """

    planned: Removal
    actual: list[str]
    depth_difference: float | None
    area_difference: float | None
    uncovered_mm2: float | None
    after: Spot | None


def compare_done(layout: MemberLayout, survey: SurveyFile, findings: list[Finding]) -> list[DoneBlend]:
    """Hold the planned removals that the survey keeps against the blend-outs that were made.

    Parameters
    ----------
    layout : MemberLayout
    survey : SurveyFile
        In millimetres.
    findings : list of Finding
        Of the whole survey.

    Raises
    ------
    RemovalError
        If a removal contradicts itself.
    """
    listed = collect_entries(layout.member.id, survey, findings)
    removal = MemberRemoval(layout, listed, survey.settings.within_probability)
    return [
        _compare(record, removal)
        for record in survey.removals
        if record.member == layout.member.id and record.origin is Origin.PLANNED
    ]


def _compare(record: Removal, removal: MemberRemoval) -> DoneBlend:
    plan = shape_on_layout(record.footprint, place=f"removal {record.id!r}")
    made = [
        entry
        for entry in removal.entries
        if entry.origin is Origin.SURVEY and entry.face is record.face and entry.footprint.intersects(plan)
    ]
    covered = shapely.union_all([entry.footprint for entry in made])
    if not made or plan.intersection(covered).area < LEAST_COVERED * plan.area:
        return DoneBlend(record, [], None, None, None, None)
    deepest = max(made, key=lambda entry: entry.depth)
    return DoneBlend(
        planned=record,
        actual=[entry.id for entry in made],
        depth_difference=deepest.depth - record.depth.value,
        area_difference=float(covered.area - plan.area),
        uncovered_mm2=float(plan.difference(covered).area),
        after=removal.spot(deepest.profile.deepest),
    )


def check_slopes(entries: list[Entry], run_out: RunOut) -> list[SlopeCheck]:
    """Find blend-outs that are steeper than a ratio.

    Parameters
    ----------
    entries : list of Entry
        Entries of this survey's blend-outs are looked at, others left out.
    run_out : RunOut
        The ratio that the plan keeps.
    """
    return [_slope(entry, run_out) for entry in entries if entry.origin is Origin.SURVEY]


def _slope(entry: Entry, run_out: RunOut) -> SlopeCheck:
    room, needed = _room(entry.footprint), run_out.side * entry.depth
    # The room grows with the square root of the outline's area.
    u = math.hypot(run_out.side * math.hypot(entry.u, entry.u_systematic), room * entry.area_u_share / 2.0)
    lacking = needed - room
    if lacking > 0.0:
        words = "Steeper than the ratio: its outline has no room for the run-out at its depth."
        return SlopeCheck(entry.id, room, needed, Verdict.OVER, words)
    if isinstance(entry.profile, FlatProfile):
        words = "Its profile is given as flat, which says nothing of the run-out; state dished or faired."
        return SlopeCheck(entry.id, room, needed, Verdict.NOT_DETERMINED, words)
    if Flag.RUN_OUT_DOES_NOT_FIT in entry.flags or _stated_reach(entry) < needed * (1.0 - 1e-9):
        words = "Steeper than the ratio: its own stated run-out is shorter."
        return SlopeCheck(entry.id, room, needed, Verdict.OVER, words)
    chance = float(exceedance(np.array([lacking]), np.array([u]), np.array([0.0]))[0])
    if chance > 0.05:
        words = "Too close to call: depth and outline are not known well enough to tell its slope."
        return SlopeCheck(entry.id, room, needed, Verdict.TOO_CLOSE, words)
    return SlopeCheck(entry.id, room, needed, Verdict.WITHIN, "No steeper than the ratio.")


def _room(outline: Polygon) -> float:
    """Radius of the largest circle in an outline, mm."""
    tolerance = 1e-4 * math.sqrt(outline.area)
    return float(shapely.maximum_inscribed_circle(outline, tolerance=tolerance).length)


def _stated_reach(entry: Entry) -> float:
    """Run-out that a faired entry states, mm; unbounded for others."""
    return float(getattr(entry.profile, "reach", math.inf))
