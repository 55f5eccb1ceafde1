"""The blend plan of a member, before any metal is touched (design.md section 5)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import Polygon

from corrosion.blend.conflicts import open_questions
from corrosion.blend.dish import Dish, DishRule, make_dishes
from corrosion.blend.judge import Draft, judge_blends
from corrosion.blend.results import MemberPlan, PlannedBlend, Site
from corrosion.blend.sites import SiteList, collect_sites
from corrosion.layout import MemberLayout
from corrosion.model import Depth, Member, PolygonShape, Removal, RunOut, SurveyFile
from corrosion.model.planning import Planning
from corrosion.removal import Entry, EntryList, MemberRemoval, collect_entries
from corrosion.removal.profiles import FlatProfile
from corrosion.removal.readings import check_reading
from corrosion.results import Finding
from corrosion.terms import Face, Flag, MeasuredFrom, Origin, ProfileKind

_INSTRUMENT = "instrument "
_PASSED_ON = frozenset({Flag.INDICATIVE, Flag.UPPER_BOUND})


def plan_member(layout: MemberLayout, survey: SurveyFile, findings: list[Finding]) -> MemberPlan:
    """Plan the blends of one member.

    Each pit is planned as deep as it was read, plus the expanded uncertainty of that depth (k = 2), plus
    the clean-up allowance. The planned depth is what a gauge is to read; the sum after the blend carries
    the uncertainty of the gauge that read the pit.

    Parameters
    ----------
    layout : MemberLayout
    survey : SurveyFile
        In millimetres; `survey.planning` has allowance, ratio and distances. Planned removals that the
        file holds are not counted: this plan takes their place.
    findings : list of Finding
        Of the whole survey.

    Returns
    -------
    MemberPlan
        Without an allowance or a ratio nothing is planned, and every pit is in `undetermined`.

    Raises
    ------
    RemovalError
        If a removal contradicts itself.
    """
    listed = collect_entries(layout.member.id, survey, findings)
    within = survey.settings.within_probability
    now = MemberRemoval(layout, listed, within)
    found = collect_sites(layout.member.id, survey, findings, now)
    dishes = _all_dishes(found.sites, survey.planning, layout.member)
    removals = [
        _removal(dish, sites, layout.member, survey.planning, number)
        for number, (dish, sites) in enumerate(dishes, start=1)
    ]
    planned = _entries(removals, dishes, survey, layout)
    earlier = [*now.entries, *_unaccounted(now, survey, planned)]
    after = MemberRemoval(layout, EntryList([*earlier, *planned], listed.undetermined), within)
    drafts = [Draft(r, e, d.floor, s) for r, e, (d, s) in zip(removals, planned, dishes, strict=True)]
    blends = judge_blends(drafts, earlier, after, survey)
    return _member_plan(layout, survey.planning, found, blends, now, after)


def _member_plan(
    layout: MemberLayout,
    planning: Planning,
    found: SiteList,
    blends: list[PlannedBlend],
    now: MemberRemoval,
    after: MemberRemoval,
) -> MemberPlan:
    return MemberPlan(
        member_id=layout.member.id,
        layout=layout,
        blends=blends,
        undetermined=found.undetermined,
        blended=found.blended,
        open_questions=[*found.notes, *(open_questions(planning, layout) if blends else [])],
        now=now,
        after=after,
    )


def dish_rule(planning: Planning, member: Member) -> DishRule | None:
    """How a member's dishes are shaped; None where no run-out ratio is set."""
    if planning.run_out is None:
        return None
    return DishRule(
        side=planning.run_out.ratio.side,
        gap_mm=planning.spacing.distance if planning.spacing else 0.0,
        elongation=planning.elongation.ratio if planning.elongation else 1.0,
        along=member.main_direction,
        merge=planning.merge,
    )


def _all_dishes(sites: list[Site], planning: Planning, member: Member) -> list[tuple[Dish, list[Site]]]:
    rule = dish_rule(planning, member)
    if rule is None:
        return []
    found: list[tuple[Dish, list[Site]]] = []
    for face in Face:
        own = [site for site in sites if site.face is face]
        dishes = make_dishes([s.outline for s in own], np.array([s.depth for s in own]), rule)
        found.extend((dish, [own[i] for i in dish.pits]) for dish in dishes)
    return found


def deepest_site(sites: list[Site]) -> Site:
    """Give the site that sets a blend's depth."""
    return max(sites, key=lambda site: site.depth)


def gauge_of(site: Site) -> tuple[str, float]:
    """Instrument that read a site's depth and the standard uncertainty its readings share, mm."""
    for name, vector in site.corrosion.shared.items():
        if name.startswith(_INSTRUMENT):
            return name.removeprefix(_INSTRUMENT), float(np.linalg.norm(vector))
    return "", 0.0


def planned_removal(
    name: str, member_id: str, footprint: Polygon, sites: list[Site], run_out: RunOut
) -> Removal:
    """Write a blend down as a planned removal, in mm.

    Its depth carries the random uncertainty and the instrument of the reading that sets it.
    """
    leads = deepest_site(sites)
    gauge, _ = gauge_of(leads)
    random_u = math.sqrt(sum(part**2 for part in leads.corrosion.own.values()))
    current = any(site.inside_earlier for site in sites)
    return Removal(
        id=name,
        member=member_id,
        face=leads.face,
        footprint=_as_shape(footprint),
        depth=Depth(value=leads.depth, u=random_u, instrument=gauge or None),
        profile=ProfileKind.FAIRED,
        run_out=run_out,
        measured_from=MeasuredFrom.CURRENT if current else MeasuredFrom.ORIGINAL,
        origin=Origin.PLANNED,
        note="Plan for " + ", ".join(site.finding.id for site in sites)[:3000],
    )


def _as_shape(polygon: Polygon) -> PolygonShape:
    rings = [polygon.exterior, *polygon.interiors]
    return PolygonShape(coordinates=[[(float(x), float(y)) for x, y in ring.coords] for ring in rings])


def _removal(dish: Dish, sites: list[Site], member: Member, planning: Planning, number: int) -> Removal:
    ratio = planning.run_out.ratio if planning.run_out else RunOut(per_side=1.0)
    return planned_removal(f"plan {number} {member.id}"[:80], member.id, dish.footprint, sites, ratio)


def _entries(
    removals: list[Removal],
    dishes: list[tuple[Dish, list[Site]]],
    survey: SurveyFile,
    layout: MemberLayout,
) -> list[Entry]:
    """Make the planned removals' entries; what may be doubted of a pit's depth may be of its blend's."""
    alone = survey.model_copy(update={"removals": removals})
    made = collect_entries(layout.member.id, alone, [], planned=True).entries
    return [
        replace(entry, flags=(entry.flags - {Flag.DATE_ASSUMED}) | site_flags(sites))
        for entry, (_, sites) in zip(made, dishes, strict=True)
    ]


def site_flags(sites: list[Site]) -> frozenset[Flag]:
    """Doubts of the depths of `sites` that their blend's depth shares."""
    return frozenset().union(*(site.corrosion.flags for site in sites)) & _PASSED_ON


def _unaccounted(now: MemberRemoval, survey: SurveyFile, planned: list[Entry]) -> list[Entry]:
    """Stand-ins for metal that a thickness reading misses and no entry accounts for.

    Where such a reading lies under a planned blend, what it shows beyond the entries counts over the whole
    of the blend, as nobody knows how far it goes, and on the other face, where nothing can hide it.
    """
    found = []
    for reading in survey.thickness_readings:
        if reading.member != now.layout.member.id:
            continue
        check = check_reading(now, reading, survey.instruments)
        missing = check.removed_by_reading - check.removed_by_entries
        if check.agrees or missing <= 0.0:
            continue
        for blend in planned:
            if not blend.footprint.intersects(shapely.Point(reading.at)):
                continue
            found.append(
                Entry(
                    id=f"thickness reading {reading.id}",
                    face=Face.INNER if blend.face is Face.OUTER else Face.OUTER,
                    footprint=blend.footprint,
                    depth=missing,
                    u=check.spot.removed.u,
                    instrument="",
                    u_systematic=0.0,
                    profile=FlatProfile(blend.footprint),
                    from_original=False,
                    origin=Origin.EARLIER,
                    date=None,
                    flags=frozenset({Flag.READING_GOVERNS}),
                )
            )
    return found
