"""What is to be done with each finding and each member, and why (design.md section 5).

A pure function of the assessment: move a limit, an allowance, a ratio or a rule in the survey and the
answer moves with it. It informs a licensed person, who decides and signs under approved data and local
rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from corrosion.blend import MemberPlan, PlannedBlend, SlopeCheck, check_slopes, plan_member
from corrosion.blend.judge import standing
from corrosion.blend.results import Conflict, ConflictKind
from corrosion.blend.shares import area_share, damage_outline, section_share
from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile
from corrosion.model.planning import Action, MemberFacts, RuleQuantity, RuleRow
from corrosion.quantity import Measured
from corrosion.removal.sections import bin_edges, cut_stations, section_losses
from corrosion.results import Assessment, Finding, MemberAssessment, Spot
from corrosion.rules import (
    Caution,
    ChosenRules,
    Fact,
    LevelAnswer,
    RuleAnswer,
    ask_rules,
    cautions_for,
    chosen_rules,
    location_history,
    programme_level,
)
from corrosion.terms import VERDICT_ORDER, Face, MarkKind, Verdict
from corrosion.units import DECIMALS, LengthUnit, mm_per, show_length

ACTION_ORDER = (Action.LEAVE, Action.BLEND, Action.REINFORCE, Action.NOT_DETERMINED, Action.REPLACE)
"""From least to most, for rolling findings up into a member: what is not known may turn out worse than a
reinforcement, but nothing is worse than replacing the member."""

_NOT_IN_THE_WAY = frozenset({ConflictKind.LIMIT_ZONE, ConflictKind.OTHER_FACE})
_ONLY_DOUBT = (
    "Only the uncertainty of the depth read takes it there: measure better before anything is ground."
)
_STATED = (
    RuleQuantity.ADJACENT_UNAFFECTED,
    RuleQuantity.ATTACHMENT_POSSIBLE,
    RuleQuantity.GREATER_THAN_MINOR,
    RuleQuantity.CRITICAL,
)


@dataclass(frozen=True)
class FindingDisposition:
    """What is to be done with one finding.

    Attributes
    ----------
    reasons : list of str
        The chain of reasons, in plain words in the survey's display unit.
    numbers : dict of str to float
        What they rest on, in mm and shares of 1: ``removed``, ``limit``, ``margin``, ``thickness``,
        ``probability_over``, ``planned_depth``, ``stop_depth`` and the shares that rules asked for.
    blend_id : str or None
        The planned blend that takes it out.
    rule : RuleRow or None
        The rule that decided.
    """

    finding_id: str
    action: Action
    reasons: list[str]
    numbers: dict[str, float] = field(default_factory=dict)
    blend_id: str | None = None
    rule: RuleRow | None = None


@dataclass(frozen=True)
class MemberDisposition:
    """What is to be done with one member: the most that any of its findings asks for."""

    member_id: str
    action: Action
    reasons: list[str]
    findings: list[FindingDisposition]
    plan: MemberPlan
    level: LevelAnswer
    slopes: list[SlopeCheck]
    cautions: list[Caution]


def dispose(assessment: Assessment) -> list[MemberDisposition]:
    """Say of every member and finding what is to be done.

    Parameters
    ----------
    assessment : Assessment
        From `corrosion.survey.assess`.

    Raises
    ------
    RuleSetError
        If the survey names a rule set that is not there.
    RemovalError
        If a removal contradicts itself.
    """
    rules = chosen_rules(assessment.survey.planning)
    return [_Member(assessment, summary, rules).dispose() for summary in assessment.members]


class _Member:
    """One member on its way to a disposition."""

    def __init__(self, assessment: Assessment, summary: MemberAssessment, rules: ChosenRules) -> None:
        self.survey: SurveyFile = assessment.survey
        self.summary, self.rules = summary, rules
        self.member = summary.member
        self.mine = [f for f in assessment.findings if f.member_id == self.member.id]
        layout = MemberLayout.of(self.member, self.survey.structure)
        self.plan = plan_member(layout, self.survey, assessment.findings)
        self.shown: LengthUnit = self.survey.display_units or self.survey.units
        planning = self.survey.planning
        self.facts: MemberFacts | None = next(
            (fact for fact in planning.facts if fact.member == self.member.id), None
        )
        ratio = planning.run_out.ratio if planning.run_out else None
        self.slopes = check_slopes(self.plan.now.entries, ratio) if ratio else []
        self.shared_facts = self._shared_facts()

    def dispose(self) -> MemberDisposition:
        found = [self._finding(f) for f in self.mine if f.kind is not MarkKind.CLEAR and self._has_say(f)]
        action, reasons = self._roll_up(found)
        at = self.summary.least_margin or self.summary.deepest
        history = location_history(self.plan.now, at.at) if at else []
        level = programme_level(history, self.facts, self.survey.planning.approach)
        return MemberDisposition(
            member_id=self.member.id,
            action=action,
            reasons=reasons,
            findings=found,
            plan=self.plan,
            level=level,
            slopes=self.slopes,
            cautions=cautions_for(self.member.material),
        )

    def _has_say(self, finding: Finding) -> bool:
        """Whether a finding is judged itself; an outline round planned pits is not."""
        planned = finding.kind is not MarkKind.AFFECTED or finding.depth is not None
        return planned or any(finding is one for one, _ in self.plan.undetermined)

    def _finding(self, finding: Finding) -> FindingDisposition:
        for one, why in [*self.plan.undetermined, *self.plan.now.undetermined]:
            if one is finding:
                return FindingDisposition(finding.id, Action.NOT_DETERMINED, [f"{_upper(why)}."])
        for one, by in self.plan.blended:
            if one is finding:
                return FindingDisposition(finding.id, Action.LEAVE, [f"Taken out by blend-out {by}."])
        if finding.kind is MarkKind.BLEND_OUT:
            return self._blend_out(finding)
        blend = next(b for b in self.plan.blends if any(site.finding is finding for site in b.sites))
        return self._planned(finding, blend)

    def _planned(self, finding: Finding, blend: PlannedBlend) -> FindingDisposition:
        """Judge corrosion that a planned blend takes out."""
        numbers = _spot_numbers(blend.after) | {"planned_depth": blend.depth}
        if blend.stop_depth is not None:
            numbers["stop_depth"] = blend.stop_depth
        leads = max(blend.sites, key=lambda site: site.depth)
        planning = self.survey.planning
        allowance = planning.allowance.depth if planning.allowance else 0.0
        reasons = [
            f"Planned {self._show(blend.depth)} deep: {self._show(leads.corrosion.value)} read on "
            f"{leads.finding.id}, {self._show(leads.corrosion.expanded)} for its uncertainty, "
            f"{self._show(allowance)} clean-up allowance"
            + (f" ({planning.allowance.source})." if planning.allowance else "."),
            self._sum_words(blend.after, blend.verdict),
            *self._stop_words(blend),
            *blend.notes,
        ]
        action, why, rule = self._decide(
            Action.BLEND, blend.after, blend.verdict, doubt_mm=leads.corrosion.expanded
        )
        barred = [c for c in blend.conflicts if _bars(c)]
        if action is Action.BLEND and barred:
            action, rule = Action.NOT_DETERMINED, None
            why = [f"In the way: {c.kind}. {c.words} ({c.source or 'no source'})" for c in barred]
        return FindingDisposition(finding.id, action, [*reasons, *why], numbers, blend.id, rule)

    def _blend_out(self, finding: Finding) -> FindingDisposition:
        """Judge a blend-out that was made."""
        entries = [entry for entry in self.plan.now.entries if entry.id == finding.id]
        stands = standing(self.plan.now, entries)
        spot, verdict = max(stands, key=lambda pair: VERDICT_ORDER.index(pair[1]))
        action, why, rule = self._decide(Action.LEAVE, spot, verdict)
        reasons = [self._sum_words(spot, verdict), *why]
        steep = [s for s in self.slopes if s.entry_id == finding.id and s.stands is not Verdict.WITHIN]
        reasons += [f"Run-out: {s.words}" for s in steep]
        if action is Action.LEAVE and any(s.stands is Verdict.OVER for s in steep):
            action, rule = Action.NOT_DETERMINED, None
            reasons.append("Fair it out to the ratio, re-measure, and sum again.")
        return FindingDisposition(finding.id, action, reasons, _spot_numbers(spot), None, rule)

    def _decide(
        self, mild: Action, spot: Spot, verdict: Verdict, *, doubt_mm: float = 0.0
    ) -> tuple[Action, list[str], RuleRow | None]:
        """Decide by limit and rules; `mild` is what is done where both allow it.

        `doubt_mm` is how much of a planned depth only allows for the uncertainty of the depth read. A part
        is not given up for that: where the rules would answer otherwise without it, nothing is determined.
        """
        if not self.rules.rows:
            return (*_by_limit(mild, verdict), None)
        answer = self._ask(spot, 0.0)
        if answer.action is Action.NOT_DETERMINED:
            return answer.action, answer.reasons, None
        if answer.action is not Action.BLEND and answer.action is not Action.LEAVE:
            if doubt_mm > 0.0 and self._ask(spot, doubt_mm).action is not answer.action:
                return Action.NOT_DETERMINED, [*answer.reasons, _ONLY_DOUBT], None
            return answer.action, answer.reasons, answer.rule
        if verdict is Verdict.WITHIN:
            return mild, answer.reasons, answer.rule
        words = "The rule would let it be blended, but the sum is not within the blend limit: engineering."
        return Action.NOT_DETERMINED, [*answer.reasons, words], None

    def _roll_up(self, found: list[FindingDisposition]) -> tuple[Action, list[str]]:
        """Take the most that any finding, earlier rework or unseen face asks for, with the reasons."""
        parts = [(f.action, f"{f.finding_id}: {f.action}.") for f in found]
        parts.append(self._as_it_is())
        unseen = [face for face in Face if self._share_seen(face) <= 0.0]
        if unseen:
            faces = " and the ".join(f"{face} face" for face in unseen)
            words = f"Nobody has seen the {faces}: not seen is not clean."
            parts.append((Action.NOT_DETERMINED, words))
        action = max((part for part, _ in parts), key=ACTION_ORDER.index)
        decisive = [words for part, words in parts if part is action]
        partly = [face for face in Face if 0.0 < self._share_seen(face) < 1.0]
        seen = [f"Not seen: {1 - self._share_seen(face):.0%} of the {face} face." for face in partly]
        return action, [*decisive, *seen, *self.plan.open_questions]

    def _as_it_is(self) -> tuple[Action, str]:
        """Judge the removal so far, earlier rework included."""
        spot = self.summary.least_margin or self.summary.deepest
        if spot is None or self.summary.verdict is Verdict.NOT_DETERMINED:
            settled = self.summary.verdict is Verdict.WITHIN
            action = Action.LEAVE if settled else Action.NOT_DETERMINED
            return action, " ".join(self.summary.reasons) or "Nothing was removed so far."
        action, why, _ = self._decide(Action.LEAVE, spot, self.summary.verdict)
        return action, " ".join([self._sum_words(spot, self.summary.verdict), *why])

    def _share_seen(self, face: Face) -> float:
        cover = self.summary.coverage.get(face)
        return cover.share if cover else 0.0

    def _shared_facts(self) -> dict[RuleQuantity, Fact]:
        """Facts of the whole member that its rules ask for."""
        asked = {c.quantity for row in self.rules.rows for c in [*row.when, *row.only_if]}
        facts: dict[RuleQuantity, Fact] = {}
        damage = damage_outline(self.plan, self.mine)
        panel = self.facts.panel_area if self.facts else None
        if RuleQuantity.AREA_SHARE in asked and panel is not None:
            facts[RuleQuantity.AREA_SHARE] = _fact(area_share(damage, self.mine, self.plan, panel))
        if RuleQuantity.SECTION_SHARE in asked:
            facts[RuleQuantity.SECTION_SHARE] = Fact(section_share(self.plan.layout, damage))
        if RuleQuantity.SECTION_LOSS_SHARE in asked:
            facts[RuleQuantity.SECTION_LOSS_SHARE] = Fact(self._section_loss())
        for quantity in _STATED:
            stated = getattr(self.facts, quantity.value, None)
            if stated is not None:
                facts[quantity] = Fact(stated)
        return facts

    def _section_loss(self) -> float:
        """Largest share of a section that is gone after the plan."""
        start, _, stop, _ = self.plan.layout.polygon.bounds
        edges = bin_edges(start, stop, self.survey.settings.station_bin)
        cuts = section_losses(self.plan.after, cut_stations(self.plan.after, edges))
        return max((cut.share for cut in cuts), default=0.0)

    def _ask(self, spot: Spot, less_mm: float) -> RuleAnswer:
        """Ask the rules about a place, as if `less_mm` less were removed there."""
        return ask_rules(
            self.rules.rows,
            self.member.kind,
            self.shared_facts | self._spot_facts(spot, less_mm),
            within_probability=self.survey.settings.within_probability,
        )

    def _spot_facts(self, spot: Spot, less_mm: float) -> dict[RuleQuantity, Fact]:
        """Shares of thickness and limit that are gone at a place, with the doubt of both."""
        at = np.array([spot.at])
        layout, removed = self.plan.layout, replace(spot.removed, value=spot.removed.value - less_mm)
        facts = {}
        for quantity, whole, u_whole in (
            (RuleQuantity.DEPTH_SHARE, spot.thickness, float(layout.u_thickness_at(at)[0])),
            (RuleQuantity.LIMIT_SHARE, spot.limit, float(layout.u_limit_at(at)[0])),
        ):
            if whole:
                share = removed.value / whole
                facts[quantity] = Fact(share, math.hypot(removed.u, share * u_whole) / whole)
        return facts

    def _stop_words(self, blend: PlannedBlend) -> list[str]:
        """Say how deep the bench may go, rounded down: rounding must not allow more."""
        if blend.stop_depth is None:
            return []
        step = mm_per(self.shown) / 10 ** DECIMALS[self.shown]
        stop = self._show(math.floor(blend.stop_depth / step + 1e-6) * step)
        words = f"Grind no deeper than {stop}, counted like the planned depth."
        return [words if blend.stop_depth > 0.0 else "Nothing is left to take off here: do not grind."]

    def _sum_words(self, spot: Spot, verdict: Verdict) -> str:
        removed = f"In all {self._show(spot.removed.value)} of {self._show(spot.thickness)} gone"
        if spot.limit is None:
            return f"{removed}; no limit is set there."
        chance = "" if spot.probability_over is None else f", probability over {spot.probability_over:.0%}"
        limit = f"limit {self._show(spot.limit)} ({spot.limit_source})"
        return f"{removed}; {limit}: {verdict}{chance}."

    def _show(self, value_mm: float) -> str:
        return show_length(value_mm, self.shown)


def _by_limit(mild: Action, verdict: Verdict) -> tuple[Action, list[str]]:
    """Decide where no rules are chosen: the limit alone can only say that the mild way is open."""
    if verdict is Verdict.WITHIN:
        return mild, []
    words = {
        Verdict.OVER: "Beyond the limit, and no rules are chosen that say whether to reinforce or replace.",
        Verdict.TOO_CLOSE: "Too close to the limit to call: measure better.",
        Verdict.NOT_DETERMINED: "The sum cannot be judged against a limit.",
    }
    return Action.NOT_DETERMINED, [words[verdict]]


def _bars(conflict: Conflict) -> bool:
    """Whether a conflict keeps a blend from being done as planned."""
    known = conflict.stands in {Verdict.OVER, Verdict.TOO_CLOSE}
    return known and conflict.kind not in _NOT_IN_THE_WAY


def _fact(measured: Measured) -> Fact:
    return Fact(measured.value, measured.u)


def _spot_numbers(spot: Spot) -> dict[str, float]:
    numbers = {"removed": spot.removed.value, "thickness": spot.thickness}
    if spot.limit is not None:
        numbers |= {"limit": spot.limit, "margin": spot.limit - spot.removed.value}
    if spot.probability_over is not None:
        numbers["probability_over"] = spot.probability_over
    return numbers


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
