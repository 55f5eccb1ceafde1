"""What knowing more would be worth, and which inputs drive a difference.

Someone who must choose now takes the option of least expected cost. Knowing an input first lets them
choose better; the expected saving is the value of perfect information of that input (EVPI; H. Raiffa,
R. Schlaifer, "Applied Statistical Decision Theory", 1961). For one input it is estimated by regressing
the costs on it (M. Strong, J. E. Oakley, A. Brennan, Medical Decision Making 34 (2014) 311). Both from
memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from corrosion.quantity import FloatArray

_ROUNDING = 1e-9
DEGREE = 3
"""Of the polynomial in each input. Costs are sums and products of inputs, so that the expectation given
one of them is nearly straight."""


def value_of_perfect_information(costs: FloatArray) -> float:
    """Estimate the saving if everything were known before choosing.

    Parameters
    ----------
    costs : ndarray of shape (k, n)
        Cost of k options in n draws.
    """
    return float(costs.mean(axis=1).min() - costs.min(axis=0).mean())


def value_of_knowing(costs: FloatArray, inputs: Sequence[FloatArray]) -> float:
    """Estimate the saving if some inputs were known before choosing.

    Parameters
    ----------
    costs : ndarray of shape (k, n)
    inputs : sequence of ndarray of shape (n,)
        Known together.
    """
    expected = expected_given(costs, inputs)
    least = float(costs.mean(axis=1).min())
    saving = least - float(expected.min(axis=0).mean())
    return saving if saving > _ROUNDING * abs(least) else 0.0


def expected_given(values: FloatArray, inputs: Sequence[FloatArray]) -> FloatArray:
    """Regress values, shape (k, n), on inputs: their expectation given the inputs, shape (k, n)."""
    columns = [np.ones(values.shape[1])]
    for x in inputs:
        columns += _powers(x)
    design = np.array(columns)
    # Normal equations: the columns are standardised and few, and this is ten times as fast as QR.
    gram = design @ design.T / values.shape[1]
    moments = design @ values.T / values.shape[1]
    coefficients = np.linalg.lstsq(gram, moments, rcond=1e-10)[0]
    return np.asarray(coefficients.T @ design, dtype=np.float64)


def variance_share(difference: FloatArray, x: FloatArray) -> float:
    """Share of the variance of a difference, shape (n,), that goes away when an input is known."""
    total = float(difference.var())
    return float(expected_given(difference[None, :], [x])[0].var()) / total if total > 0.0 else 0.0


def rank_correlation(x: FloatArray, y_ranks: FloatArray) -> float:
    """Spearman's rank correlation of an input with something already ranked by `ranks`."""
    x_ranks = ranks(x)
    if np.ptp(x_ranks) == 0.0 or np.ptp(y_ranks) == 0.0:
        return 0.0
    return float(np.corrcoef(x_ranks, y_ranks)[0, 1])


def ranks(x: FloatArray) -> FloatArray:
    """Ranks from 1, equal values sharing their mean rank."""
    _, where, count = np.unique(x, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2.0)[where], dtype=np.float64)


def _powers(x: FloatArray) -> list[FloatArray]:
    spread = float(x.std())
    if spread == 0.0:
        return []
    z = (x - x.mean()) / spread
    # A yes-or-no input has two values, which a straight line meets exactly.
    powers = [z]
    for _ in range(min(DEGREE, len(np.unique(z[:1000])) - 1) - 1):
        powers.append(powers[-1] * z)
    return powers
