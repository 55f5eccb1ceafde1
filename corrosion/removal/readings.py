"""Remaining-thickness readings against the sum of the entries at their place."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from corrosion.model import Instrument, ThicknessReading
from corrosion.quantity import Measured
from corrosion.removal.chains import exceedance
from corrosion.removal.member import MemberRemoval
from corrosion.results import ReadingCheck, Spot
from corrosion.terms import Flag, Verdict

DISAGREES_BEYOND = 2.0
"""Combined standard uncertainties beyond which a reading and the entries disagree (k = 2)."""


def check_reading(
    removal: MemberRemoval, reading: ThicknessReading, instruments: list[Instrument]
) -> ReadingCheck:
    """Compare one reading with the entries; where they disagree the larger removal governs.

    Removal by the reading is the reference thickness less the reading; its uncertainty holds the
    reading's own, its instrument's common part and the reference thickness's.
    """
    point = np.array([reading.at], dtype=np.float64)
    spot = removal.spot(reading.at)
    gauge = next((i for i in instruments if i.id == reading.instrument), None)
    by_reading = Measured(
        value=spot.thickness - reading.value,
        unit="mm",
        shared={f"instrument {gauge.id}": np.array([gauge.u_systematic])} if gauge else {},
        own={
            f"reading {reading.id}": reading.u,
            "reference thickness": float(removal.layout.u_thickness_at(point)[0]),
        },
    )
    difference = by_reading.value - spot.removed.value
    combined = math.hypot(by_reading.u, spot.removed.u)
    normalised = difference / combined if combined > 0 else None
    agrees = abs(difference) <= DISAGREES_BEYOND * combined
    if not agrees:
        spot = _disagreeing(removal, spot, by_reading, governs=difference > 0)
    return ReadingCheck(reading, by_reading.value, spot_value(removal, reading), normalised, agrees, spot)


def spot_value(removal: MemberRemoval, reading: ThicknessReading) -> float:
    """Give the removal by the entries alone at a reading's place, mm."""
    return float(removal.field(np.array([reading.at])).removed[0])


def _disagreeing(removal: MemberRemoval, spot: Spot, by_reading: Measured, *, governs: bool) -> Spot:
    flags = spot.removed.flags | {Flag.READINGS_DISAGREE}
    if removal.layout.thickness_is_nominal:
        flags |= {Flag.NOMINAL_THICKNESS}
    if not governs:
        return replace(spot, removed=replace(spot.removed, flags=flags))
    removed = replace(by_reading, flags=flags | {Flag.READING_GOVERNS})
    probability, verdict = _judge(removal, spot, removed)
    return replace(
        spot,
        removed=removed,
        probability_over=probability,
        verdict=verdict,
        reason="a thickness reading shows more removed than the entries add up to",
    )


def _judge(removal: MemberRemoval, spot: Spot, removed: Measured) -> tuple[float | None, Verdict]:
    if spot.limit is None:
        return None, Verdict.NOT_DETERMINED
    spread = np.hypot(removed.u, removal.layout.u_limit_at(np.array([spot.at])))
    probability = float(exceedance(np.array([removed.value]), spread, np.array([spot.limit]))[0])
    if removed.value > spot.limit:
        return probability, Verdict.OVER
    within = probability <= removal.within_probability
    return probability, Verdict.WITHIN if within else Verdict.TOO_CLOSE
