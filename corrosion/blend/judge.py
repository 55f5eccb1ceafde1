"""Judging planned blends: the sum after them, its verdict, how deep the bench may go, conflicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.special import ndtri
from shapely.geometry.base import BaseGeometry

from corrosion.blend.conflicts import Surroundings, find_conflicts
from corrosion.blend.places import Extent, Places, choose_places
from corrosion.blend.results import PlannedBlend, Site, ratio_words
from corrosion.blend.stop import stop_depths
from corrosion.model import Removal, RunOut, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.removal import Entry, MemberRemoval
from corrosion.removal.chains import IntArray
from corrosion.results import Point, Spot
from corrosion.terms import VERDICT_ORDER, Flag, MeasuredFrom, Verdict, worst_verdict
from corrosion.units import LengthUnit, show_length

_FROM_ORIGINAL = (
    "No earlier removal reaches this corrosion, so the surface round it is the original contour: the depth "
    "counts from there, and overlapping dishes do not add."
)
_FROM_CURRENT = (
    "An earlier removal reaches this corrosion, and its depth was read from the surface as found: the "
    "depth counts from there and adds to what is gone."
)


@dataclass(frozen=True)
class Draft:
    """A blend before it is judged."""

    removal: Removal
    entry: Entry
    floor: BaseGeometry
    sites: list[Site]


@dataclass(frozen=True)
class _Seen:
    """What was seen of one blend: worst place, verdict there, stop depth and the place that sets it."""

    worst: Point
    verdict: Verdict
    stop_depth: float | None
    stop_at: Point | None


def judge_blends(
    drafts: list[Draft], earlier: list[Entry], after: MemberRemoval, survey: SurveyFile
) -> list[PlannedBlend]:
    """Judge the blends of one member.

    Parameters
    ----------
    drafts : list of Draft
    earlier : list of Entry
        What is gone already.
    after : MemberRemoval
        The sums with all blends done.
    survey : SurveyFile
        In millimetres.
    """
    if not drafts:
        return []
    around = Surroundings(
        layout=after.layout,
        planning=survey.planning,
        entries=after.entries,
        planned=frozenset(draft.entry.id for draft in drafts),
        shown=survey.display_units or survey.units,
    )
    seen = _look(drafts, earlier, after)
    return [_blend(draft, one, after, around) for draft, one in zip(drafts, seen, strict=True)]


def _look(drafts: list[Draft], earlier: list[Entry], after: MemberRemoval) -> list[_Seen]:
    extents = [Extent(draft.floor, draft.entry) for draft in drafts]
    places = choose_places(after.layout, extents, after.entries, lambda at: _excess(after, at)[0])
    excess, codes = _excess(after, places.points)
    # An index into VERDICT_ORDER outranks any excess in mm.
    worst = places.worst(1e6 * codes + excess, len(drafts))
    stops = stop_depths(
        after.layout, earlier, [draft.entry for draft in drafts], places, after.within_probability
    )
    return [
        _Seen(
            worst=_point(places, int(at)),
            verdict=VERDICT_ORDER[int(codes[at])],
            stop_depth=None if np.isnan(stop) else float(stop),
            stop_at=None if np.isnan(stop) else _point(places, int(sets)),
        )
        for at, stop, sets in zip(worst, stops.depth, stops.place, strict=True)
    ]


def standing(removal: MemberRemoval, entries: list[Entry]) -> list[tuple[Spot, Verdict]]:
    """Worst place of each of a member's entries, and the verdict on the sum over its footprint."""
    if not entries:
        return []
    extents = [Extent(entry.footprint, entry) for entry in entries]
    places = choose_places(removal.layout, extents, removal.entries, lambda at: _excess(removal, at)[0])
    excess, codes = _excess(removal, places.points)
    worst = places.worst(1e6 * codes + excess, len(entries))
    return [(removal.spot(_point(places, int(at))), VERDICT_ORDER[int(codes[at])]) for at in worst]


def _excess(after: MemberRemoval, points: FloatArray) -> tuple[FloatArray, IntArray]:
    """How far a sum, at the edge of what counts as proven, is beyond its limit, mm; and its verdict."""
    seen = after.field(points)
    sure = seen.removed + float(ndtri(1.0 - after.within_probability)) * seen.u
    return sure - np.nan_to_num(seen.limit, nan=0.0), seen.verdict


def _point(places: Places, index: int) -> Point:
    station, offset = places.points[index]
    return float(station), float(offset)


def _blend(draft: Draft, seen: _Seen, after: MemberRemoval, around: Surroundings) -> PlannedBlend:
    original = draft.removal.measured_from is MeasuredFrom.ORIGINAL
    unknown = _unknown_below(draft, after)
    verdict = worst_verdict([seen.verdict, Verdict.NOT_DETERMINED]) if unknown else seen.verdict
    run_out = draft.removal.run_out or RunOut(per_side=1.0)
    after_spot = after.spot(seen.worst)
    return PlannedBlend(
        removal=draft.removal,
        entry=draft.entry,
        sites=draft.sites,
        floor=draft.floor,
        footprint=draft.entry.footprint,
        depth=draft.entry.depth,
        run_out=run_out,
        why_from=_FROM_ORIGINAL if original else _FROM_CURRENT,
        after=after_spot,
        verdict=verdict,
        stop_depth=seen.stop_depth,
        stop_at=seen.stop_at,
        conflicts=find_conflicts(draft.entry, draft.sites, around),
        notes=[*unknown, *_notes(draft, run_out, after_spot.removed.flags, around.shown)],
        flags=draft.entry.flags,
    )


def _unknown_below(draft: Draft, after: MemberRemoval) -> list[str]:
    """Say which blend-outs that cannot be summed may lie where this blend is planned."""
    return [
        f"Blend-out {finding.id} may lie here and cannot be summed: {why}."
        for finding, why in after.undetermined
        if finding.outline is None or shapely.intersects(finding.outline, draft.entry.footprint)
    ]


def _notes(draft: Draft, run_out: RunOut, flags: frozenset[Flag], shown: LengthUnit) -> list[str]:
    reach = show_length(run_out.side * draft.entry.depth, shown)
    notes = [f"Run-out {ratio_words(run_out)}: {reach} from the floor to the outline."]
    if Flag.READING_GOVERNS in flags:
        notes.append("A thickness reading here shows more removed than the entries add up to.")
    if Flag.INDICATIVE in draft.entry.flags:
        notes.append(
            "The depth was read from light, not from metal: it cannot prove the sum within its limit."
        )
    return notes
