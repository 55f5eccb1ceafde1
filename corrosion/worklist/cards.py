"""Bench cards: what is to be done with every finding, in the order of work.

Every finding that a disposition names is on exactly one card. A card that is not `blend` or `fair` has no
step that takes metal off.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.blend import DoneBlend, MemberPlan, PlannedBlend, compare_done, ratio_words
from corrosion.disposition import FindingDisposition, MemberDisposition
from corrosion.model import Member, SurveyFile
from corrosion.model.planning import Action
from corrosion.report.numbers import place_text
from corrosion.results import Assessment, Finding, Point
from corrosion.rules import Caution
from corrosion.terms import Face, MarkKind, Verdict
from corrosion.units import LengthUnit
from corrosion.worklist.figures import Figures, figures_of
from corrosion.worklist.practice import Fact, abrasives_for
from corrosion.worklist.steps import Step, steps_of


class CardKind(StrEnum):
    """What a card asks for."""

    BLEND = "blend"
    FAIR = "fair out"
    MEASURE = "measure first"
    TREAT = "treat and protect"
    HOLD = "hold, do not blend"


ORDER = (CardKind.BLEND, CardKind.FAIR, CardKind.MEASURE, CardKind.TREAT, CardKind.HOLD)
"""Order of work: what may be begun stands first."""


@dataclass(frozen=True)
class Place:
    """Where a card's work is, in mm on the layout; `words` in the display unit.

    `at` and `bounds` (station and offset, from and to) are None for what is not on the layout.
    """

    member: Member
    face: Face | None
    at: Point | None
    bounds: tuple[float, float, float, float] | None
    words: str


@dataclass(frozen=True)
class Target:
    """What a blend is to become; see `corrosion.blend.PlannedBlend`. Lengths in mm."""

    blend: PlannedBlend
    figures: Figures
    run_out_words: str
    run_out_source: str


@dataclass(frozen=True)
class Card:
    """One bench card.

    Attributes
    ----------
    id : str
        Stays the same while the card is for the same findings, whatever their depths.
    fingerprint : str
        Changes with everything the card asks for: a tick made on another one was for another task.
    number : int
        Place in the order of work, from 1.
    reasons : list of str
        Why, from the disposition.
    replaces : str
        How the finished blend-out is entered, so that it takes the plan's place.
    done : DoneBlend or None
        The finished blend-out against the plan that was kept.
    kept : bool
        Whether the survey keeps this card's planned removal.
    """

    id: str
    fingerprint: str
    number: int
    kind: CardKind
    action: Action
    place: Place
    findings: list[Finding]
    target: Target | None
    abrasives: list[Fact]
    steps: list[Step]
    cautions: list[Caution]
    reasons: list[str]
    replaces: str = ""
    done: DoneBlend | None = None
    kept: bool = False
    notes: list[str] = field(default_factory=list)


def build_cards(assessment: Assessment, members: Iterable[MemberDisposition]) -> list[Card]:
    """Make the cards of a survey, the first to be worked on first.

    Parameters
    ----------
    assessment : Assessment
    members : iterable of MemberDisposition
        From `corrosion.disposition.dispose` of the same assessment.

    Raises
    ------
    RemovalError
        If a removal contradicts itself.
    """
    found = [card for one in members for card in _Bench(assessment, one).cards()]
    found.sort(key=_order)
    return [replace(card, number=number) for number, card in enumerate(found, start=1)]


def _order(card: Card) -> tuple[object, ...]:
    at = card.place.at or (float("inf"), 0.0)
    member = card.place.member
    return (ORDER.index(card.kind), member.zone, member.id, str(card.place.face), at, card.id)


class _Bench:
    """One member's cards in the making."""

    def __init__(self, assessment: Assessment, disposition: MemberDisposition) -> None:
        self.survey: SurveyFile = assessment.survey
        self.all = disposition
        self.plan: MemberPlan = disposition.plan
        self.member = self.plan.layout.member
        self.unit: LengthUnit = self.survey.display_units or self.survey.units
        mine = [f for f in assessment.findings if f.member_id == self.member.id]
        self.findings = {finding.id: finding for finding in mine}
        self.done = compare_done(self.plan.layout, self.survey, assessment.findings)

    def cards(self) -> Iterator[Card]:
        """One card per planned blend, per other finding, and none for what a blend-out took out."""
        taken = {finding.id: by for finding, by in self.plan.blended}
        blends = {blend.id: blend for blend in self.plan.blends}
        listed: dict[str, list[FindingDisposition]] = {}
        for one in self.all.findings:
            by = taken.get(one.finding_id)
            key = by if by is not None and by in self.findings else one.finding_id
            listed.setdefault(f"blend {one.blend_id}" if one.blend_id else f"finding {key}", []).append(one)
        for group in listed.values():
            blend = blends.get(group[0].blend_id or "")
            yield self._card(group, blend)

    def _card(self, group: list[FindingDisposition], blend: PlannedBlend | None) -> Card:
        # What a blend-out took out stands on the blend-out's card, which leads.
        findings = sorted(
            (self.findings[one.finding_id] for one in group), key=lambda f: f.kind is not MarkKind.BLEND_OUT
        )
        lead = next(one for one in group if one.finding_id == findings[0].id)
        kind = self._kind(group, lead, blend)
        name = _card_id(self.member, findings)
        done = next((d for d in self.done if {f.id for f in findings} & set(d.actual)), None)
        target = None if blend is None else self._target(blend)
        return _printed(
            Card(
                id=name,
                fingerprint="",
                number=0,
                kind=kind,
                action=lead.action,
                place=self._place(findings, blend),
                findings=findings,
                target=target,
                abrasives=abrasives_for(self.member.material) if kind in _GRINDS else [],
                steps=steps_of(str(kind), self.member, target.figures if target else None),
                cautions=self.all.cautions,
                reasons=list(dict.fromkeys(reason for one in group for reason in one.reasons)),
                replaces=_replaces(findings) if blend is not None else "",
                done=done,
                kept=any(record.id == name for record in self.survey.removals),
                notes=[]
                if blend is None
                else [_conflict_words(c.words, c.source) for c in blend.conflicts],
            )
        )

    def _kind(
        self, group: list[FindingDisposition], lead: FindingDisposition, blend: PlannedBlend | None
    ) -> CardKind:
        if blend is not None:
            every = all(one.action is Action.BLEND for one in group) and blend.verdict is Verdict.WITHIN
            return CardKind.BLEND if every and blend.reaches_depth else CardKind.HOLD
        if lead.action is Action.LEAVE:
            return CardKind.TREAT
        unplanned = {f.id for f, _ in [*self.plan.undetermined, *self.plan.now.undetermined]}
        if lead.finding_id in unplanned:
            return CardKind.MEASURE
        return CardKind.FAIR if self._only_steep(lead) else CardKind.HOLD

    def _only_steep(self, lead: FindingDisposition) -> bool:
        """Whether a blend-out's slope is all that is wrong with it."""
        steep = any(s.entry_id == lead.finding_id and s.stands is Verdict.OVER for s in self.all.slopes)
        chance = lead.numbers.get("probability_over")
        allowed = self.survey.settings.within_probability
        return steep and lead.action is Action.NOT_DETERMINED and chance is not None and chance <= allowed

    def _target(self, blend: PlannedBlend) -> Target:
        planned = self.survey.planning.run_out
        return Target(
            blend=blend,
            figures=figures_of(blend, self.unit),
            run_out_words=ratio_words(blend.run_out),
            run_out_source=planned.source if planned else "",
        )

    def _place(self, findings: list[Finding], blend: PlannedBlend | None) -> Place:
        shape: BaseGeometry | None = blend.footprint if blend else findings[0].outline
        if shape is None or shape.is_empty:
            return Place(self.member, findings[0].face, None, None, "not on the layout yet")
        left, low, right, high = map(float, shape.bounds)
        at = _middle(shape, findings[0])
        return Place(self.member, findings[0].face, at, (left, low, right, high), self._where(at))

    def _where(self, at: Point) -> str:
        station, offset = (f"{place_text(value, self.unit)} {self.unit}" for value in at)
        along = f" ({self.member.offset_is})" if self.member.offset_is else ""
        return f"station {station}{self._by_line(at[0])}, offset {offset}{along}"

    def _by_line(self, station: float) -> str:
        """Say how far the nearest named station is."""
        lines = sorted(self.member.stations, key=lambda line: abs(line.at - station))
        if not lines:
            return ""
        off = station - lines[0].at
        sign = "+" if off >= 0.0 else "-"
        return f" ({lines[0].label} {sign} {place_text(abs(off), self.unit)})"


_GRINDS = frozenset({CardKind.BLEND, CardKind.FAIR})


def _middle(shape: BaseGeometry, finding: Finding) -> Point:
    if isinstance(shape, Polygon) or finding.position is None:
        return float(shape.centroid.x), float(shape.centroid.y)
    return finding.position


def _conflict_words(words: str, source: str) -> str:
    return f"{words} ({source})" if source else words


def _replaces(findings: list[Finding]) -> str:
    names = ", ".join(finding.id for finding in findings)
    return (
        f"Photograph the finished blend with its scale reference, outline it as a blend-out mark on the "
        f"{findings[0].face} face, date it, and enter the depth read. It replaces {names} and this plan; "
        "this card then shows the difference."
    )


def _card_id(member: Member, findings: list[Finding]) -> str:
    """Name a card by what it is for: readable start, then what keeps it apart."""
    names = sorted(finding.id for finding in findings)
    slug = re.sub(r"[^A-Za-z0-9]+", "-", member.id).strip("-")[:30] or "card"
    digest = hashlib.sha256(json.dumps([member.id, names]).encode()).hexdigest()
    return f"{slug}-{digest[:8]}"


def _printed(card: Card) -> Card:
    """Give a card the fingerprint of what it asks for."""
    target = card.target
    asked = {
        "kind": str(card.kind),
        "findings": [finding.id for finding in card.findings],
        "steps": [[str(step.name), step.text] for step in card.steps],
        "target": None
        if target is None
        else [target.figures.target, target.figures.stop, target.run_out_words, target.figures.measured],
        "place": card.place.words,
    }
    text = json.dumps(asked, sort_keys=True)
    return replace(card, fingerprint=hashlib.sha256(text.encode()).hexdigest())
