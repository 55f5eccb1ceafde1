"""Confidence set of the ratio of two normal estimates, by Fieller's theorem.

E. C. Fieller, "Some problems in interval estimation", J. R. Stat. Soc. B 16 (1954) 175-185 (citation from
memory). For numerator a and denominator b with variances and covariance, every ratio r is kept for which
a - r b, which is normal with mean 0 if r is the true ratio, is not significantly off zero:

    (a - r b)^2 <= z^2 (V_a - 2 r C + r^2 V_b)

The set covers the true ratio with exactly the stated probability. It is an interval only where b differs
significantly from zero; else it is open: all but an interval, or everything. It does not pretend otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from scipy.special import ndtri


class SetKind(StrEnum):
    """Shape of a Fieller set."""

    BETWEEN = "between"
    OUTSIDE = "outside"
    EVERYTHING = "everything"


@dataclass(frozen=True)
class RatioSet:
    """All ratios that the estimates do not contradict.

    ``BETWEEN``: low to high. ``OUTSIDE``: up to low, and from high on. ``EVERYTHING``: no ends.
    """

    kind: SetKind
    low: float
    high: float


def critical(level: float) -> float:
    """Two-sided critical value of the normal distribution: 1.96 for a level of 0.05.

    Raises
    ------
    ValueError
        If the level is not between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level {level!r} is not between 0 and 1")
    return float(ndtri(1.0 - level / 2.0))


def fieller(
    numerator: float,
    denominator: float,
    variances: tuple[float, float],
    covariance: float,
    *,
    level: float = 0.05,
) -> RatioSet:
    """Confidence set of numerator / denominator.

    Parameters
    ----------
    numerator, denominator : float
        Estimates, jointly normal.
    variances : tuple of float
        Of the numerator and of the denominator.
    covariance : float
    level : float
        The set has the coverage 1 - level.

    Returns
    -------
    RatioSet
    """
    z2 = critical(level) ** 2
    # p r^2 - 2 q r + s <= 0
    p = denominator**2 - z2 * variances[1]
    q = numerator * denominator - z2 * covariance
    s = numerator**2 - z2 * variances[0]
    inside = q**2 - p * s
    if p > 0.0:
        # q^2 - p s >= 0 always holds here (Cauchy-Schwarz); rounding may dip below.
        root = math.sqrt(max(inside, 0.0))
        return RatioSet(SetKind.BETWEEN, (q - root) / p, (q + root) / p)
    if p == 0.0 or inside <= 0.0:
        return RatioSet(SetKind.EVERYTHING, -math.inf, math.inf)
    root = math.sqrt(inside)
    return RatioSet(SetKind.OUTSIDE, (q + root) / p, (q - root) / p)
