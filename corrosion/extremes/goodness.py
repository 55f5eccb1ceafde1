"""Plotting positions, and how well a fitted distribution agrees with its sample."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import betaincinv, chdtrc

from corrosion.errors import MetrologyError
from corrosion.extremes.fit import LEAST_GEV, Fit, Law, fit_gev
from corrosion.quantity import FloatArray

ANDERSON_DARLING_5_PERCENT = 0.757
"""Upper 5 % point of A2 (1 + 0.2 / sqrt(n)) for a Gumbel with both parameters estimated: M. A. Stephens,
Biometrika 64 (1977) 583, from memory."""
SIGNIFICANCE = 0.05


class Position(StrEnum):
    """Rule for the plotting position of the i-th of n ordered values."""

    MEAN_RANK = "i / (n + 1)"
    MEDIAN_RANK = "median rank"
    BENARD = "(i - 0.3) / (n + 0.4)"


def plotting_positions(count: int, rule: Position = Position.MEAN_RANK) -> FloatArray:
    """Non-exceedance probabilities of `count` ordered values, smallest first.

    Mean ranks are those of ASTM G46 (from memory); the exact median rank is the median of the beta
    distribution of the i-th order statistic, and Benard's rule approximates it.
    """
    i = np.arange(1, count + 1, dtype=np.float64)
    if rule is Position.MEAN_RANK:
        return i / (count + 1.0)
    if rule is Position.BENARD:
        return (i - 0.3) / (count + 0.4)
    return np.asarray(betaincinv(i, count - i + 1.0, 0.5), dtype=np.float64)


def reduced_variate(probability: FloatArray) -> FloatArray:
    """Gumbel's reduced variate y = -ln(-ln p): on it a Gumbel sample lies on a straight line."""
    return -np.log(-np.log(np.asarray(probability, dtype=np.float64)))


@dataclass(frozen=True)
class Goodness:
    """How well a Gumbel fit agrees with its sample.

    Attributes
    ----------
    anderson_darling : float or None
        A2 (1 + 0.2 / sqrt(n)); None for samples with bounds or part blocks, where it has no table.
    straightness : float
        Correlation of the known maxima with the reduced variates of their mean ranks.
    gev_better : float or None
        Probability of so large a gain in likelihood by a GEV if the Gumbel is right; None below
        `LEAST_GEV` maxima or where no GEV can be fitted.
    """

    anderson_darling: float | None
    straightness: float
    gev_better: float | None

    @property
    def doubtful(self) -> bool | None:
        """Whether the Gumbel is rejected at 5 % by either test; None where neither could be made."""
        if self.anderson_darling is None and self.gev_better is None:
            return None
        high = self.anderson_darling is not None and self.anderson_darling > ANDERSON_DARLING_5_PERCENT
        return high or (self.gev_better is not None and self.gev_better < SIGNIFICANCE)


def goodness_of(fit: Fit) -> Goodness:
    """Judge a Gumbel fit.

    Raises
    ------
    MetrologyError
        If `fit` is not a Gumbel.
    """
    if fit.law is not Law.GUMBEL:
        raise MetrologyError("goodness is judged for a Gumbel fit, the GEV being its rival.")
    ordered = np.sort(fit.sample.exact)
    straight = np.corrcoef(ordered, reduced_variate(plotting_positions(len(ordered))))[0, 1]
    return Goodness(
        anderson_darling=_anderson_darling(fit) if fit.sample.complete else None,
        straightness=float(straight),
        gev_better=_gev_better(fit),
    )


def _anderson_darling(fit: Fit) -> float:
    x = np.sort(fit.sample.values)
    n = len(x)
    i = np.arange(1, n + 1)
    log_f = -np.exp(-(x - fit.location) / fit.scale)
    log_over = np.log(-np.expm1(log_f))
    a2 = -n - float(((2 * i - 1) * (log_f + log_over[::-1])).sum()) / n
    return float(a2 * (1.0 + 0.2 / math.sqrt(n)))


def _gev_better(fit: Fit) -> float | None:
    """Likelihood-ratio test of shape 0 (Coles 2001, 2.6.6)."""
    if len(fit.sample.exact) < LEAST_GEV:
        return None
    try:
        rival = fit_gev(fit.sample)
    except MetrologyError:
        return None
    gain = max(2.0 * (rival.log_likelihood - fit.log_likelihood), 0.0)
    return float(chdtrc(1, gain))
