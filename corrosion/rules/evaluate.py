"""Which rule a finding falls under, and when none or too many do.

Conditions are three-valued: true, false, or open where a quantity is unknown or too close to its bound to
call. A table's gaps and conflicts are returned as such, never filled.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from scipy.special import ndtri

from corrosion.model.planning import Action, Comparison, Condition, RuleQuantity, RuleRow

_ROUNDING = 1e-9

QUANTITY_WORDS: dict[RuleQuantity, str] = {
    RuleQuantity.DEPTH_SHARE: "removed thickness as a share of the thickness",
    RuleQuantity.LIMIT_SHARE: "removed thickness as a share of the limit",
    RuleQuantity.AREA_SHARE: "damaged share of the panel's area",
    RuleQuantity.SECTION_SHARE: "damaged share of the cross section",
    RuleQuantity.SECTION_LOSS_SHARE: "lost share of the section's metal",
    RuleQuantity.ADJACENT_UNAFFECTED: "adjacent structure unaffected",
    RuleQuantity.ATTACHMENT_POSSIBLE: "remaining area allows attachment",
    RuleQuantity.GREATER_THAN_MINOR: "damage greater than minor",
    RuleQuantity.CRITICAL: "critical or highly stressed",
}

_HOLDS: dict[Comparison, Callable[[float, float], bool]] = {
    Comparison.LESS: operator.lt,
    Comparison.AT_MOST: operator.le,
    Comparison.MORE: operator.gt,
    Comparison.AT_LEAST: operator.ge,
}


@dataclass(frozen=True)
class Fact:
    """A quantity that a rule asks about: a share with its standard uncertainty, or a stated truth."""

    value: float | bool
    u: float = 0.0


Facts = Mapping[RuleQuantity, Fact]


@dataclass(frozen=True)
class RuleAnswer:
    """What the rules say, by which row, and why."""

    action: Action
    rule: RuleRow | None
    reasons: list[str]


def ask_rules(
    rows: list[RuleRow], kind: str, facts: Facts, *, within_probability: float = 0.05
) -> RuleAnswer:
    """Find the action the rules give.

    Parameters
    ----------
    rows : list of RuleRow
    kind : str
        The member's kind; rows for other kinds do not count.
    facts : mapping of RuleQuantity to Fact
        What is known; what is missing is unknown, not false.
    within_probability : float
        Largest probability of being wrong with which a comparison still counts as decided.

    Returns
    -------
    RuleAnswer
        *Not determined* where no row covers the case (a gap), rows contradict each other, a row's own
        needs are not met (an inner conflict), or something unknown decides.
    """
    mine = [
        row for row in rows if not row.applies_to or kind.casefold() in map(str.casefold, row.applies_to)
    ]
    if not mine:
        return _undetermined(f"No rule is for a member of the kind {kind!r}: engineering.")
    truths = [(row, _all(row.when, facts, within_probability)) for row in mine]
    met = [row for row, truth in truths if truth]
    maybe = [row for row, truth in truths if truth is None]
    if maybe:
        return _undetermined(*(_open_words(row, facts, within_probability) for row in maybe))
    if not met:
        return _undetermined(
            "No rule covers this case, the table has a gap here: undetermined, engineering.",
            *(f"{words} {show_fact(facts[q])}." for q, words in QUANTITY_WORDS.items() if q in facts),
        )
    if len({row.action for row in met}) > 1:
        names = " and ".join(f"{row.label} ({row.action})" for row in met)
        return _undetermined(f"Rules contradict each other: {names}. Undetermined, engineering.")
    return _own_needs(met[0], facts, within_probability)


def _own_needs(row: RuleRow, facts: Facts, alpha: float) -> RuleAnswer:
    needs = _all(row.only_if, facts, alpha)
    if needs is None:
        return _undetermined(_open_words(row, facts, alpha))
    if not needs:
        failed = [c for c in row.only_if if _truth(c, facts, alpha) is False]
        asked = ", ".join(_condition_words(c) for c in failed)
        return _undetermined(
            f"{row.label}: the damage is within this class, but what its action needs is not ({asked}). "
            f"The table contradicts itself here: undetermined, engineering ({cite(row)})."
        )
    held = "; ".join(f"{_condition_words(c)}: {show_fact(facts[c.quantity])}" for c in row.when)
    return RuleAnswer(row.action, row, [f"{row.label}: {row.words} ({held}) ({cite(row)})."])


def cite(row: RuleRow) -> str:
    """Cite a rule: source, edition, paragraph."""
    return f"{row.source}, {row.edition}, {row.paragraph}"


def show_fact(fact: Fact) -> str:
    """Write a fact for a reader: a share in percent, or yes and no."""
    if isinstance(fact.value, bool):
        return "yes" if fact.value else "no"
    spread = f" ± {2 * fact.u:.1%}" if fact.u else ""
    return f"{fact.value:.1%}{spread}"


def _undetermined(*reasons: str) -> RuleAnswer:
    return RuleAnswer(Action.NOT_DETERMINED, None, list(reasons))


def _condition_words(condition: Condition) -> str:
    words = QUANTITY_WORDS[condition.quantity]
    if condition.op is Comparison.IS:
        return f"{words}: {'yes' if condition.value else 'no'}"
    return f"{words} {condition.op} {condition.value:.0%}"


def _open_words(row: RuleRow, facts: Facts, alpha: float) -> str:
    """Say what leaves a row open."""
    undecided = [c for c in [*row.when, *row.only_if] if _truth(c, facts, alpha) is None]
    parts = [
        f"{_condition_words(c)} ({show_fact(facts[c.quantity])}, too close to call)"
        if c.quantity in facts
        else f"{_condition_words(c)} (not known)"
        for c in undecided
    ]
    return f"{row.label} cannot be decided: {'; '.join(parts)}."


def _all(conditions: list[Condition], facts: Facts, alpha: float) -> bool | None:
    truths = [_truth(condition, facts, alpha) for condition in conditions]
    if False in truths:
        return False
    return None if None in truths else True


def _truth(condition: Condition, facts: Facts, alpha: float) -> bool | None:
    fact = facts.get(condition.quantity)
    if fact is None:
        return None
    if condition.op is Comparison.IS:
        return fact.value is condition.value if isinstance(fact.value, bool) else None
    if isinstance(fact.value, bool):
        return None
    bound = float(condition.value)
    spread = float(ndtri(1.0 - alpha)) * fact.u
    ends = {_holds(condition.op, fact.value + sign * spread, bound) for sign in (-1.0, 1.0)}
    return ends.pop() if len(ends) == 1 else None


def _holds(op: Comparison, value: float, bound: float) -> bool:
    # 0.008 in of 0.040 in is a fifth, whatever binary fractions make of it.
    same = math.isclose(value, bound, rel_tol=_ROUNDING)
    return _HOLDS[op](bound if same else value, bound)
