"""Hours, money and days of one option, added up draw by draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from corrosion.decision.draws import Draws
from corrosion.decision.hidden import draw_hidden_findings, hidden_over_limit, unseen_faces
from corrosion.decision.results import Totals
from corrosion.model.decision import Candidate, HiddenDamage, Rates, Spread, WorkAction
from corrosion.quantity import FloatArray
from corrosion.results import Assessment
from corrosion.terms import Verdict

What = Literal["hours", "money", "days"]
WHATS: tuple[What, ...] = ("hours", "money", "days")


@dataclass
class Tally:
    """Sums of one option; what is missing makes a sum not determined and says why."""

    who: str
    draws: Draws
    sums: dict[What, FloatArray] = field(default_factory=dict)
    missing: set[What] = field(default_factory=set)
    reasons: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    price: FloatArray | None = None

    def __post_init__(self) -> None:
        for what in WHATS:
            self.sums[what] = np.zeros(self.draws.count)

    def lack(self, reason: str, *whats: What) -> None:
        """Note that something is missing: by default all three sums are not determined."""
        self.missing |= set(whats or WHATS)
        self.reasons.append(f"{self.who}: {reason}")

    def add(
        self, label: str, part: WorkAction | HiddenDamage, remedy: str, times: FloatArray | float
    ) -> None:
        """Add a part's three spreads, times a number that may differ from draw to draw."""
        for what in WHATS:
            spread: Spread | None = getattr(part, what)
            if spread is None:
                self.lack(f"{label} states no {what}.", what)
                continue
            name = f"{self.who}: {label}, {what}"
            drawn = self.draws.spread(name, spread, f"{self.who}: {label}", remedy, shared=True)
            self.sums[what] = self.sums[what] + drawn * times

    def totals(self, rates: Rates) -> Totals:
        """Add hours and days in money; money of anything that is missing is not determined."""
        hours, money, days = self.sums["hours"], self.sums["money"], self.sums["days"]
        for what, rate, amount in (("hour", rates.hour, hours), ("day", rates.day, days)):
            if rate is not None:
                name = f"rate per {what}"
                ask = f"Agree on the rate per {what}."
                money = money + amount * self.draws.spread(name, rate, name, ask)
            elif what == "hour" and amount.any():
                self.lack("the money for an hour of work is not stated.", "money")
        unknown = {"money", "hours"} | ({"days"} if rates.day is not None else set())
        return Totals(
            hours=None if "hours" in self.missing else hours,
            money=None if self.missing & unknown else money,
            days=None if "days" in self.missing else days,
            price=self.price,
        )


def tally_repair(
    actions: Sequence[WorkAction], hidden: HiddenDamage | None, assessment: Assessment, draws: Draws
) -> Tally:
    """Add up the repair of the surveyed structure, with what hides where nobody has looked."""
    tally = Tally("repair", draws)
    if not actions:
        tally.lack("no action is stated.")
    _check_members(tally, actions, assessment)
    _add_actions(tally, actions, assessment, hidden)
    _add_hidden(tally, assessment, hidden, hidden.findings if hidden else None)
    return tally


def tally_candidate(
    candidate: Candidate,
    hidden: HiddenDamage | None,
    own: Assessment,
    surveyed: Assessment | None,
    draws: Draws,
) -> Tally:
    """Add up a candidate: price, lead time, work, and what hides in it.

    A second-hand part is judged by its own survey, the own part refurbished by that of the structure; a
    new one hides nothing.
    """
    tally = Tally(candidate.id, draws)
    _add_price(tally, candidate)
    assessment = own if candidate.kind == "refurbish" else surveyed
    if candidate.kind != "new":
        if assessment is not None:
            _check_members(tally, candidate.actions, assessment)
        _add_hidden(tally, assessment, hidden, candidate.hidden_findings)
    _add_actions(tally, candidate.actions, assessment, hidden)
    return tally


def _add_price(tally: Tally, candidate: Candidate) -> None:
    ask = f"Get a binding quote for {candidate.id}."
    for what, spread in (("money", candidate.price), ("days", candidate.days)):
        label = "price" if what == "money" else "lead time"
        if spread is None:
            tally.lack(f"no {label} is stated.", "money" if what == "money" else "days")
            continue
        drawn = tally.draws.spread(f"{candidate.id}: {label}", spread, f"{candidate.id}: quote", ask)
        if what == "money":
            tally.price = drawn
            tally.sums["money"] = tally.sums["money"] + drawn
        else:
            tally.sums["days"] = tally.sums["days"] + drawn


def _add_actions(
    tally: Tally, actions: Sequence[WorkAction], assessment: Assessment | None, hidden: HiddenDamage | None
) -> None:
    for action in actions:
        label = _label(action)
        probability = _needed(tally, action, assessment, hidden)
        if probability is None:
            continue
        group = f"{tally.who}: whether {label} is needed"
        remedy = (
            f"Look at the unseen area of {action.member}."
            if action.if_hidden_over
            else f"Find out whether {label} is needed."
        )
        times = tally.draws.chance(f"{tally.who}: {label} needed", probability, group, remedy)
        tally.add(label, action, f"Get a firmer estimate of {label}.", times)


def _label(action: WorkAction) -> str:
    """Name an action for a reader; the id in it keeps two of the same name apart."""
    return f"{action.name} ({action.id})" if action.name else action.id


def _needed(
    tally: Tally, action: WorkAction, assessment: Assessment | None, hidden: HiddenDamage | None
) -> float | None:
    if action.needed is not None:
        return action.needed
    if not action.if_hidden_over:
        return 1.0
    label = _label(action)
    if assessment is None:
        tally.lack(f"whether {label} is needed is not known: there is no survey to tell from.")
        return None
    probability, reason = hidden_over_limit(assessment, action.member or "", hidden)
    if probability is None:
        tally.lack(f"whether {label} is needed is not known: {reason} State 'needed' to go on.")
        return None
    tally.notes.append(f"{tally.who}: {label} is needed with probability {probability:.2f}, by the survey.")
    return probability


def _add_hidden(
    tally: Tally, assessment: Assessment | None, hidden: HiddenDamage | None, stated: Spread | None
) -> None:
    """Add the work on hidden findings: their number by the survey, or as stated."""
    faces = unseen_faces(assessment) if assessment is not None else []
    unseen = [f for f in faces if f.unseen_mm2 > 0.0]
    if assessment is not None and not unseen and stated is None:
        return
    if assessment is None and stated is None:
        tally.lack("it has no survey, and 'hidden_findings' does not say what to expect in it.")
        return
    if hidden is None:
        tally.lack("the work on a hidden finding is not stated, and part of it was not seen.")
        return
    if stated is not None:
        group, ask = f"{tally.who}: unseen area", f"Survey {tally.who}, or look at its unseen area."
        number = tally.draws.spread(f"{tally.who}: hidden findings", stated, group, ask)
        notes: list[str] = []
    else:
        drawn, notes = draw_hidden_findings(tally.who, faces, hidden, tally.draws)
        if drawn is None:
            tally.missing |= set(WHATS)
            tally.reasons += notes
            return
        number = drawn
    tally.notes += notes
    tally.notes.append(f"{tally.who}: {float(number.mean()):.1f} hidden findings are expected on average.")
    tally.add("work per hidden finding / place", hidden, "Open one hidden place and time the work.", number)


def _check_members(tally: Tally, actions: Sequence[WorkAction], assessment: Assessment) -> None:
    """Look for members without an action; with one over its limit the sum is too small to be compared."""
    named = {action.member for action in actions}
    members = {m.member.id for m in assessment.members}
    for name in sorted(n for n in named - members if n is not None):
        tally.lack(f"an action names member {name!r}, which the survey does not have.")
    for member in assessment.members:
        if member.member.id in named:
            continue
        if member.verdict is Verdict.OVER:
            tally.lack(f"{member.member.id} is over its limit and no action names it.")
        elif member.verdict is not Verdict.WITHIN or member.unblended_pits:
            tally.notes.append(
                f"{tally.who}: no action names {member.member.id} (removal {member.verdict}, "
                f"{len(member.unblended_pits)} pits not blended)."
            )
