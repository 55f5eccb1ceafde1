"""The machine-readable form of an assessment.

Rules of the form, also stated in the document's own ``units`` key:

* Numbers are in mm, mm2, mm3, kg; stations and offsets are mm on the member's layout.
* A **measured** value is ``{value, u, U, unit, flags, budget, drawn, display}``: `u` the standard and
  `U` the expanded uncertainty (k = 2), null where none can honestly be given; `budget` maps every source
  to its contribution to `u`, largest first; `drawn`, where `u` comes from random draws (JCGM 101:2008),
  has the intervals, the number of draws and the seed that repeats them; `display` is the value as a
  person reads it, rounded, in the survey's display unit.
* A **plain** length (a limit, a margin, a thickness) is ``{value, unit, display}``.
* Geometry is GeoJSON geometry (RFC 7946 types) in layout mm, not in longitude and latitude.
* A verdict is its word; what is missing is null, never left out.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from corrosion.model import dump_survey
from corrosion.montecarlo import DrawnMeasured
from corrosion.quantity import COVERAGE_FACTOR, FloatArray, Measured
from corrosion.report.numbers import length_text, shown
from corrosion.results import (
    Assessment,
    BinSummary,
    Coverage,
    Finding,
    LedgerLine,
    MarkMeasures,
    MemberAssessment,
    PhotoMeasures,
    PlacedOutline,
    PlacedPhoto,
    ReadingCheck,
    SectionLoss,
    Spot,
)
from corrosion.terms import FLAG_MEANING, Flag
from corrosion.units import LengthUnit

Json = dict[str, Any]

ASSESSMENT_FORMAT = "corrosion-assessment"
MEASURES_FORMAT = "corrosion-measures"
FORM_VERSION = 1

COORDINATE_DECIMALS = 6
"""Coordinates are written to the nanometre; anything finer is noise of the arithmetic."""

THICKNESS_QUANTITIES = frozenset({"depth"})


def json_of(assessment: Assessment, *, include_survey: bool = True) -> Json:
    """Machine-readable form of a whole assessment; see the module for its rules.

    Parameters
    ----------
    assessment : Assessment
    include_survey : bool
        Put the survey (in mm) in, so that the document stands alone.

    Returns
    -------
    dict
        Strict JSON: no NaN, no Infinity.
    """
    survey = assessment.survey
    unit = survey.display_units or survey.units
    body: Json = _head(ASSESSMENT_FORMAT, unit) | {
        "verdict": str(assessment.verdict),
        "within_probability": survey.settings.within_probability,
        "members": [_member(member, unit) for member in assessment.members],
        "findings": [_finding(finding, unit) for finding in assessment.findings],
        "photos": [_photo(photo, unit) for photo in assessment.photos],
        "placed": [placed_json(placed) for placed in assessment.placed],
        "problems": list(assessment.problems),
        "flag_meaning": {str(flag): FLAG_MEANING[flag] for flag in Flag},
    }
    if include_survey:
        body["survey"] = json.loads(dump_survey(survey))
    return body


def measures_json(
    photos: Iterable[PhotoMeasures], unit: LengthUnit, *, problems: Iterable[str] = ()
) -> Json:
    """Machine-readable form of the measures of photos alone, with `unit` for the display texts."""
    listed = [_photo(photo, unit) for photo in photos]
    return _head(MEASURES_FORMAT, unit) | {
        "photos": listed,
        "problems": list(problems),
        "flag_meaning": {str(flag): FLAG_MEANING[flag] for flag in Flag},
    }


def _head(name: str, unit: LengthUnit) -> Json:
    return {
        "format": name,
        "version": FORM_VERSION,
        "units": {
            "length": "mm",
            "area": "mm2",
            "volume": "mm3",
            "mass": "kg",
            "display": unit,
            "coverage_factor": COVERAGE_FACTOR,
            "geometry": "GeoJSON types; coordinates are (station, offset) in mm on the member's layout",
        },
    }


def number(value: float | None) -> float | None:
    """Give a JSON number, or null for what is missing or not finite."""
    return None if value is None or not math.isfinite(value) else float(value)


def measured(quantity: Measured | None, unit: LengthUnit, *, thickness: bool = False) -> Json | None:
    """Give a measured value with its uncertainty, budget, flags and display text."""
    if quantity is None:
        return None
    return {
        "value": number(quantity.value),
        "u": number(quantity.u),
        "U": number(quantity.expanded),
        "unit": quantity.unit,
        "flags": _flags(quantity.flags),
        "budget": {source: number(part) for source, part in quantity.budget().items()},
        "drawn": _drawn(quantity),
        "display": shown(quantity, unit, thickness=thickness).text,
    }


def _drawn(quantity: Measured) -> Json | None:
    """Intervals of a value whose uncertainty was drawn, with what repeats them; null for the others."""
    drawn = quantity.drawn if isinstance(quantity, DrawnMeasured) else None
    if drawn is None:
        return None
    return {
        "coverage": drawn.coverage,
        "shortest": [number(end) for end in drawn.shortest],
        "symmetric": [number(end) for end in drawn.symmetric],
        "draws": drawn.draws,
        "seed": drawn.seed,
    }


def plain(value_mm: float | None, unit: LengthUnit) -> Json | None:
    """Plain length with its display text; null where it is missing."""
    if number(value_mm) is None:
        return None
    return {
        "value": number(value_mm),
        "unit": "mm",
        "display": f"{length_text(value_mm, unit)} {unit}",
    }


def geometry(shape: BaseGeometry | None) -> Json | None:
    """GeoJSON geometry, coordinates to the nanometre; null where there is none or it is empty."""
    if shape is None or shape.is_empty:
        return None
    return (
        {
            "type": shape.geom_type,
            "coordinates": _rounded(mapping(shape)["coordinates"]),
        }
        if shape.geom_type != "GeometryCollection"
        else {
            "type": shape.geom_type,
            "geometries": [geometry(part) for part in shape.geoms],
        }
    )


def _rounded(nested: Any) -> Any:
    if isinstance(nested, (int, float)):
        return round(float(nested), COORDINATE_DECIMALS)
    return [_rounded(part) for part in nested]


def _flags(flags: frozenset[Flag]) -> list[str]:
    return [str(flag) for flag in Flag if flag in flags]


def _quantities(quantities: dict[str, Measured], unit: LengthUnit) -> Json:
    return {
        name: measured(quantity, unit, thickness=name in THICKNESS_QUANTITIES)
        for name, quantity in quantities.items()
    }


def _points(outline: FloatArray) -> list[list[float]]:
    return [
        [round(float(x), COORDINATE_DECIMALS), round(float(y), COORDINATE_DECIMALS)] for x, y in outline
    ]


def _photo(photo: PhotoMeasures, unit: LengthUnit) -> Json:
    return {
        "photo": photo.photo_id,
        "scale_kind": photo.scale_kind,
        "scale": _quantities(photo.scale, unit),
        "marks": [_mark(mark, unit) for mark in photo.marks],
        "totals": _quantities(photo.totals, unit),
        "flags": _flags(photo.flags),
        "problem": photo.problem,
    }


def _mark(measures: MarkMeasures, unit: LengthUnit) -> Json:
    mark = measures.mark
    return {
        "mark": mark.id,
        "kind": str(mark.kind),
        "feature": mark.feature,
        "quantities": _quantities(measures.quantities, unit),
        "depth": measured(measures.depth, unit, thickness=True),
        "outline_on_surface_mm": _points(measures.outline_mm),
        "problem": measures.problem,
    }


def placed_json(placed: PlacedPhoto) -> Json:
    """Machine-readable form of a photo on the layout: footprint, marks, residuals, flags."""
    return {
        "photo": placed.photo_id,
        "member": placed.member_id,
        "face": str(placed.face),
        "footprint": geometry(placed.footprint),
        "marks": [_placed_outline(outline) for outline in placed.marks],
        "residuals_mm": [[number(s), number(o)] for s, o in placed.residuals_mm],
        "rms_mm": number(placed.rms_mm),
        "flags": _flags(placed.flags),
        "problem": placed.problem,
    }


def _placed_outline(placed: PlacedOutline) -> Json:
    return {
        "mark": placed.mark.id,
        "kind": str(placed.mark.kind),
        "outline": geometry(placed.outline),
        "position_mm": [number(v) for v in placed.position],
        "u_position_mm": [number(v) for v in placed.u_position],
        "flags": _flags(placed.flags),
    }


def _finding(finding: Finding, unit: LengthUnit) -> Json:
    return {
        "id": finding.id,
        "kind": str(finding.kind),
        "member": finding.member_id,
        "face": None if finding.face is None else str(finding.face),
        "zone": finding.zone,
        "station": finding.station_text,
        "outline": geometry(finding.outline),
        "position_mm": None if finding.position is None else [number(v) for v in finding.position],
        "u_position_mm": None if finding.u_position is None else [number(v) for v in finding.u_position],
        "depth": measured(finding.depth, unit, thickness=True),
        "grade": finding.grade,
        "quantities": _quantities(finding.quantities, unit),
        "sources": [{"photo": photo, "mark": mark} for photo, mark in finding.sources],
        "flags": _flags(finding.flags),
    }


def _member(assessed: MemberAssessment, unit: LengthUnit) -> Json:
    member = assessed.member
    return {
        "member": member.id,
        "name": member.name,
        "kind": member.kind,
        "zone": member.zone,
        "material": member.material,
        "verdict": str(assessed.verdict),
        "reasons": list(assessed.reasons),
        "deepest": spot_json(assessed.deepest, unit),
        "least_margin": spot_json(assessed.least_margin, unit),
        "over_area_mm2": number(assessed.over_area_mm2),
        "not_within_area_mm2": number(assessed.not_within_area_mm2),
        "removed_volume": measured(assessed.removed_volume_mm3, unit),
        "removed_mass": measured(assessed.removed_mass_kg, unit),
        "worst_section": _section(assessed.worst_section),
        "section_losses": [_section(cut) for cut in assessed.section_losses],
        "bins": [_bin(one, unit) for one in assessed.bins],
        "readings": [_reading(check, unit) for check in assessed.readings],
        "coverage": {str(face): _coverage(cover) for face, cover in assessed.coverage.items()},
        "unblended_pits": list(assessed.unblended_pits),
        "cell_mm": number(assessed.cell_mm),
        "cell_error": plain(assessed.cell_error_mm, unit),
        "flags": _flags(assessed.flags),
    }


def spot_json(spot: Spot | None, unit: LengthUnit) -> Json | None:
    """Sum at one place with its ledger."""
    if spot is None:
        return None
    return {
        "at_mm": [number(v) for v in spot.at],
        "thickness": plain(spot.thickness, unit),
        "removed": measured(spot.removed, unit, thickness=True),
        "removed_by_face": {str(face): plain(part, unit) for face, part in spot.by_face.items()},
        "limit": plain(spot.limit, unit),
        "limit_source": spot.limit_source,
        "margin": plain(spot.margin, unit),
        "remaining": plain(spot.remaining, unit),
        "probability_over": number(spot.probability_over),
        "verdict": str(spot.verdict),
        "reason": spot.reason,
        "ledger": [_ledger_line(line, unit) for line in spot.ledger],
    }


def _ledger_line(line: LedgerLine, unit: LengthUnit) -> Json:
    return {
        "entry": line.entry_id,
        "face": str(line.face),
        "origin": str(line.origin),
        "date": line.date,
        "measured_from": line.measured_from,
        "depth_here": plain(line.depth_here, unit),
        "face_total_after": plain(line.face_total_after, unit),
        "adds": plain(line.adds, unit),
    }


def _section(cut: SectionLoss | None) -> Json | None:
    if cut is None:
        return None
    return {
        "station_mm": number(cut.station),
        "lost_mm2": number(cut.lost_mm2),
        "section_mm2": number(cut.section_mm2),
        "share": number(cut.share),
    }


def _bin(one: BinSummary, unit: LengthUnit) -> Json:
    return {
        "start_mm": number(one.start),
        "stop_mm": number(one.stop),
        "deepest": spot_json(one.deepest, unit),
        "section_loss": _section(one.section_loss),
        "over_area_mm2": number(one.over_area_mm2),
        "findings": one.findings,
        "verdict": str(one.verdict),
    }


def _reading(check: ReadingCheck, unit: LengthUnit) -> Json:
    reading = check.reading
    return {
        "reading": reading.id,
        "at_mm": [number(v) for v in reading.at],
        "remaining": plain(reading.value, unit),
        "instrument": reading.instrument,
        "date": reading.date,
        "removed_by_reading": plain(check.removed_by_reading, unit),
        "removed_by_entries": plain(check.removed_by_entries, unit),
        "normalised_difference": number(check.normalised),
        "agrees": check.agrees,
        "spot": spot_json(check.spot, unit),
    }


def _coverage(cover: Coverage) -> Json:
    return {
        "share": number(cover.share),
        "seen": geometry(cover.seen),
        "unseen": geometry(cover.unseen),
    }
