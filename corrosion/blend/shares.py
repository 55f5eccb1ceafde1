"""How much of a panel and of a section is damaged, as rules ask for it.

The damage is the corrosion found, the metal planned to go at full depth, and the blend-outs made, on either
face, seen through the sheet. The run-out of a planned blend does not count: "area wherein the repair is
blended into the surrounding surface is not included in these limits" (TM 55-1615-226-40).
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from corrosion.blend.results import MemberPlan
from corrosion.layout import MemberLayout
from corrosion.quantity import Measured
from corrosion.results import Finding
from corrosion.terms import MarkKind

_DAMAGE = frozenset({MarkKind.PIT, MarkKind.AFFECTED, MarkKind.BLEND_OUT})
_CUTS = 5


def damage_outline(plan: MemberPlan, findings: list[Finding]) -> BaseGeometry:
    """Damaged part of a member on its layout, both faces together, mm."""
    mine = [f for f in findings if f.member_id == plan.member_id and f.kind in _DAMAGE]
    shapes = [finding.outline for finding in mine if finding.outline is not None]
    shapes += [blend.floor for blend in plan.blends]
    shapes += [entry.footprint for entry in plan.now.entries]
    return shapely.union_all(shapes).intersection(plan.layout.polygon)


def area_share(
    damage: BaseGeometry, findings: list[Finding], plan: MemberPlan, panel_mm2: float
) -> Measured:
    """Damaged share of a panel's area; the uncertainties of the outlines' areas add up."""
    areas = [
        area.u
        for f in findings
        if f.member_id == plan.member_id and f.kind in _DAMAGE
        if (area := f.quantities.get("area")) is not None and area.known
    ]
    return Measured(damage.area / panel_mm2, "1", own={"outlines": sum(areas) / panel_mm2})


def section_share(layout: MemberLayout, damage: BaseGeometry) -> float:
    """Largest damaged share of any cross section that runs through damage.

    A cross section runs across the member's main direction. Cuts are taken at and between the ends of
    every damaged part.
    """
    along = 0 if layout.member.main_direction == "station" else 1
    low, high = np.array(layout.polygon.bounds).reshape(2, 2)[:, 1 - along] + (-1.0, 1.0)
    worst = 0.0
    for at in _cut_places(damage, along):
        ends = [(at, low), (at, high)] if along == 0 else [(low, at), (high, at)]
        section = layout.polygon.intersection(LineString(ends))
        if section.length > 0.0:
            worst = max(worst, section.intersection(damage).length / section.length)
    return float(worst)


def _cut_places(damage: BaseGeometry, along: int) -> list[float]:
    """Ordinates along the main direction at which to cut."""
    boxes = shapely.bounds(shapely.get_parts(damage)).reshape(-1, 4)
    ends = np.concatenate([boxes[:, along], boxes[:, along + 2]])
    inside = np.linspace(boxes[:, along], boxes[:, along + 2], _CUTS + 2)[1:-1].ravel()
    return sorted({float(value) for value in np.concatenate([ends, inside])})
