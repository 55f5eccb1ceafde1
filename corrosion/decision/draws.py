"""Draws of all doubtful inputs, each from a stream of its own.

A stream depends on the seed and the input's name alone. Adding an action, or changing a price, leaves
the draws of everything else as they were: two runs differ by what was changed and by nothing else.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtr

from corrosion.decision.pert import by_table, pert_quantile
from corrosion.model.decision import Spread
from corrosion.quantity import FloatArray


@dataclass(frozen=True)
class Input:
    """One doubtful input: its name, the group it would be measured with, how to, and its draws."""

    name: str
    group: str
    remedy: str
    values: FloatArray


@dataclass
class Draws:
    """Draws of a decision.

    Attributes
    ----------
    count, seed : int
    correlation : float
        Correlation of the underlying normal variates of estimates (a Gaussian copula with one factor).
    inputs : dict of str to Input
        What was drawn, by name; amounts without doubt are not among them.
    """

    count: int
    seed: int
    correlation: float = 0.0
    inputs: dict[str, Input] = field(default_factory=dict)

    def spread(
        self, name: str, spread: Spread, group: str, remedy: str, *, shared: bool = False
    ) -> FloatArray:
        """Draw an amount, shape (count,); with ``shared`` it errs together with all other such amounts."""
        if spread.low == spread.high:
            return np.full(self.count, spread.low)
        if name not in self.inputs:
            probability = self._shared(name) if shared and self.correlation > 0.0 else self._uniform(name)
            self._keep(name, group, remedy, pert_quantile(spread, probability))
        return self.inputs[name].values

    def chance(self, name: str, probability: float, group: str, remedy: str) -> FloatArray:
        """Draw 1 with a probability, else 0, shape (count,)."""
        if probability in {0.0, 1.0}:
            return np.full(self.count, probability)
        if name not in self.inputs:
            happens = (self._uniform(name) < probability).astype(np.float64)
            self._keep(name, group, remedy, happens)
        return self.inputs[name].values

    def gamma(self, name: str, shape: float) -> FloatArray:
        """Draw from a gamma distribution of scale 1, shape (count,); not an input by itself."""
        return by_table(lambda p: gammaincinv(shape, p), self._uniform(name))

    def poisson(self, name: str, mean: FloatArray, group: str, remedy: str) -> FloatArray:
        """Draw counts whose mean differs from draw to draw, shape (count,)."""
        if name not in self.inputs:
            self._keep(name, group, remedy, self._stream(name).poisson(mean).astype(np.float64))
        return self.inputs[name].values

    def _keep(self, name: str, group: str, remedy: str, values: FloatArray) -> None:
        self.inputs[name] = Input(name, group, remedy, values)

    def _stream(self, name: str) -> np.random.Generator:
        digest = hashlib.blake2b(name.encode(), digest_size=16).digest()
        words: NDArray[np.uint32] = np.frombuffer(digest, dtype="<u4")
        return np.random.default_rng([self.seed, *map(int, words)])

    def _uniform(self, name: str) -> FloatArray:
        return self._stream(name).random(self.count)

    def _shared(self, name: str) -> FloatArray:
        common = self._stream("what all estimates share").standard_normal(self.count)
        own = self._stream(name).standard_normal(self.count)
        rho = self.correlation
        return np.asarray(ndtr(np.sqrt(rho) * common + np.sqrt(1.0 - rho) * own), dtype=np.float64)
