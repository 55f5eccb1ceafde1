"""The machine-readable form of plans and dispositions; rules as in `corrosion.report.json_form`.

A planned **removal** is the survey file's own part, in mm.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from corrosion.blend import (
    Alternative,
    Conflict,
    DoneBlend,
    MemberPlan,
    PlannedBlend,
    Site,
    compare_alternatives,
    ratio_words,
)
from corrosion.disposition import FindingDisposition, MemberDisposition
from corrosion.extremes import UnseenDepth
from corrosion.model.planning import RuleRow
from corrosion.report.bench_numbers import target_and_stop
from corrosion.report.decision import unseen_json, unseen_lines
from corrosion.report.json_form import geometry, measured, number, plain, spot_json
from corrosion.results import Finding
from corrosion.rules import Caution, LevelAnswer
from corrosion.terms import Flag
from corrosion.units import LengthUnit

Json = dict[str, Any]

PLAN_FORMAT = "corrosion-plan"
DISPOSITION_FORMAT = "corrosion-disposition"
UNSEEN_FORMAT = "corrosion-unseen"
FORM_VERSION = 1
PLAN_CAUTION = (
    "This is a planning aid: approved data govern. It approves no rework and releases nothing to service."
)


def plan_json(members: Iterable[MemberDisposition], unit: LengthUnit) -> Json:
    """Machine-readable form of the blend plans of all members."""
    return _head(PLAN_FORMAT, unit) | {"members": [_member_plan(one.plan, unit) for one in members]}


def disposition_json(members: Iterable[MemberDisposition], unit: LengthUnit) -> Json:
    """Machine-readable form of what is to be done with every finding and member, and why."""
    return _head(DISPOSITION_FORMAT, unit) | {"members": [_disposition(one, unit) for one in members]}


def unseen_faces_json(faces: Iterable[UnseenDepth], unit: LengthUnit) -> Json:
    """Machine-readable form of the deepest unseen pits, each with its words for people."""
    listed = [unseen_json(one) | {"words": unseen_lines(one, unit)} for one in faces]
    return _head(UNSEEN_FORMAT, unit) | {"faces": listed}


def _head(name: str, unit: LengthUnit) -> Json:
    units = {"length": "mm", "area": "mm2", "volume": "mm3", "display": unit}
    return {"format": name, "version": FORM_VERSION, "units": units, "caution": PLAN_CAUTION}


def _member_plan(plan: MemberPlan, unit: LengthUnit) -> Json:
    return {
        "member": plan.member_id,
        "blends": [blend_json(plan, blend, unit) for blend in plan.blends],
        "undetermined": [_left(finding, why) for finding, why in plan.undetermined],
        "blended": [{"finding": finding.id, "by": by} for finding, by in plan.blended],
        "open_questions": list(plan.open_questions),
    }


def _left(finding: Finding, why: str) -> Json:
    face = None if finding.face is None else str(finding.face)
    return {"finding": finding.id, "face": face, "station": finding.station_text, "why": why}


def blend_json(plan: MemberPlan, blend: PlannedBlend, unit: LengthUnit) -> Json:
    """Machine-readable form of one planned blend, with what is taken off either way."""
    return {
        "id": blend.id,
        "face": str(blend.removal.face),
        "sites": [_site(site, unit) for site in blend.sites],
        "depth": plain(blend.depth, unit),
        "measured_from": str(blend.removal.measured_from),
        "why_from": blend.why_from,
        "run_out": {
            "per_side": number(blend.run_out.side),
            "total": number(2.0 * blend.run_out.side),
            "words": ratio_words(blend.run_out),
            "length": plain(blend.run_out.side * blend.depth, unit),
        },
        "footprint": geometry(blend.footprint),
        "floor": geometry(blend.floor),
        "volume_mm3": number(blend.volume_mm3),
        "after": spot_json(blend.after, unit),
        "verdict": str(blend.verdict),
        "stop_depth": stop_json(blend, unit),
        "stop_at_mm": None if blend.stop_at is None else [number(v) for v in blend.stop_at],
        "reaches_depth": blend.reaches_depth,
        "conflicts": [_conflict(conflict, unit) for conflict in blend.conflicts],
        "alternatives": [_alternative(one, unit) for one in compare_alternatives(plan, blend)],
        "notes": list(blend.notes),
        "flags": flags_json(blend.flags),
        "removal": blend.removal.model_dump(mode="json"),
    }


def stop_json(blend: PlannedBlend, unit: LengthUnit) -> Json | None:
    """Depth at which to stop; `display` is rounded down, so that nobody grinds deeper by it."""
    form = plain(blend.stop_depth, unit)
    if form is None or blend.stop_depth is None:
        return form
    return form | {"display": f"{target_and_stop(blend.depth, blend.stop_depth, unit)[1]} {unit}"}


def _site(site: Site, unit: LengthUnit) -> Json:
    finding = site.finding
    return {
        "finding": finding.id,
        "kind": str(finding.kind),
        "station": finding.station_text,
        "outline": geometry(site.outline),
        "corrosion": measured(site.corrosion, unit, thickness=True),
        "planned_depth": plain(site.depth, unit),
        "inside_earlier": site.inside_earlier,
        "sources": [{"photo": photo, "mark": mark} for photo, mark in finding.sources],
    }


def _conflict(conflict: Conflict, unit: LengthUnit) -> Json:
    return {
        "kind": str(conflict.kind),
        "stands": str(conflict.stands),
        "words": conflict.words,
        "distance": plain(conflict.distance, unit),
        "minimum": plain(conflict.minimum, unit),
        "source": conflict.source,
    }


def _alternative(one: Alternative, unit: LengthUnit) -> Json:
    return {
        "name": one.name,
        "planned": one.planned,
        "removed_mm3": number(one.removed_mm3),
        "margin": plain(one.margin_mm, unit),
        "verdict": str(one.verdict),
        "note": one.note,
    }


def done_json(done: DoneBlend, unit: LengthUnit) -> Json:
    """Machine-readable form of a blend-out held against its plan; differences are actual less planned."""
    return {
        "planned": done.planned.id,
        "planned_depth": plain(done.planned.depth.value, unit),
        "actual": list(done.actual),
        "depth_difference": plain(done.depth_difference, unit),
        "area_difference_mm2": number(done.area_difference),
        "uncovered_mm2": number(done.uncovered_mm2),
        "after": spot_json(done.after, unit),
    }


def _disposition(one: MemberDisposition, unit: LengthUnit) -> Json:
    return {
        "member": one.member_id,
        "action": str(one.action),
        "reasons": list(one.reasons),
        "findings": [_finding(finding) for finding in one.findings],
        "level": _level(one.level),
        "slopes": [
            {
                "blend_out": slope.entry_id,
                "room": plain(slope.room, unit),
                "needed": plain(slope.needed, unit),
                "stands": str(slope.stands),
                "words": slope.words,
            }
            for slope in one.slopes
        ],
        "cautions": [caution_json(caution) for caution in one.cautions],
    }


def _finding(one: FindingDisposition) -> Json:
    return {
        "finding": one.finding_id,
        "action": str(one.action),
        "reasons": list(one.reasons),
        "numbers": {name: number(value) for name, value in one.numbers.items()},
        "blend": one.blend_id,
        "rule": None if one.rule is None else rule_json(one.rule),
    }


def rule_json(rule: RuleRow) -> Json:
    """Machine-readable form of a rule: the survey file's own part."""
    return rule.model_dump(mode="json")


def _level(level: LevelAnswer) -> Json:
    return {"level": str(level.level), "reasons": list(level.reasons)}


def caution_json(caution: Caution) -> Json:
    """Machine-readable form of a caution."""
    return {"id": caution.id, "title": caution.title, "text": caution.text, "source": caution.source}


def flags_json(flags: frozenset[Flag]) -> list[str]:
    """Names of flags, in the registry's order."""
    return [str(flag) for flag in Flag if flag in flags]
