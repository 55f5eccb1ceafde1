"""What a comparison of repair and replacement says, as frozen values. Money in the user's currency."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from corrosion.quantity import FloatArray

CAUTION = (
    "This is a planning aid. It compares estimates; it approves no repair and releases nothing to service. "
    "A licensed person decides, under local rules and approved data."
)

REPAIR = "repair"
Kind = Literal["repair", "new", "second-hand", "refurbish"]


@dataclass(frozen=True)
class Spread5:
    """A distribution by mean, standard deviation and five percentiles (5, 25, 50, 75, 95 %)."""

    mean: float
    sd: float
    p5: float
    p25: float
    p50: float
    p75: float
    p95: float

    @classmethod
    def of(cls, values: FloatArray) -> Spread5:
        """Summarise draws of shape (n,)."""
        low, quarter, half, three, high = (float(v) for v in np.percentile(values, [5, 25, 50, 75, 95]))
        return cls(float(values.mean()), float(values.std()), low, quarter, half, three, high)


@dataclass(frozen=True)
class Share:
    """A probability counted in draws, with the standard error of the counting."""

    value: float
    error: float

    @classmethod
    def of(cls, wins: FloatArray) -> Share:
        """Average wins (1), losses (0) and ties (1/2), shape (n,)."""
        value = float(wins.mean())
        return cls(value, math.sqrt(max(float(wins.var()), 0.0) / len(wins)))


@dataclass(frozen=True)
class Totals:
    """Totals of one option in every draw, shape (n,); None where not determined."""

    hours: FloatArray | None
    money: FloatArray | None
    days: FloatArray | None
    price: FloatArray | None = None


@dataclass(frozen=True)
class OptionResult:
    """One way to go.

    `reasons` says why something is not determined, `notes` what was assumed. `cheapest` is the
    probability of costing least among the options whose money is determined.
    """

    id: str
    kind: Kind
    name: str
    hours: Spread5 | None
    money: Spread5 | None
    days: Spread5 | None
    totals: Totals
    cheapest: float | None = None
    reasons: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class BreakEven:
    """Price of a candidate at which it costs as much as the repair.

    Attributes
    ----------
    price : Spread5
        Below its 5th percentile the candidate is cheaper with 95 % probability, at its median with 50 %.
    stated_below : float
        Probability that the stated price lies below the break-even price.
    """

    price: Spread5
    stated_below: float


@dataclass(frozen=True)
class Comparison:
    """Repair against one candidate; None where not determined."""

    candidate_id: str
    repair_cheaper: Share | None
    repair_faster: Share | None
    saving: Spread5 | None
    break_even: BreakEven | None


@dataclass(frozen=True)
class Driver:
    """One doubtful input and what it does to the difference between repair and the best candidate.

    Attributes
    ----------
    correlation : float
        Spearman's, with cost of repair minus cost of the candidate: positive speaks against repair.
    variance_share : float
        Share of the difference's variance that goes away when this input is known.
    """

    name: str
    group: str
    correlation: float
    variance_share: float


@dataclass(frozen=True)
class Measurement:
    """What knowing a group of inputs would save on average, and how to come to know it."""

    group: str
    remedy: str
    value: float


@dataclass(frozen=True)
class DecisionResult:
    """Repair versus replacement.

    Attributes
    ----------
    options : list of OptionResult
        Repair first, then the candidates in the file's order.
    comparisons : list of Comparison
    drivers : list of Driver
        Largest share of variance first.
    measurements : list of Measurement
        Most valuable first; what is worth less than `noise` cannot be told from nothing.
    knowing_everything : float or None
        Value of perfect information: no measurement is worth more.
    reasons : list of str
        Why nothing, or not everything, could be compared.
    """

    currency: str
    options: list[OptionResult]
    comparisons: list[Comparison]
    drivers: list[Driver]
    measurements: list[Measurement]
    knowing_everything: float | None
    noise: float
    reasons: list[str]
    notes: list[str]
    draws: int
    seed: int
    caution: str = CAUTION

    def option(self, name: str) -> OptionResult:
        """Give an option by id."""
        return next(o for o in self.options if o.id == name)
