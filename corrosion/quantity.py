"""A number that carries its doubt: value, standard uncertainty, budget and flags.

Two measures of one photo share its scale, so their errors move together. Each measure therefore keeps
its *sensitivity* to every shared source, in units of that source's standard uncertainty; a sum adds the
sensitivities before it squares them (JCGM 100:2008, 5.2.2, with the covariance factored), and so a
total's uncertainty is right without anyone storing a covariance matrix.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from corrosion.terms import Flag

FloatArray = NDArray[np.float64]
COVERAGE_FACTOR = 2.0


@dataclass(frozen=True)
class Measured:
    """A measured value.

    Attributes
    ----------
    value : float
        Best estimate, in `unit`.
    unit : str
        ``mm``, ``mm2``, ``mm3``, ``kg``, ``1`` or ``1/mm2``.
    shared : mapping of str to ndarray of shape (k,)
        For each source shared with other measures (``"photo f1: reference points"``), the sensitivity
        to its k independent parts, each in standard uncertainties, so in `unit`.
    own : mapping of str to float
        Standard-uncertainty contributions of this measure alone, in `unit`.
    flags : frozenset of Flag
        Reasons to doubt the value.
    known : bool
        False where no uncertainty can honestly be given; then `u` is NaN.
    """

    value: float
    unit: str
    shared: Mapping[str, FloatArray] = field(default_factory=dict)
    own: Mapping[str, float] = field(default_factory=dict)
    flags: frozenset[Flag] = frozenset()
    known: bool = True

    @property
    def u(self) -> float:
        """Standard uncertainty in `unit`; NaN where none can be given."""
        if not self.known:
            return math.nan
        return math.sqrt(sum(c**2 for c in self.budget().values()))

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = 2 u (k = 2, about 95 %)."""
        return COVERAGE_FACTOR * self.u

    def budget(self) -> dict[str, float]:
        """Contribution of every source to `u`, in `unit`, largest first."""
        parts = {name: float(np.linalg.norm(v)) for name, v in self.shared.items()}
        for name, part in self.own.items():
            parts[name] = math.hypot(parts.get(name, 0.0), part)
        return dict(sorted(parts.items(), key=lambda item: -item[1]))

    def scaled(self, factor: float, *, value: float | None = None, unit: str = "") -> Measured:
        """Multiply the sensitivities by `factor`; `value` defaults to the scaled value.

        With ``value`` given this is first-order propagation through any smooth function whose
        derivative here is `factor`.
        """
        return replace(
            self,
            value=self.value * factor if value is None else value,
            unit=unit or self.unit,
            shared={name: v * factor for name, v in self.shared.items()},
            own={name: abs(c * factor) for name, c in self.own.items()},
        )

    def with_flags(self, *flags: Flag) -> Measured:
        """Return the same value with more flags."""
        return replace(self, flags=self.flags.union(flags))


def exact(value: float, unit: str) -> Measured:
    """Wrap a value with no uncertainty, such as a count or a definition."""
    return Measured(value, unit)


def total(parts: Iterable[Measured], unit: str) -> Measured:
    """Sum of measures, keeping what their errors share.

    Sources of the same name add linearly; each measure's own parts add in quadrature. The flags are the
    union; the uncertainty is unknown if any part's is.
    """
    value = 0.0
    shared: dict[str, FloatArray] = {}
    own: dict[str, float] = {}
    flags: frozenset[Flag] = frozenset()
    known = True
    for part in parts:
        value += part.value
        flags |= part.flags
        known = known and part.known
        for name, vector in part.shared.items():
            shared[name] = shared[name] + vector if name in shared else np.asarray(vector)
        for name, c in part.own.items():
            own[name] = math.hypot(own.get(name, 0.0), c)
    return Measured(value, unit, shared, own, flags, known)


def ratio(part: Measured, whole: Measured) -> Measured:
    """``part / whole``, dimensionless, with shared errors cancelling where they do."""
    share = part.value / whole.value
    combined = total([part.scaled(1.0 / whole.value), whole.scaled(-share / whole.value)], unit="1")
    return replace(combined, value=share)
