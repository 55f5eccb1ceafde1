"""The blend plan as rows: what the table shows of each blend, and what the map draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from api.pages.map_page import drawn
from api.pages.templating import VERDICT_CLASS
from api.planning import Plans
from corrosion.blend import Alternative, Conflict, PlannedBlend, Site, compare_alternatives
from corrosion.disposition import FindingDisposition, MemberDisposition
from corrosion.model import Member
from corrosion.model.planning import Action
from corrosion.report.words import verdict_words
from corrosion.terms import VERDICT_ORDER, Verdict
from corrosion.units import LengthUnit
from corrosion.worklist.figures import Figures, figures_of

ACTION_CLASS: dict[Action, str] = {
    Action.LEAVE: "leave",
    Action.BLEND: "blend",
    Action.REINFORCE: "reinforce",
    Action.REPLACE: "replace",
    Action.NOT_DETERMINED: "open",
}
ACTION_SYMBOL: dict[Action, str] = {
    Action.LEAVE: "○",
    Action.BLEND: "◒",
    Action.REINFORCE: "▦",
    Action.REPLACE: "⇄",
    Action.NOT_DETERMINED: "?",
}
CONFLICT_WORDS: dict[Verdict, str] = {
    Verdict.OVER: "✗ not kept",
    Verdict.TOO_CLOSE: "≈ too close to call",
    Verdict.NOT_DETERMINED: "? not determined",
    Verdict.WITHIN: "to know",
}


@dataclass(frozen=True)
class BlendRow:
    """One planned blend as the table shows it; lengths in mm.

    `number` is unique on its member, `along` and `across` are the footprint's size in the member's main
    direction and square to it, `figures` are rounded so that no rounding grinds deeper.
    """

    number: int
    blend: PlannedBlend
    leads: Site
    figures: Figures
    along: float
    across: float
    alternatives: list[Alternative]
    dispositions: list[FindingDisposition]

    @property
    def action(self) -> Action:
        """What is to be done with the corrosion it takes out."""
        return self.dispositions[0].action if self.dispositions else Action.NOT_DETERMINED

    @property
    def reasons(self) -> list[str]:
        """The chain of reasons, once each."""
        return list(dict.fromkeys(reason for one in self.dispositions for reason in one.reasons))

    @property
    def names(self) -> list[str]:
        """The findings it takes out."""
        return [site.finding.id for site in self.blend.sites]

    @property
    def in_the_way(self) -> list[Conflict]:
        """Conflicts that are not only to be known."""
        return [one for one in self.blend.conflicts if one.stands is not Verdict.WITHIN]


@dataclass(frozen=True)
class MemberRows:
    """One member: what is to be done, its blends, and what could not be planned."""

    member: Member
    disposition: MemberDisposition
    blends: list[BlendRow]

    @property
    def is_bare(self) -> bool:
        """Whether nothing is planned and nothing waits to be."""
        plan = self.disposition.plan
        return not (self.blends or plan.undetermined or plan.blended)


def member_rows(plans: Plans) -> list[MemberRows]:
    """List every member with its blends."""
    members = {one.id: one for one in plans.assessment.survey.structure.members}
    return [_member(members[one.member_id], one, plans.unit) for one in plans.dispositions]


def _member(member: Member, found: MemberDisposition, unit: LengthUnit) -> MemberRows:
    rows = [_blend(number, blend, found, unit) for number, blend in enumerate(found.plan.blends, start=1)]
    return MemberRows(member, found, rows)


def _blend(number: int, blend: PlannedBlend, found: MemberDisposition, unit: LengthUnit) -> BlendRow:
    left, low, right, high = blend.footprint.bounds
    sizes = (right - left, high - low)
    along, across = sizes if found.plan.layout.member.main_direction == "station" else sizes[::-1]
    return BlendRow(
        number=number,
        blend=blend,
        leads=max(blend.sites, key=lambda site: site.depth),
        figures=figures_of(blend, unit),
        along=along,
        across=across,
        alternatives=compare_alternatives(found.plan, blend),
        dispositions=[one for one in found.findings if one.blend_id == blend.id],
    )


def summary(members: list[MemberRows]) -> str:
    """Say in one line how many blends are planned, how they stand, and what is not planned."""
    blends = [row.blend for one in members for row in one.blends]
    waiting = sum(len(one.disposition.plan.undetermined) for one in members)
    counts = [(verdict, sum(b.verdict is verdict for b in blends)) for verdict in reversed(VERDICT_ORDER)]
    stands = ", ".join(f"{count} {verdict_words(verdict)}" for verdict, count in counts if count)
    words = f"{len(blends)} blend{'' if len(blends) == 1 else 's'} planned"
    words += f": {stands}" if stands else ""
    return words + (f"; {waiting} finding{'' if waiting == 1 else 's'} not planned." if waiting else ".")


def drawn_plan(one: MemberRows) -> list[dict[str, Any]]:
    """Return a member's blends as the map draws them; every length in mm."""
    return [
        {
            "id": row.blend.id,
            "label": str(row.number),
            "face": str(row.blend.entry.face),
            "outline": drawn(row.blend.footprint),
            "floor": drawn(row.blend.floor),
            "middle": list(row.blend.footprint.representative_point().coords[0]),
            "verdict": VERDICT_CLASS[row.blend.verdict],
            "words": verdict_words(row.blend.verdict),
            "in_the_way": len(row.in_the_way),
            "stop_at": row.blend.stop_at,
        }
        for row in one.blends
    ]
