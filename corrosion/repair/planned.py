"""The reinforcements a survey's planning asks for, each estimated or with the reason why it is not."""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.errors import RepairError
from corrosion.model import Member, SurveyFile
from corrosion.model.planning import Reinforcement
from corrosion.repair.splice import SpliceEstimate, estimate_splice
from corrosion.repair.splice_tables import TABLES


@dataclass(frozen=True)
class PlannedReinforcement:
    """One reinforcement: what was asked, of which member, and the estimate or why there is none."""

    asked: Reinforcement
    member: Member
    estimate: SpliceEstimate | None
    problem: str = ""


def planned_reinforcements(survey: SurveyFile) -> list[PlannedReinforcement]:
    """Estimate every reinforcement that a survey's planning asks for.

    Parameters
    ----------
    survey : SurveyFile
        In mm. A member's nominal thickness counts: the splice has to carry what the whole sheet did.

    Returns
    -------
    list of PlannedReinforcement
        In the order asked. What no table covers says so in its `problem`.
    """
    members = {member.id: member for member in survey.structure.members}
    return [_planned(asked, members[asked.member]) for asked in survey.planning.reinforcements]


def _planned(asked: Reinforcement, member: Member) -> PlannedReinforcement:
    table = next((one for one in TABLES if one.number == asked.table), None)
    try:
        estimate = estimate_splice(
            width_mm=asked.width,
            damage_length_mm=asked.length,
            thickness_mm=member.thickness,
            fastener=asked.fastener,
            material=member.material,
            joint=asked.joint,
            table=table,
        )
    except RepairError as error:
        return PlannedReinforcement(asked, member, None, str(error))
    return PlannedReinforcement(asked, member, estimate)
