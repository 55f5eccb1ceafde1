"""Together or separately: what each way of blending a cluster takes off, and what it leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from corrosion.blend.dish import DishRule
from corrosion.blend.plan import gauge_of, planned_removal, site_flags
from corrosion.blend.results import MemberPlan, PlannedBlend
from corrosion.quantity import FloatArray
from corrosion.removal import Entry, EntryList, MemberRemoval
from corrosion.removal.profiles import make_profile
from corrosion.terms import VERDICT_ORDER, ProfileKind, Verdict

CELLS_ACROSS = 60
"""Cells along the shorter side of a cluster's footprint over which the metal is summed."""


@dataclass(frozen=True)
class Alternative:
    """One way to blend a cluster.

    Attributes
    ----------
    name : str
        ``together`` (one dish, the metal between the pits removed) or ``separately`` (a dish per pit).
    removed_mm3 : float
        Metal it takes off beyond what is gone; summed over cells, good to about 2 %.
    margin_mm : float or None
        Least margin left anywhere in the cluster, mm; negative when over, None without a limit.
    planned : bool
        Whether the plan is this one.
    """

    name: str
    removed_mm3: float
    margin_mm: float | None
    verdict: Verdict
    planned: bool
    note: str


def compare_alternatives(plan: MemberPlan, blend: PlannedBlend) -> list[Alternative]:
    """Compare blending the pits of one planned blend together and separately.

    A blend of a single pit has no alternative: the list is empty.

    Parameters
    ----------
    plan : MemberPlan
    blend : PlannedBlend
        One of the plan's.
    """
    if len(blend.sites) < 2:
        return []
    others = [entry for entry in plan.after.entries if entry.id != blend.entry.id]
    apart = _separate_entries(blend, plan)
    points, cell_mm2 = _cells(blend, apart)
    key = np.array([blend.entry.profile.deepest, *(entry.profile.deepest for entry in apart)])
    before = _sums(plan, others, points)
    ways = (("together", [blend.entry], _TOGETHER), ("separately", apart, _apart_note(blend)))
    found = []
    for name, entries, note in ways:
        removal = _removal(plan, [*others, *entries])
        taken = float(np.sum(removal.field(points).removed - before)) * cell_mm2
        margin, verdict = _standing(removal, np.concatenate([points, key]))
        found.append(Alternative(name, taken, margin, verdict, name == "together", note))
    return found


_TOGETHER = (
    "The metal between the pits is removed, as AC 43.13-1B, para 6-115c and Fig 6-16, shows for closely "
    "spaced pits."
)


def _apart_note(blend: PlannedBlend) -> str:
    ridge = "Ridges stay where the dishes meet."
    if blend.entry.from_original:
        return ridge
    return (
        ridge + " Inside the earlier removal overlapping dishes are counted as adding, so this is too much."
    )


def _removal(plan: MemberPlan, entries: list[Entry]) -> MemberRemoval:
    return MemberRemoval(
        plan.layout, EntryList(entries, plan.now.undetermined), plan.now.within_probability
    )


def _sums(plan: MemberPlan, entries: list[Entry], points: FloatArray) -> FloatArray:
    return _removal(plan, entries).field(points).removed


def _separate_entries(blend: PlannedBlend, plan: MemberPlan) -> list[Entry]:
    """One dish per pit, each as deep as that pit needs."""
    rule = DishRule(side=blend.run_out.side, along=plan.layout.member.main_direction)
    entries = []
    for number, site in enumerate(blend.sites, start=1):
        footprint = rule.footprint(site.outline, site.depth)
        name = f"{blend.id[:70]}, {number}"
        gauge, systematic = gauge_of(site)
        record = planned_removal(name, plan.member_id, footprint, [site], blend.run_out)
        profile, flags = make_profile(
            ProfileKind.FAIRED,
            footprint,
            depth_mm=site.depth,
            run_out_side=blend.run_out.side,
            place=name,
        )
        entries.append(
            Entry(
                id=name,
                face=site.face,
                footprint=footprint,
                depth=site.depth,
                u=record.depth.u,
                instrument=gauge,
                u_systematic=systematic,
                profile=profile,
                from_original=blend.entry.from_original,
                origin=record.origin,
                date=None,
                flags=flags | site_flags([site]),
            )
        )
    return entries


def _cells(blend: PlannedBlend, apart: list[Entry]) -> tuple[FloatArray, float]:
    """Centres (n, 2) of square cells over the cluster, mm, and the area of one, mm2."""
    everything = shapely.union_all([blend.footprint, *(entry.footprint for entry in apart)])
    x0, y0, x1, y1 = everything.bounds
    side = min(x1 - x0, y1 - y0) / CELLS_ACROSS
    x = np.arange(x0 + side / 2.0, x1, side)
    y = np.arange(y0 + side / 2.0, y1, side)
    centres = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    return centres, side**2


def _standing(removal: MemberRemoval, points: FloatArray) -> tuple[float | None, Verdict]:
    """Least margin and worst verdict at the points that lie on the member."""
    seen = removal.field(points[removal.layout.contains(points)])
    gone = seen.removed > 0.0
    if not gone.any():
        return None, Verdict.NOT_DETERMINED
    margin = None if np.isnan(seen.margin[gone]).any() else float(seen.margin[gone].min())
    return margin, VERDICT_ORDER[int(seen.verdict[gone].max())]
