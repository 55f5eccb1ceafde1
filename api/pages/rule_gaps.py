"""Where a table of rules says nothing, contradicts itself, or cannot keep its own needs.

Every combination of what the rules distinguish is asked: below, at and above each of their bounds, and
each stated fact both ways. What comes back without an answer is named, so that nobody takes a table's
silence for leave.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from corrosion.model.planning import Comparison, Condition, RuleQuantity, RuleRow
from corrosion.rules import Fact, ask_rules
from corrosion.rules.evaluate import QUANTITY_WORDS

MOST_CASES = 20_000

Box = tuple[frozenset[int], ...]


@dataclass(frozen=True)
class Gap:
    """Cases without an answer: for which members, which cases in words, and why (``gap`` and so on)."""

    kinds: str
    words: str
    why: str


@dataclass(frozen=True)
class _Side:
    """One quantity that rules distinguish, with the cases to try."""

    quantity: RuleQuantity
    bounds: tuple[float, ...]

    @property
    def values(self) -> list[float | bool]:
        """One value for each case: below, at, between and above the bounds; yes and no for a fact."""
        if not self.bounds:
            return [False, True]
        ends = [0.0, *self.bounds, 2.0 * self.bounds[-1]]
        inner = [(low + high) / 2.0 for low, high in itertools.pairwise(ends)]
        mixed = itertools.zip_longest(inner, self.bounds)
        return [value for pair in mixed for value in pair if value is not None]

    def words(self, cases: frozenset[int]) -> str:
        """Say which cases; empty where it is all of them."""
        if len(cases) == len(self.values):
            return ""
        name = QUANTITY_WORDS[self.quantity]
        if not self.bounds:
            return f"{name}: {'yes' if 1 in cases else 'no'}"
        return f"{name} {' or '.join(self._run(run) for run in _runs(sorted(cases)))}"

    def _run(self, run: tuple[int, int]) -> str:
        first, last = run
        if first == last and first % 2:
            return f"exactly {_percent(self.bounds[first // 2])}"
        parts = []
        if first > 0:
            at = self.bounds[first // 2] if first % 2 else self.bounds[first // 2 - 1]
            parts.append(f"{'from' if first % 2 else 'over'} {_percent(at)}")
        if last < 2 * len(self.bounds):
            at = self.bounds[last // 2]
            parts.append(f"{'up to' if last % 2 else 'under'} {_percent(at)}")
        return " and ".join(parts)


def _percent(share: float) -> str:
    return f"{100.0 * share:g} %"


def _runs(cases: list[int]) -> Iterator[tuple[int, int]]:
    first = last = cases[0]
    for case in cases[1:]:
        if case != last + 1:
            yield first, last
            first = case
        last = case
    yield first, last


def find_gaps(rows: list[RuleRow]) -> list[Gap]:
    """Name every case that a table distinguishes and does not answer.

    Parameters
    ----------
    rows : list of RuleRow

    Returns
    -------
    list of Gap
        Neighbouring cases are told together. A table that distinguishes more than `MOST_CASES` cases is
        not looked through, and says so.
    """
    kinds = sorted({kind.casefold() for row in rows for kind in row.applies_to}) or ["any member"]
    groups: dict[tuple[str, ...], list[str]] = {}
    for kind in kinds:
        mine = tuple(row.id for row in rows if _applies(row, kind))
        groups.setdefault(mine, []).append(kind)
    return [
        gap
        for ids, names in groups.items()
        for gap in _gaps_of([row for row in rows if row.id in ids], names)
    ]


def _applies(row: RuleRow, kind: str) -> bool:
    return not row.applies_to or kind in {name.casefold() for name in row.applies_to}


def _gaps_of(rows: list[RuleRow], kinds: list[str]) -> list[Gap]:
    said = ", ".join(kinds)
    sides = _sides(rows)
    cases = 1
    for side in sides:
        cases *= len(side.values)
    if cases > MOST_CASES:
        return [Gap(said, f"{cases:,} cases are distinguished, too many to look through", "not looked at")]
    open_cases: dict[str, set[Box]] = {}
    for numbers in itertools.product(*(range(len(side.values)) for side in sides)):
        facts = {s.quantity: Fact(s.values[n]) for s, n in zip(sides, numbers, strict=True)}
        why = _why_open(rows, kinds[0], facts)
        if why:
            open_cases.setdefault(why, set()).add(tuple(frozenset({n}) for n in numbers))
    return [
        Gap(said, "; ".join(filter(None, map(_words, zip(sides, box, strict=True)))) or "every case", why)
        for why, boxes in open_cases.items()
        for box in sorted(_joined(boxes), key=lambda box: [sorted(part) for part in box])
    ]


def _words(pair: tuple[_Side, frozenset[int]]) -> str:
    return pair[0].words(pair[1])


def _sides(rows: list[RuleRow]) -> list[_Side]:
    conditions = [condition for row in rows for condition in [*row.when, *row.only_if]]
    asked = {condition.quantity for condition in conditions}
    return [
        _Side(quantity, _bounds(conditions, quantity)) for quantity in RuleQuantity if quantity in asked
    ]


def _bounds(conditions: list[Condition], quantity: RuleQuantity) -> tuple[float, ...]:
    mine = [c for c in conditions if c.quantity is quantity and c.op is not Comparison.IS]
    return tuple(sorted({float(c.value) for c in mine if float(c.value) > 0.0}))


def _why_open(rows: list[RuleRow], kind: str, facts: dict[RuleQuantity, Fact]) -> str:
    """Say why the rules leave a case open; empty where they answer it."""
    met = [
        row
        for row in rows
        if ask_rules([row.model_copy(update={"only_if": []})], kind, facts).rule is not None
    ]
    if not met:
        return "gap: no rule covers it"
    if len({row.action for row in met}) > 1:
        return "contradiction: " + " and ".join(dict.fromkeys(f"{row.label} ({row.action})" for row in met))
    if ask_rules(rows, kind, facts).rule is None:
        return f"inner conflict: {met[0].label} covers it, but what its action needs is not met"
    return ""


def _joined(boxes: set[Box]) -> set[Box]:
    """Join cases that differ in one quantity only, until none are left that do."""
    if not boxes:
        return boxes
    for side in range(len(next(iter(boxes)))):
        groups: dict[Box, set[int]] = {}
        for box in boxes:
            rest = (*box[:side], frozenset(), *box[side + 1 :])
            groups.setdefault(rest, set()).update(box[side])
        boxes = {(*rest[:side], frozenset(part), *rest[side + 1 :]) for rest, part in groups.items()}
    return boxes
