"""The machine-readable form of a comparison; its rules are those of `corrosion.report.json_form`."""

from __future__ import annotations

from typing import Any

from corrosion.compare.results import (
    CHANGE_MEANING,
    Change,
    Comparison,
    FindingChange,
    Forecast,
    Growth,
    MemberChange,
)
from corrosion.compare.words import ASSUMPTION, level_words, limit_words
from corrosion.model import SurveyInfo
from corrosion.quantity import COVERAGE_FACTOR
from corrosion.report.json_form import geometry, measured, number, plain, spot_json
from corrosion.report.words import CAUTION
from corrosion.results import Finding
from corrosion.units import LengthUnit

Json = dict[str, Any]

COMPARISON_FORMAT = "corrosion-comparison"
FORM_VERSION = 1


def comparison_json(comparison: Comparison, unit: LengthUnit) -> Json:
    """Machine-readable form of a comparison.

    Parameters
    ----------
    comparison : Comparison
    unit : str
        Unit of the ``display`` texts; numbers are in mm, mm2, mm3 and years.

    Returns
    -------
    dict
        Strict JSON. An open end of an interval is null; a missing date is null with its reason.
    """
    return {
        "format": COMPARISON_FORMAT,
        "version": FORM_VERSION,
        "units": {
            "length": "mm",
            "area": "mm2",
            "volume": "mm3",
            "time": "years of 365.25 days",
            "display": unit,
            "coverage_factor": COVERAGE_FACTOR,
        },
        "earlier": _survey(comparison.earlier),
        "later": _survey(comparison.later),
        "years": number(comparison.years),
        "level": comparison.level,
        "level_words": level_words(comparison),
        "assumption": ASSUMPTION,
        "counts": {str(change): count for change, count in comparison.counts().items()},
        "findings": [_row(row, unit) for row in comparison.findings],
        "members": [_member(member, unit) for member in comparison.members],
        "problems": list(comparison.problems),
        "change_meaning": {str(change): CHANGE_MEANING[change] for change in Change},
        "caution": CAUTION,
    }


def _survey(info: SurveyInfo) -> Json:
    return {"name": info.name, "date": info.date, "inspector": info.inspector}


def _row(row: FindingChange, unit: LengthUnit) -> Json:
    return {
        "change": str(row.change),
        "kind": str(row.kind),
        "member": row.member_id,
        "face": None if row.face is None else str(row.face),
        "earlier": [_finding(one, unit) for one in row.earlier],
        "later": None if row.later is None else _finding(row.later, unit),
        "shift_mm": _pair(row.shift),
        "u_shift_mm": _pair(row.u_shift),
        "matched_by_name": row.named,
        "rivals": list(row.rivals),
        "growth": [_growth(one, unit) for one in row.growths],
        "limit": _forecast(row.forecast, unit),
        "notes": list(row.notes),
    }


def _finding(finding: Finding, unit: LengthUnit) -> Json:
    return {
        "id": finding.id,
        "position_mm": _pair(finding.position),
        "u_position_mm": _pair(finding.u_position),
        "outline": geometry(finding.outline),
        "depth": measured(finding.depth, unit, thickness=True),
        "area": measured(finding.quantities.get("area"), unit),
        "photos": [{"photo": photo, "mark": mark} for photo, mark in finding.sources],
    }


def _pair(pair: tuple[float, float] | None) -> list[float | None] | None:
    return None if pair is None else [number(value) for value in pair]


def _growth(growth: Growth, unit: LengthUnit) -> Json:
    thickness = growth.quantity == "depth"
    return {
        "quantity": growth.quantity,
        "shown": str(growth.shown),
        "difference": measured(growth.difference, unit, thickness=thickness),
        "per_year": measured(growth.per_year, unit),
        "per_year_interval": [number(end) for end in growth.interval],
        "cancelled": list(growth.cancelled),
        "note": growth.note,
    }


def _forecast(forecast: Forecast | None, unit: LengthUnit) -> Json | None:
    if forecast is None:
        return None
    return {
        "reach": str(forecast.reach),
        "earliest": None if forecast.earliest is None else forecast.earliest.isoformat(),
        "latest": None if forecast.latest is None else forecast.latest.isoformat(),
        "years": [number(end) for end in forecast.years],
        "times_the_span": number(forecast.spans),
        "left": measured(forecast.left, unit, thickness=True),
        "allowance": plain(forecast.allowance, unit),
        "spot": spot_json(forecast.spot, unit),
        "words": limit_words(forecast),
        "reason": forecast.reason,
    }


def _member(member: MemberChange, unit: LengthUnit) -> Json:
    return {
        "member": member.member_id,
        "removed_most": measured(member.most, unit, thickness=True),
        "removed_most_at_mm": _pair(member.at),
        "removed_less": measured(member.least, unit, thickness=True),
        "removed_less_at_mm": _pair(member.least_at),
        "missing_entries": list(member.missing),
        "volume": measured(member.volume, unit),
        "deepest_earlier": spot_json(member.earlier, unit),
        "deepest_later": spot_json(member.later, unit),
        "notes": list(member.notes),
    }
