"""The governing depth of a mark, from its readings. A photo alone never gives a depth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from corrosion.model import DepthReading, SurveyFile
from corrosion.quantity import Measured
from corrosion.terms import INDICATIVE_METHODS, Flag, Relation


def governing_depth(depths: Sequence[DepthReading], survey: SurveyFile) -> Measured | None:
    """Choose the reading that governs a mark: the deepest that reads metal.

    Readings by light (focus travel, shadow) count only where nothing read the metal. A lower bound above
    the deepest reading raises it. With bounds only, the smallest upper bound stands for the depth, being
    the deepest it can be; lower bounds alone give the largest of them.

    Parameters
    ----------
    depths : sequence of DepthReading
        Of one mark, mm.
    survey : SurveyFile
        Its instruments give the systematic part; an instrument it does not list has none.

    Returns
    -------
    Measured or None
        mm, with ``own["reading"]`` and ``shared["instrument <id>"]``; None without any reading.
        Flags: `Flag.LOWER_BOUND`, `Flag.UPPER_BOUND`; and, where only light was read,
        `Flag.INDICATIVE`, or `Flag.BY_LIGHT_RULE` where the survey has a rule that lets it count.
    """
    direct = [d for d in depths if d.method not in INDICATIVE_METHODS]
    usable = direct or list(depths)
    if not usable:
        return None
    reading, flags = _governing(usable)
    if not direct:
        flags |= {Flag.BY_LIGHT_RULE if survey.settings.light_rule else Flag.INDICATIVE}
    return _measured(reading, flags, survey)


def _governing(readings: Sequence[DepthReading]) -> tuple[DepthReading, frozenset[Flag]]:
    values = [d for d in readings if d.relation is Relation.EQUAL]
    at_least = [d for d in readings if d.relation is Relation.AT_LEAST]
    at_most = [d for d in readings if d.relation is Relation.AT_MOST]
    best, flags = None, frozenset[Flag]()
    if values:
        best = max(values, key=_depth_then_doubt)
    elif at_most:
        best, flags = min(at_most, key=_depth_then_doubt), frozenset({Flag.UPPER_BOUND})
    if at_least:
        bound = max(at_least, key=_depth_then_doubt)
        if best is None or bound.value > best.value:
            return bound, frozenset({Flag.LOWER_BOUND})
    assert best is not None  # noqa: S101 -- the three lists cover every reading
    return best, flags


def _depth_then_doubt(reading: DepthReading) -> tuple[float, float]:
    return reading.value, reading.u


def _measured(reading: DepthReading, flags: frozenset[Flag], survey: SurveyFile) -> Measured:
    systematic = {i.id: i.u_systematic for i in survey.instruments}.get(reading.instrument or "", 0.0)
    shared = {f"instrument {reading.instrument}": np.array([systematic])} if systematic else {}
    return Measured(reading.value, "mm", shared, {"reading": reading.u}, flags)
