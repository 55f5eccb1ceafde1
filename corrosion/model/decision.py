"""What a decision between repair and replacement is made of: actions, rates, candidates.

All of it is the user's: the program has no hours, prices or rates of its own.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from corrosion.model.base import Amount, Identifier, Part, PositiveLength, Text

Probability = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


class Spread(Part):
    """A doubtful amount: the lowest, the likeliest and the highest it may be."""

    low: Amount
    likely: Amount
    high: Amount

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"low {self.low:g}, likely {self.likely:g} and high {self.high:g} are not in this order"
            )
        return self


ONCE = Spread(low=1.0, likely=1.0, high=1.0)


class WorkAction(Part):
    """One piece of work. What is left out is *not stated*, not nothing: nothing is written as zeros.

    `hours` are working hours, `money` is parts, materials and work bought in, `days` are calendar days the
    work holds the structure up. `needed` is how likely the action is needed at all. With `if_hidden_over`
    it is needed when the deepest pit in the unseen area of `member` exceeds its limit; that probability
    is estimated from the survey, and a stated `needed` takes its place.
    """

    id: Identifier
    name: Text = ""
    member: Identifier | None = None
    hours: Spread | None = None
    money: Spread | None = None
    days: Spread | None = None
    needed: Probability | None = None
    if_hidden_over: bool = False
    source: Text = ""

    @model_validator(mode="after")
    def _hidden_where(self) -> Self:
        if self.if_hidden_over and self.member is None:
            raise ValueError("'if_hidden_over' needs the 'member' whose unseen area is meant")
        return self


class HiddenDamage(Part):
    """Work to expect where nobody has looked, for one hidden finding.

    The number of findings follows from those in the seen area; `worse` is how many times as many the
    unseen area has per area (1: as the seen one). `findings` states the number outright instead.
    `block` and `least_depth` are the side of a block, and the shallowest pit that would have been found,
    for the deepest unseen pit.
    """

    hours: Spread | None = None
    money: Spread | None = None
    days: Spread | None = None
    worse: Spread = ONCE
    findings: Spread | None = None
    block: PositiveLength | None = None
    least_depth: PositiveLength | None = None
    source: Text = ""


class Candidate(Part):
    """A way to replace the structure: a new one, a second-hand one, or the own one refurbished elsewhere.

    `days` is the lead time; `actions` are what it takes to fit it and to bring it to standard. `survey`
    names the second-hand part's own survey; where there is none, `hidden_findings` must say what to
    expect in it.
    """

    id: Identifier
    kind: Literal["new", "second-hand", "refurbish"]
    name: Text = ""
    price: Spread | None = None
    days: Spread | None = None
    actions: list[WorkAction] = []
    survey: Annotated[str, Field(min_length=1, max_length=400)] | None = None
    hidden_findings: Spread | None = None
    source: Text = ""


class Rates(Part):
    """Money for an hour of work and, where it counts, for a day out of use."""

    currency: Annotated[str, Field(min_length=1, max_length=12)]
    hour: Spread | None = None
    day: Spread | None = None
    source: Text = ""


class Decision(Part):
    """Repair versus replacement of the surveyed structure.

    `correlation` is how far the estimates of work err together: 0 where each errs alone, near 1 where
    the same person was too hopeful everywhere. Sums of many estimates look too sure without it.
    """

    rates: Rates
    actions: list[WorkAction] = []
    hidden: HiddenDamage | None = None
    candidates: list[Candidate] = []
    correlation: Annotated[float, Field(ge=0, lt=1)] = 0.0
    draws: Annotated[int, Field(ge=1_000, le=500_000)] = 100_000
    seed: Annotated[int, Field(ge=0, le=2**32 - 1)] = 1
    note: Text = ""

    @model_validator(mode="after")
    def _unique(self) -> Self:
        _once("action", [a.id for a in self.actions])
        _once("candidate", [c.id for c in self.candidates])
        for candidate in self.candidates:
            _once(f"candidate {candidate.id!r}: action", [a.id for a in candidate.actions])
            if candidate.id == "repair":
                raise ValueError("a candidate cannot be called 'repair': that is the other side")
        return self


def _once(what: str, ids: list[str]) -> None:
    for one in ids:
        if ids.count(one) > 1:
            raise ValueError(f"{what} id {one!r} occurs more than once")
