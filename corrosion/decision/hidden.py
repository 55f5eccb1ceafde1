"""Damage where nobody has looked: how many findings, and whether one of them is too deep to blend.

Findings per area are a Poisson count; of n findings in the seen area the rate is known as a gamma
distribution of shape n + 1/2 (Jeffreys' prior). It assumes that the unseen area is like the seen one,
times the user's factor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from corrosion.decision.draws import Draws
from corrosion.extremes import UnseenDepth, largest_unseen
from corrosion.model.decision import HiddenDamage
from corrosion.quantity import FloatArray
from corrosion.results import Assessment, Finding, MemberAssessment
from corrosion.terms import Face, MarkKind


@dataclass(frozen=True)
class UnseenFace:
    """One face of a member: what was seen of it, what was not, and how many findings the seen part has."""

    member_id: str
    face: Face
    seen_mm2: float
    unseen_mm2: float
    findings: int


def unseen_faces(assessment: Assessment) -> list[UnseenFace]:
    """List both faces of every member.

    Pits and blend-outs count one each; an affected area counts where neither lies in it.
    """
    return [
        UnseenFace(
            member.member.id,
            face,
            float(seen.seen.area),
            float(seen.unseen.area),
            _count(assessment.findings, member.member.id, face),
        )
        for member in assessment.members
        for face, seen in member.coverage.items()
    ]


def _count(findings: Sequence[Finding], member_id: str, face: Face) -> int:
    mine = [f for f in findings if f.member_id == member_id and f.face is face]
    spots = [f for f in mine if f.kind in {MarkKind.PIT, MarkKind.BLEND_OUT}]
    outlines = [f.outline for f in spots if f.outline is not None]
    alone = [
        f
        for f in mine
        if f.kind is MarkKind.AFFECTED
        and not (f.outline is not None and any(f.outline.intersects(o) for o in outlines))
    ]
    return len(spots) + len(alone)


def draw_hidden_findings(
    who: str, faces: Sequence[UnseenFace], hidden: HiddenDamage, draws: Draws
) -> tuple[FloatArray | None, list[str]]:
    """Draw the number of hidden findings of a structure, shape (count,).

    Returns
    -------
    counts : ndarray or None
        None where nothing at all was seen, so that no rate can be had.
    notes : list of str
        Assumptions made, or the reason for None.
    """
    group, remedy = f"{who}: unseen area", _look_at(faces)
    unseen = [f for f in faces if f.unseen_mm2 > 0.0]
    seen_mm2 = sum(f.seen_mm2 for f in faces)
    if not unseen:
        return draws.chance(f"{who}: hidden findings", 0.0, group, remedy), []
    if seen_mm2 <= 0.0:
        return None, [f"{who}: nothing was seen of it, so no number of hidden findings can be had."]
    blind = [f for f in unseen if f.seen_mm2 <= 0.0]
    pooled = draws.gamma(f"{who}: rate of all faces", sum(f.findings for f in faces) + 0.5) / seen_mm2
    mean = pooled * sum(f.unseen_mm2 for f in blind)
    for face in (f for f in unseen if f.seen_mm2 > 0.0):
        rate = draws.gamma(f"{who}: rate of {face.member_id} {face.face}", face.findings + 0.5)
        mean = mean + rate * (face.unseen_mm2 / face.seen_mm2)
    worse = draws.spread(f"{who}: how much worse where unseen", hidden.worse, group, remedy)
    notes = [
        f"{who}: nothing was seen of {f.member_id}, {f.face} face; the rate of all seen faces stands in."
        for f in blind
    ]
    return draws.poisson(f"{who}: hidden findings", mean * worse, group, remedy), notes


def _look_at(faces: Sequence[UnseenFace]) -> str:
    largest = max(faces, key=lambda f: f.unseen_mm2, default=None)
    if largest is None or largest.unseen_mm2 <= 0.0:
        return "Look at the unseen area."
    return f"Look at the unseen area, first of {largest.member_id}, {largest.face} face."


def hidden_over_limit(
    assessment: Assessment, member_id: str, hidden: HiddenDamage | None
) -> tuple[float | None, str]:
    """Probability that a pit in the unseen area of a member is deeper than its blend limit.

    Returns
    -------
    probability : float or None
        Over both faces; None where it cannot be had.
    reason : str
        Why not, or empty.
    """
    member = next((m for m in assessment.members if m.member.id == member_id), None)
    if member is None:
        return None, f"there is no member {member_id!r} in the survey."
    limit = _limit_mm(member)
    if limit is None:
        return None, f"{member_id} has no limit set."
    none_over = 1.0
    for found in unseen_depths(assessment, member, hidden):
        over = found.probability_over(limit)
        if over is None:
            where = f"the deepest unseen pit of {member_id}, {found.face} face"
            return None, f"{where}, is not known: {found.reason}"
        none_over *= 1.0 - over
    return 1.0 - none_over, ""


def unseen_depths(
    assessment: Assessment, member: MemberAssessment, hidden: HiddenDamage | None = None
) -> list[UnseenDepth]:
    """Estimate the deepest unseen pit of each face of a member; block size and least depth as stated."""
    return [
        largest_unseen(
            assessment.findings,
            seen,
            member.member.id,
            side_mm=hidden.block if hidden else None,
            least_depth_mm=hidden.least_depth if hidden else None,
        )
        for seen in member.coverage.values()
    ]


def _limit_mm(member: MemberAssessment) -> float | None:
    """Give the smallest limit anywhere on the member, mm; a hidden pit may lie in any zone."""
    m = member.member
    thickness = m.thickness if m.thickness_measured is None else m.thickness_measured
    thickness = min([thickness, *(z.thickness for z in m.thickness_zones)])
    limits = [m.limit, *(z.limit for z in m.limit_zones)]
    known = [limit for limit in limits if limit is not None]
    if m.limit is None or not known:
        return None
    return min(
        limit.depth if limit.depth is not None else (limit.fraction or 0.0) * thickness for limit in known
    )
