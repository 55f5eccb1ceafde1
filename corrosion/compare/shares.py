"""What the errors of two surveys share.

Within one survey, measures share photos, lenses and instruments by name. Across surveys the names mean
nothing: photo f1 of one year is not photo f1 of another. Only one instrument is the same thing twice: its
systematic part is one unknown, and drops out of a difference, if it was not set or calibrated in between.
"""

from __future__ import annotations

import math

import numpy as np

from corrosion.model import Instrument, SurveyFile
from corrosion.quantity import FloatArray, Measured

_INSTRUMENT = "instrument "


def common_instruments(earlier: SurveyFile, later: SurveyFile) -> dict[str, str]:
    """Instruments whose systematic part both surveys share, and why the others do not.

    Returns
    -------
    dict of str to str
        By instrument id in both surveys: empty where it is shared, else the reason.
    """
    before = {one.id: one for one in earlier.instruments}
    after = {one.id: one for one in later.instruments}
    return {name: _why_not(before[name], after[name]) for name in before if name in after}


def _why_not(before: Instrument, after: Instrument) -> str:
    if before.kind != after.kind:
        return f"{before.id} is two kinds of gauge: {before.kind!r} and {after.kind!r}"
    if before.calibrated != after.calibrated:
        return f"{before.id} was calibrated in between"
    if not math.isclose(before.u_systematic, after.u_systematic):
        return f"{before.id} has another systematic uncertainty in each survey"
    return ""


def of_survey(measured: Measured, survey: str, common: dict[str, str], who: str = "") -> Measured:
    """Name every error source by its survey, so that only what is really shared is shared.

    Parameters
    ----------
    measured : Measured
    survey : str
        ``earlier`` or ``later``.
    common : dict
        From `common_instruments`.
    who : str
        Whose measure it is, which keeps its own parts apart from those of others.

    Returns
    -------
    Measured
        The same value; own parts have become named sources, so that what is derived twice from one
        reading stays correlated with itself.
    """
    shared: dict[str, FloatArray] = {}
    for name, vector in measured.shared.items():
        gauge = name.removeprefix(_INSTRUMENT) if name.startswith(_INSTRUMENT) else None
        same = gauge is not None and common.get(gauge, "other") == ""
        shared[name if same else f"{survey}: {name}"] = np.asarray(vector, dtype=np.float64)
    for name, part in measured.own.items():
        shared[f"{survey} {who}: {name}"] = np.array([part])
    return Measured(measured.value, measured.unit, shared, {}, measured.flags, measured.known)


def cancelled(earlier: Measured, later: Measured, common: dict[str, str]) -> tuple[str, ...]:
    """Instruments that both values were read with and whose systematic part drops out."""
    names = {n.removeprefix(_INSTRUMENT) for n in set(earlier.shared) & set(later.shared)}
    return tuple(sorted(name for name in names if common.get(name, "other") == ""))


def covariance(a: Measured, b: Measured) -> float:
    """Covariance of two values by the sources they share (JCGM 100:2008, 5.2.2)."""
    return float(
        sum(np.dot(vector, b.shared[name]) for name, vector in a.shared.items() if name in b.shared)
    )
