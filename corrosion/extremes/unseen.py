"""The deepest pit to expect in the area that nobody has seen.

Area scaling of block maxima: T. Shibata, J. Res. NIST 99 (1994) 327; HSE Research Report 016 (2002),
5.3.3. It assumes that what was not seen corrodes like what was. Hidden corners often corrode more, so
the figure is a reason to look, never a reason not to.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

from corrosion.errors import MetrologyError
from corrosion.extremes.blocks import Blocks, block_maxima
from corrosion.extremes.fit import CONFIDENCE, Fit, Law, fit_gev, fit_gumbel
from corrosion.extremes.goodness import Goodness, goodness_of
from corrosion.quantity import FloatArray
from corrosion.results import Coverage, Finding
from corrosion.terms import Face

ASSUMPTION = (
    "This assumes that the unseen area corrodes like the seen one; hidden places often corrode more."
)
MOST_RATIO = 500.0
LEAST_SAMPLE_SHARE = 0.03
"""Return period and sampled share beyond which the method was not found reliable: study of hot-water
copper pipes, jcorr 43(5) 258 (PMC8345288)."""
PARAMETER_DRAWS = 2000
SEED = 20310417


@dataclass(frozen=True)
class Level:
    """A depth in mm with its profile-likelihood interval (95 %)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class UnseenDepth:
    """The deepest pit to expect in the unseen area of one face.

    Attributes
    ----------
    member_id, face : str, Face
    seen_mm2, unseen_mm2 : float
    blocks : Blocks or None
    fit : Fit or None
        None where the depth is not determined; then `reason` says why.
    goodness : Goodness or None
    ratio : float
        Unseen area over the area of one block.
    characteristic : Level or None
        mu + sigma ln(ratio), the most likely depth of the deepest unseen pit (for a Gumbel).
    median : Level or None
        Depth that the deepest unseen pit exceeds with probability one half.
    reason : str
    notes : list of str
        Doubts, in plain words; the assumption is always among them.
    """

    member_id: str
    face: Face
    seen_mm2: float
    unseen_mm2: float
    blocks: Blocks | None = None
    fit: Fit | None = None
    goodness: Goodness | None = None
    ratio: float = 0.0
    characteristic: Level | None = None
    median: Level | None = None
    reason: str = ""
    notes: list[str] = field(default_factory=list)

    def probability_over(self, depth_mm: float) -> float | None:
        """Probability that the deepest unseen pit exceeds a depth; None where not determined.

        Averaged over the doubt of the parameters, so that few blocks give a wide answer; 0 if
        everything was seen.
        """
        if self.unseen_mm2 == 0.0:
            return 0.0
        if self.fit is None:
            return None
        return float(np.mean(_over(self.fit, _parameter_draws(self.fit), depth_mm, self.ratio)))

    def upper(self, probability: float = 0.95) -> float | None:
        """Depth that the deepest unseen pit stays below with `probability`; doubt of the fit included.

        None where not determined or where nothing is unseen.
        """
        if self.fit is None or self.unseen_mm2 == 0.0:
            return None
        draws, fit = _parameter_draws(self.fit), self.fit

        def excess(depth: float) -> float:
            return float(np.mean(_over(fit, draws, depth, self.ratio))) - (1.0 - probability)

        low = high = fit.largest(probability, self.ratio)
        step = fit.scale
        while excess(low) < 0.0:
            low, step = low - step, 2.0 * step
        step = fit.scale
        while excess(high) > 0.0:
            high, step = high + step, 2.0 * step
        return low if low == high else float(brentq(excess, low, high, xtol=1e-6 * fit.scale))


def largest_unseen(
    findings: Sequence[Finding],
    seen: Coverage,
    member_id: str,
    *,
    side_mm: float | None = None,
    least_depth_mm: float | None = None,
) -> UnseenDepth:
    """Estimate the deepest pit of the unseen area of a face from the block maxima of the seen one.

    A Gumbel is fitted; with `LEAST_GEV` maxima or more, a GEV takes its place where the likelihood-ratio
    test rejects the Gumbel at 5 %. Parameters are those of `block_maxima`. What cannot be estimated comes
    back with its reason; no error is raised.
    """
    seen_mm2, unseen_mm2 = float(seen.seen.area), float(seen.unseen.area)
    bare = UnseenDepth(member_id, seen.face, seen_mm2, unseen_mm2)
    if unseen_mm2 == 0.0:
        return _with_reason(bare, "the whole face was seen", None)
    blocks = None
    try:
        blocks = block_maxima(findings, seen, member_id, side_mm=side_mm, least_depth_mm=least_depth_mm)
        fit, goodness = _choose(blocks)
        ratio = unseen_mm2 / blocks.side_mm**2
        characteristic = _level(fit, 1.0 / ratio)
        median = _level(fit, math.log(2.0) / ratio)
    except MetrologyError as error:
        return _with_reason(bare, str(error), blocks)
    notes = [ASSUMPTION, *blocks.notes, *_doubts(fit, goodness, seen_mm2, unseen_mm2, ratio)]
    return UnseenDepth(
        member_id, seen.face, seen_mm2, unseen_mm2, blocks, fit, goodness, ratio, characteristic, median,
        notes=notes,
    )  # fmt: skip


def _with_reason(bare: UnseenDepth, reason: str, blocks: Blocks | None) -> UnseenDepth:
    notes = [ASSUMPTION, *(blocks.notes if blocks else [])]
    return UnseenDepth(
        bare.member_id, bare.face, bare.seen_mm2, bare.unseen_mm2, blocks, reason=reason, notes=notes
    )


def _choose(blocks: Blocks) -> tuple[Fit, Goodness]:
    gumbel = fit_gumbel(blocks.sample)
    goodness = goodness_of(gumbel)
    if goodness.gev_better is not None and goodness.gev_better < 0.05:
        return fit_gev(blocks.sample), goodness
    return gumbel, goodness


def _level(fit: Fit, t: float) -> Level:
    return Level(fit.at(t), *fit.interval(t, CONFIDENCE))


def _doubts(fit: Fit, goodness: Goodness, seen: float, unseen: float, ratio: float) -> list[str]:
    notes = []
    if goodness.doubtful:
        notes.append("The block maxima do not follow a Gumbel distribution at the 5 % level.")
    if fit.law is Law.GEV:
        notes.append(f"A GEV of shape {fit.shape:.2f} was used; its tail is known poorly.")
    if ratio > MOST_RATIO:
        notes.append(
            f"The unseen area is {ratio:.0f} blocks; beyond {MOST_RATIO:.0f} the method is doubtful."
        )
    share = seen / (seen + unseen)
    if share < LEAST_SAMPLE_SHARE:
        notes.append(
            f"Only {share:.1%} of the face was seen; below {LEAST_SAMPLE_SHARE:.0%} it is doubtful."
        )
    return notes


def _parameter_draws(fit: Fit) -> FloatArray:
    """Parameters drawn from the normal approximation, the scale on its logarithm: shape (m, 3)."""
    n = len(fit.parameters)
    jacobian = np.diag([1.0, 1.0 / fit.scale, 1.0][:n])
    covariance = jacobian @ fit.covariance @ jacobian
    rng = np.random.default_rng(SEED)
    centre = np.array([fit.location, math.log(fit.scale), fit.shape])[:n]
    draws = np.zeros((PARAMETER_DRAWS, 3))
    draws[:, :n] = centre + rng.standard_normal((PARAMETER_DRAWS, n)) @ np.linalg.cholesky(covariance).T
    draws[:, 1] = np.exp(draws[:, 1])
    return draws


def _over(fit: Fit, draws: FloatArray, depth: float, ratio: float) -> FloatArray:
    """Probability, for each draw of the parameters, that the deepest of `ratio` blocks exceeds `depth`."""
    z = (depth - draws[:, 0]) / draws[:, 1]
    if fit.law is Law.GUMBEL:
        log_t = -z
    else:
        # A shape of exactly 0 has probability 0 but would divide by zero.
        shape = np.where(np.abs(draws[:, 2]) < 1e-8, 1e-8, draws[:, 2])
        with np.errstate(divide="ignore"):
            log_t = -np.log1p(np.maximum(shape * z, -1.0)) / shape
    with np.errstate(over="ignore"):
        return np.asarray(-np.expm1(-ratio * np.exp(log_t)), dtype=np.float64)
