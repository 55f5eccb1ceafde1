"""Propagation of distributions by Monte Carlo, after JCGM 101:2008 (GUM Supplement 1).

Where first-order propagation fails - a strongly bent model, an uncertainty that is no longer small -
the inputs are drawn at random, the model is worked for each draw, and uncertainty and interval are read
from the results. Seed and number of draws belong to the result: the same call gives the same digits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from corrosion.quantity import FloatArray, Measured

DRAWS = 20_000
"""Draws where no other number is given: u is then known to 0.5 %, the 95 % ends to about 2 % of u."""
SEED = 101
COVERAGE = 0.95
LEAST_BATCH = 10_000

Draw = Callable[[np.random.Generator, int], FloatArray]
"""Draws one input m times: an array whose first dimension is m."""
Model = Callable[..., FloatArray]
"""The model: takes every input by name, works on all draws at once, returns an array of shape (m,)."""


@dataclass(frozen=True)
class Drawn:
    """What the draws say of the output.

    Attributes
    ----------
    mean : float
        Average of the draws: the estimate of JCGM 101, 7.6.
    u : float
        Their standard deviation.
    shortest, symmetric : (low, high)
        The shortest coverage interval, and the one that leaves the same probability on either side.
    coverage : float
        Coverage probability of both.
    draws : int
        Number of draws.
    seed : int
        Of `numpy.random.default_rng`.
    settled : bool
        False where an adaptive run reached its most draws before its digits stood still.
    """

    mean: float
    u: float
    shortest: tuple[float, float]
    symmetric: tuple[float, float]
    coverage: float
    draws: int
    seed: int
    settled: bool = True

    @classmethod
    def of(cls, values: FloatArray, *, seed: int, coverage: float = COVERAGE) -> Drawn:
        """Summarise draws of shape (m,)."""
        ordered = np.sort(np.asarray(values, dtype=np.float64))
        return cls(
            mean=float(ordered.mean()),
            u=float(ordered.std(ddof=1)),
            shortest=shortest_interval(ordered, coverage),
            symmetric=symmetric_interval(ordered, coverage),
            coverage=coverage,
            draws=len(ordered),
            seed=seed,
        )


def propagate(
    function: Model,
    draws: Mapping[str, Draw],
    *,
    count: int = DRAWS,
    seed: int = SEED,
    coverage: float = COVERAGE,
) -> Drawn:
    """Propagate distributions through a model.

    Parameters
    ----------
    function : callable
        Called once with every input as keyword argument of shape (count, ...); returns shape (count,).
    draws : mapping of str to callable
        How each independent input is drawn; a joint distribution is one input with more columns.
    count : int
        Number of draws M.
    seed : int
    coverage : float
        Coverage probability of the intervals.

    Returns
    -------
    Drawn
    """
    return Drawn.of(
        _values(function, draws, count, np.random.default_rng(seed)), seed=seed, coverage=coverage
    )


def propagate_adaptive(
    function: Model,
    draws: Mapping[str, Draw],
    *,
    digits: int = 2,
    most: int = 5_000_000,
    seed: int = SEED,
    coverage: float = COVERAGE,
) -> Drawn:
    """Draw in batches until mean, u and both ends of the interval stand still (JCGM 101:2008, 7.9.4).

    A batch is max(100 / (1 - p), 10 000) draws. It stops when twice the standard deviation of the
    average over batches is below the numerical tolerance of u (see `numerical_tolerance`) for all four.

    Parameters
    ----------
    digits : int
        Significant digits of u that shall be right.
    most : int
        Draws after which to give up; the result then says it has not `settled`.

    Returns
    -------
    Drawn
        Ends of intervals from all draws together.
    """
    rng = np.random.default_rng(seed)
    batch = max(LEAST_BATCH, math.ceil(100.0 / (1.0 - coverage)))
    values: list[FloatArray] = []
    found: list[list[float]] = []
    settled = False
    while not settled and len(values) * batch < most:
        values.append(_values(function, draws, batch, rng))
        one = Drawn.of(values[-1], seed=seed, coverage=coverage)
        found.append([one.mean, one.u, *one.symmetric, *one.shortest])
        settled = len(found) > 1 and _settled(np.array(found), np.concatenate(values), digits)
    everything = Drawn.of(np.concatenate(values), seed=seed, coverage=coverage)
    return everything if settled else _unsettled(everything)


def _values(function: Model, draws: Mapping[str, Draw], count: int, rng: np.random.Generator) -> FloatArray:
    inputs = {name: draw(rng, count) for name, draw in draws.items()}
    return np.asarray(function(**inputs), dtype=np.float64)


def _settled(found: FloatArray, values: FloatArray, digits: int) -> bool:
    spread = found.std(axis=0, ddof=1) / math.sqrt(len(found))
    return bool((2.0 * spread < numerical_tolerance(float(values.std(ddof=1)), digits)).all())


def _unsettled(drawn: Drawn) -> Drawn:
    fields = {**drawn.__dict__, "settled": False}
    return Drawn(**fields)


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Half a unit of the last of `digits` significant digits of u (JCGM 101:2008, 7.9.2).

    u = 0.35 with two digits is 35 x 10^-2, so the tolerance is 0.005.
    """
    if u == 0.0:
        return 0.0
    exponent = math.floor(math.log10(abs(u)))
    # 0.0999 rounds up to 0.10 with two digits: the power is that of the rounded number.
    if round(abs(u) / 10.0 ** (exponent - digits + 1)) >= 10**digits:
        exponent += 1
    return 0.5 * 10.0 ** (exponent - digits + 1)


def first_order_holds(value: float, u: float, drawn: Drawn, *, factor: float, digits: int = 2) -> bool:
    """Whether ``value`` +- ``factor`` u has the ends of the draws' interval (JCGM 101:2008, clause 8).

    Parameters
    ----------
    value, u : float
        By first-order propagation.
    factor : float
        Coverage factor of the same coverage probability.
    digits : int
        Significant digits of u that matter.
    """
    low, high = drawn.symmetric
    tolerance = numerical_tolerance(u, digits)
    return abs(value - factor * u - low) <= tolerance and abs(value + factor * u - high) <= tolerance


def symmetric_interval(ordered: FloatArray, coverage: float = COVERAGE) -> tuple[float, float]:
    """Interval with (1 - p) / 2 of sorted draws below it and as many above (JCGM 101:2008, 7.7.2)."""
    q = _inside(len(ordered), coverage)
    first = (len(ordered) - q) // 2
    return float(ordered[first]), float(ordered[min(first + q, len(ordered) - 1)])


def shortest_interval(ordered: FloatArray, coverage: float = COVERAGE) -> tuple[float, float]:
    """Shortest interval that holds the share p of sorted draws (JCGM 101:2008, 7.7, note 4, 5.3.4)."""
    q = _inside(len(ordered), coverage)
    widths = ordered[q:] - ordered[: len(ordered) - q]
    first = int(np.argmin(widths))
    return float(ordered[first]), float(ordered[first + q])


def _inside(count: int, coverage: float) -> int:
    return min(int(coverage * count + 0.5), count - 1)


@dataclass(frozen=True)
class DrawnMeasured(Measured):
    """A measured value whose uncertainty was found by drawing.

    `u` is that of the draws; the budget keeps the proportions of first order, scaled to it, so that
    sums with other measures still know what they share. `value` stays the measure of the data as they
    are: each redraw adds noise to data that have theirs already, so the draws' mean has a bias twice.

    Attributes
    ----------
    drawn : Drawn or None
        Intervals, seed and number of draws.
    """

    drawn: Drawn | None = None

    @classmethod
    def of(cls, first_order: Measured, drawn: Drawn) -> DrawnMeasured:
        """Give a first-order measure the draws' u and interval."""
        wider = first_order.scaled(drawn.u / first_order.u, value=first_order.value)
        return cls(
            wider.value, wider.unit, wider.shared, wider.own, wider.flags, known=wider.known, drawn=drawn
        )

    def scaled(self, factor: float, *, value: float | None = None, unit: str = "") -> Measured:
        """Multiply the sensitivities, see `Measured.scaled`; the interval is not carried over."""
        plain = Measured(self.value, self.unit, self.shared, self.own, self.flags, self.known)
        return plain.scaled(factor, value=value, unit=unit)
