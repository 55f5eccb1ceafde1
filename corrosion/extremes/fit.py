"""Gumbel and generalised extreme-value (GEV) distributions fitted to block maxima.

Formulas: S. Coles, "An Introduction to Statistical Modeling of Extreme Values" (2001), sections 3.1 to
3.4, from memory. With t = -ln F(x), the GEV is x(t) = location + scale (t^-shape - 1) / shape, and the
Gumbel its limit of shape 0. The maximum of r blocks has -ln F = r t: a larger area needs no other law.

SciPy's ``genextreme`` calls ``c`` what is ``-shape`` here: a positive shape is the heavy tail.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.special import chdtri, expm1

from corrosion.errors import MetrologyError
from corrosion.extremes.sample import AT_LEAST, AT_MOST, EXACT, Sample
from corrosion.quantity import FloatArray

LEAST_GUMBEL = 10
"""Blocks with a known maximum below which no Gumbel is fitted. A rule of ours: the scale's standard
error is 0.78 / sqrt(n) of itself, 25 % at ten."""
LEAST_GEV = 30
"""Likewise for the GEV. A rule of ours: the shape's standard error is 0.8 / sqrt(n), 0.15 at thirty."""
CONFIDENCE = 0.95
_NEARLY_GUMBEL = 1e-8
_STEEPEST = 1.0
_HOPELESS = 1e12


class Law(StrEnum):
    """Distribution of the largest of many."""

    GUMBEL = "Gumbel"
    GEV = "GEV"


@dataclass(frozen=True)
class Fit:
    """A fitted distribution of block maxima.

    Attributes
    ----------
    law : Law
    location, scale, shape : float
        Parameters mu, sigma (in the unit of the sample) and xi (0 for the Gumbel).
    log_likelihood : float
    covariance : ndarray of shape (2, 2) or (3, 3)
        Of location, scale and, for the GEV, shape: the inverse of the observed information.
    sample : Sample
        What was fitted.
    """

    law: Law
    location: float
    scale: float
    shape: float
    log_likelihood: float
    covariance: FloatArray
    sample: Sample

    @property
    def parameters(self) -> FloatArray:
        """Location, scale and, for the GEV, shape."""
        return np.array([self.location, self.scale, self.shape][: _count(self.law)])

    def at(self, t: float) -> float:
        """Value x whose ``-ln F(x)`` of one block is `t`."""
        return self.location + self.scale * _reduced(t, self.shape)

    def return_level(self, blocks: float) -> float:
        """Value exceeded by one block in `blocks` on average: F = 1 - 1 / blocks (Coles, 3.1.3)."""
        return self.at(return_period(blocks))

    def characteristic_largest(self, ratio: float) -> float:
        """Location of the largest of `ratio` blocks; for the Gumbel mu + sigma ln(ratio), its mode."""
        return self.at(1.0 / ratio)

    def largest(self, probability: float, ratio: float) -> float:
        """Value that the largest of `ratio` blocks stays below with `probability`."""
        return self.at(-math.log(probability) / ratio)

    def probability_over(self, value: float, ratio: float = 1.0) -> float:
        """Probability that the largest of `ratio` blocks exceeds `value`, parameters taken as exact."""
        return float(-expm1(-ratio * np.exp(_log_t(np.array([value]), *self._all())))[0])

    def _all(self) -> tuple[float, float, float]:
        return self.location, self.scale, self.shape

    def interval(self, t: float, confidence: float = CONFIDENCE) -> tuple[float, float]:
        """Profile-likelihood interval of ``at(t)`` (Coles, 2.6.6 and 3.3.4).

        Unlike +- the standard error it is longer upwards, as what is known of large values is.

        Raises
        ------
        MetrologyError
            If the likelihood is too flat to end the interval.
        """
        drop = float(chdtri(1, 1.0 - confidence)) / 2.0
        best, step = self.at(t), max(self.standard_error(t), 1e-3 * self.scale)

        def deficit(x: float) -> float:
            return self.log_likelihood - self._profile(x, t) - drop

        return _crossing(deficit, best, -step), _crossing(deficit, best, step)

    def standard_error(self, t: float) -> float:
        """Give the standard error of ``at(t)`` by the delta method (Coles, 3.3.3)."""
        slope = np.array([1.0, _reduced(t, self.shape), self.scale * _reduced_slope(t, self.shape)])
        slope = slope[: _count(self.law)]
        return math.sqrt(max(float(slope @ self.covariance @ slope), 0.0))

    def _profile(self, x: float, t: float) -> float:
        """Largest log-likelihood of all parameters that put ``at(t)`` at `x`."""

        def cost(log_scale: float, shape: float) -> float:
            scale = math.exp(log_scale)
            # An infinite cost would make the optimiser's parabolas undefined.
            return min(
                -log_likelihood(self.sample, x - scale * _reduced(t, shape), scale, shape), _HOPELESS
            )

        start = math.log(self.scale)
        if self.law is Law.GUMBEL:
            found = minimize_scalar(lambda s: cost(s, 0.0), bracket=(start - 0.1, start + 0.1))
            return -float(found.fun)
        found = minimize(
            lambda p: cost(float(p[0]), float(p[1])),
            [start, self.shape],
            method="Nelder-Mead",
            options={"xatol": 1e-6, "fatol": 1e-9},
        )
        return -float(found.fun)


def return_period(blocks: float) -> float:
    """``-ln F`` of the level exceeded once in `blocks` blocks.

    Raises
    ------
    MetrologyError
        If `blocks` is not above 1.
    """
    if not blocks > 1.0:
        raise MetrologyError(f"a return period of {blocks:g} blocks is not above 1.")
    return -math.log1p(-1.0 / blocks)


def fit_gumbel(maxima: ArrayLike | Sample) -> Fit:
    """Fit a Gumbel distribution by maximum likelihood.

    Raises
    ------
    MetrologyError
        If fewer than `LEAST_GUMBEL` maxima are known as values, or they have no spread.
    """
    return _fit(_sample(maxima), Law.GUMBEL, LEAST_GUMBEL)


def fit_gev(maxima: ArrayLike | Sample) -> Fit:
    """Fit a generalised extreme-value distribution by maximum likelihood.

    Raises
    ------
    MetrologyError
        If fewer than `LEAST_GEV` maxima are known as values, they have no spread, or the likelihood has
        no maximum with a shape between -1 and 1.
    """
    return _fit(_sample(maxima), Law.GEV, LEAST_GEV)


def gumbel_by_moments(maxima: ArrayLike) -> tuple[float, float]:
    """Location and scale of a Gumbel from mean and standard deviation (divisor n - 1)."""
    x = np.asarray(maxima, dtype=np.float64)
    scale = float(x.std(ddof=1)) * math.sqrt(6.0) / math.pi
    return float(x.mean()) - np.euler_gamma * scale, scale


def gumbel_by_l_moments(maxima: ArrayLike) -> tuple[float, float]:
    """Location and scale of a Gumbel from the first two sample L-moments (unbiased)."""
    x = np.sort(np.asarray(maxima, dtype=np.float64))
    n = len(x)
    second = float(2.0 * (np.arange(n) * x).sum() / (n * (n - 1)) - x.mean())
    scale = second / math.log(2.0)
    return float(x.mean()) - np.euler_gamma * scale, scale


def log_likelihood(sample: Sample, location: float, scale: float, shape: float) -> float:
    """Log-likelihood of a sample with bounds and part blocks; -inf outside the support."""
    if not (scale > 0.0 and math.isfinite(scale) and abs(shape) <= _STEEPEST):
        return -math.inf
    log_t = _log_t(sample.values, location, scale, shape)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        rt = sample.ratios * np.exp(log_t)
        density = np.log(sample.ratios / scale) + (1.0 + shape) * log_t - rt
        parts = np.where(sample.status == EXACT, density, 0.0)
        parts = np.where(sample.status == AT_MOST, -rt, parts)
        parts = np.where(sample.status == AT_LEAST, np.log(-expm1(-rt)), parts)
    # Beyond the end of a bounded tail log t is -inf, and below the start of a heavy one +inf.
    return -math.inf if np.isnan(parts).any() else float(parts.sum())


def _sample(maxima: ArrayLike | Sample) -> Sample:
    return maxima if isinstance(maxima, Sample) else Sample.of(maxima)


def _count(law: Law) -> int:
    return 2 if law is Law.GUMBEL else 3


def _reduced(t: float, shape: float) -> float:
    """Reduced variate (t^-shape - 1) / shape, -ln t in the limit."""
    log_t = math.log(t)
    return -log_t if abs(shape) < _NEARLY_GUMBEL else math.expm1(-shape * log_t) / shape


def _reduced_slope(t: float, shape: float) -> float:
    """Differentiate the reduced variate by the shape."""
    log_t = math.log(t)
    if abs(shape) < 1e-5:
        return log_t**2 / 2.0
    power = math.exp(-shape * log_t)
    return (-shape * log_t * power - (power - 1.0)) / shape**2


def _log_t(x: FloatArray, location: float, scale: float, shape: float) -> FloatArray:
    """Logarithm of -ln F(x); -inf above the support, +inf below it."""
    z = (x - location) / scale
    if abs(shape) < _NEARLY_GUMBEL:
        return -z
    with np.errstate(divide="ignore"):
        return -np.log1p(np.maximum(shape * z, -1.0)) / shape


def _fit(sample: Sample, law: Law, least: int) -> Fit:
    sample.require(least, f"a {law} fit")
    location, scale = gumbel_by_l_moments(sample.exact)
    start = [location, math.log(scale), 0.0][: _count(law)]

    def cost(p: FloatArray) -> float:
        return -log_likelihood(
            sample, float(p[0]), math.exp(float(p[1])), float(p[2]) if len(p) > 2 else 0.0
        )

    # A simplex survives the edge of the support, where the likelihood has no slope; it is started
    # twice because one run may stop on a shrunken simplex.
    best, least_cost = start, math.inf
    for _ in range(3):
        simplex = np.vstack([best, *(np.array(best) + d for d in _steps(scale, law))])
        found = minimize(
            cost,
            best,
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": 1e-9 * max(scale, 1e-9), "fatol": 1e-13,
                     "maxiter": 4000, "maxfev": 4000},
        )  # fmt: skip
        best, least_cost = list(found.x), float(found.fun)
    parameters = np.array([best[0], math.exp(best[1]), *best[2:]])
    return _fitted(sample, law, parameters, -least_cost)


def _steps(scale: float, law: Law) -> FloatArray:
    return np.diag([0.3 * scale, 0.2, 0.1])[: _count(law), : _count(law)]


def _fitted(sample: Sample, law: Law, parameters: FloatArray, best: float) -> Fit:
    shape = float(parameters[2]) if law is Law.GEV else 0.0
    if not math.isfinite(best) or abs(shape) > 0.99 * _STEEPEST:
        raise MetrologyError(
            f"the {law} fit found no largest likelihood (shape {shape:.2f}).",
            remedy="The maxima do not look like those of many pits; use the Gumbel, or look at the data.",
        )
    covariance = _covariance(sample, parameters)
    return Fit(law, float(parameters[0]), float(parameters[1]), shape, best, covariance, sample)


def _covariance(sample: Sample, parameters: FloatArray) -> FloatArray:
    """Inverse of the observed information, by central differences."""
    n, scale = len(parameters), parameters[1]
    steps = np.array([1e-4 * scale, 1e-4 * scale, 1e-4])[:n]

    def value(offset: FloatArray) -> float:
        p = parameters + offset * steps
        return log_likelihood(sample, p[0], p[1], p[2] if n > 2 else 0.0)

    unit = np.eye(n)
    information = np.empty((n, n))
    for i in range(n):
        for j in range(n):
            a, b = unit[i], unit[j]
            corners = value(a + b) - value(a - b) - value(b - a) + value(-a - b)
            information[i, j] = -corners / (4.0 * steps[i] * steps[j])
    if not np.isfinite(information).all() or np.linalg.eigvalsh(information).min() <= 0.0:
        raise MetrologyError(
            "the likelihood has no rounded top; no uncertainty of the fit can be given.",
            remedy="The largest depth lies at the end of the fitted tail; measure more blocks.",
        )
    return np.asarray(np.linalg.inv(information), dtype=np.float64)


def _crossing(deficit: Callable[[float], float], best: float, step: float) -> float:
    """Where the profile has dropped far enough, going from `best` in steps that grow."""
    inner, outer = best, best + step
    for _ in range(60):
        if deficit(outer) > 0.0:
            return float(brentq(deficit, *sorted((inner, outer)), xtol=1e-6 * abs(step)))
        inner, outer = outer, outer + 1.6 * (outer - inner)
    raise MetrologyError(
        "the likelihood is too flat to bound the largest value.",
        remedy="Measure the deepest pit of more blocks.",
    )
