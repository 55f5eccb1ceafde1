"""Block maxima as a sample: what is known of the deepest place of every block.

A block of which only the share r was seen holds the largest of r blocks' worth of metal, so its
distribution is F^r (max-stability). A block without a measurable pit is not a missing value: its deepest
pit is *at most* what would have been found. A pit that was found but not measured makes its block
*at least* as deep as the deepest that was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corrosion.errors import MetrologyError
from corrosion.quantity import FloatArray

AT_MOST, EXACT, AT_LEAST = -1, 0, 1


@dataclass(frozen=True)
class Sample:
    """Block maxima.

    Attributes
    ----------
    values : ndarray of shape (n,)
        Maximum of each block, or the bound on it, in any one unit.
    status : ndarray of shape (n,)
        `AT_MOST`, `EXACT` or `AT_LEAST`.
    ratios : ndarray of shape (n,)
        Seen area of each block over the area of a whole block.
    """

    values: FloatArray
    status: NDArray[np.int64]
    ratios: FloatArray

    @classmethod
    def of(
        cls,
        values: ArrayLike,
        status: Sequence[int] | None = None,
        ratios: ArrayLike | None = None,
    ) -> Sample:
        """Check and wrap block maxima; by default all exact and from whole blocks.

        Raises
        ------
        MetrologyError
            If lengths differ, a number is not finite, or a ratio is not positive.
        """
        v = np.asarray(values, dtype=np.float64).ravel()
        s = np.zeros(len(v), dtype=np.int64) if status is None else np.asarray(status, dtype=np.int64)
        r = np.ones(len(v)) if ratios is None else np.asarray(ratios, dtype=np.float64)
        if not len(v) == len(s) == len(r):
            raise MetrologyError(
                f"{len(v)} block maxima come with {len(s)} states and {len(r)} areas.",
                remedy="Give one of each for every block.",
            )
        if not (np.isfinite(v).all() and np.isfinite(r).all() and (r > 0.0).all()):
            raise MetrologyError(
                "a block maximum is not a finite number, or a block has no area.",
                remedy="Leave out the block, or correct its depth.",
            )
        return cls(v, s, r)

    @property
    def exact(self) -> FloatArray:
        """The maxima that are known as values."""
        return np.asarray(self.values[self.status == EXACT], dtype=np.float64)

    @property
    def complete(self) -> bool:
        """Whether every maximum is a value and every block whole."""
        return bool((self.status == EXACT).all() and (self.ratios == 1.0).all())

    def require(self, least: int, what: str) -> None:
        """Refuse a sample that cannot carry a fit.

        Raises
        ------
        MetrologyError
            If fewer than `least` maxima are known as values, or all of them are equal.
        """
        known = len(self.exact)
        if known < least:
            raise MetrologyError(
                f"the number of blocks with a known largest depth is {known}; {what} needs {least}.",
                remedy=f"Measure the deepest pit in {least - known} more, or use smaller blocks.",
            )
        if np.ptp(self.exact) <= 1e-9 * abs(float(self.exact.max())):
            raise MetrologyError(
                f"all {known} block maxima equal {self.exact[0]:g}; they have no spread to fit.",
                remedy="Check that the depths were read, not filled in, and to a finer digit.",
            )
