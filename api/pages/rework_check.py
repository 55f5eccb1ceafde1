"""What can be said of a removal or a reading before it is kept: its faults, and what it would mean."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from api.errors import Fault, InvalidError
from api.repository import check
from api.services import SurveyView
from corrosion.errors import CorrosionError
from corrosion.layout import MemberLayout
from corrosion.model import Removal, SurveyFile, ThicknessReading, in_millimetres
from corrosion.quantity import FloatArray
from corrosion.removal import Entry, collect_entries
from corrosion.report.numbers import percent_text
from corrosion.terms import FLAG_MEANING, Origin
from corrosion.units import LengthUnit, mm_per, show_length

Kind = Literal["removal", "reading"]
MODELS: dict[Kind, type[Removal | ThicknessReading]] = {
    "removal": Removal,
    "reading": ThicknessReading,
}
# Less of a footprint than this off the member is the hand that drew it.
DRAWN_SHARE = 0.001
# A reading above the reference by more than this many uncertainties asks for a second look (k = 2).
THICKER_BEYOND = 2.0


@dataclass
class Said:
    """What a check says.

    Attributes
    ----------
    faults : list of Fault
        Why it cannot be kept, or would stop the sums; each with the path of its field.
    doubts : list of str
        What to look at once more; it can be kept nevertheless.
    facts : list of str
        What it means, in the unit shown.
    """

    faults: list[Fault] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    facts: list[str] = field(default_factory=list)


def check_part(view: SurveyView, kind: Kind, body: Any, unit: LengthUnit) -> Said:
    """Check a removal or reading, in the survey's unit, against the model and the member it names.

    Nothing is stored. The sums of the survey are not made, so it answers while somebody types.
    """
    try:
        part = check(MODELS[kind], body)
    except InvalidError as error:
        return Said(faults=error.faults)
    key = "removals" if kind == "removal" else "thickness_readings"
    whole: dict[str, Any] = {
        "units": view.structure.units,
        "structure": view.structure.document,
        key: [part.model_dump(mode="json")],
    }
    try:
        survey = in_millimetres(check(SurveyFile, whole | view.row.document))
        layout = _layout(survey, part.member)
    except CorrosionError as error:
        return Said(faults=[Fault(path="body.member", message=str(error))])
    said = _of_removal(survey, layout, unit) if kind == "removal" else _of_reading(survey, layout, unit)
    said.doubts.extend(_of_instrument(survey))
    return said


def _layout(survey: SurveyFile, member_id: str) -> MemberLayout:
    member = next(one for one in survey.structure.members if one.id == member_id)
    return MemberLayout.of(member, survey.structure)


def _of_removal(survey: SurveyFile, layout: MemberLayout, unit: LengthUnit) -> Said:
    record = survey.removals[0]
    try:
        (entry,) = collect_entries(record.member, survey, [], planned=True).entries
    except CorrosionError as error:
        return Said(faults=[Fault(path="body.footprint", message=str(error))])
    on_it = entry.footprint.intersection(layout.polygon)
    if on_it.area <= 0.0:
        message = f"it lies off member {record.member}: check station and offset, and their unit."
        return Said(faults=[Fault(path="body.footprint", message=message)])
    said = Said(facts=list(_facts(entry, layout, unit)))
    off = 1.0 - on_it.area / entry.footprint.area
    if off > DRAWN_SHARE:
        said.doubts.append(f"{percent_text(off)} of it lies off the member and is cut off.")
    said.doubts.extend(_depth_doubts(entry, layout, unit))
    said.doubts.extend(FLAG_MEANING[flag] for flag in sorted(entry.flags))
    if record.origin is Origin.PLANNED:
        said.facts.append("Planned: kept apart, not counted as removed.")
    return said


def _facts(entry: Entry, layout: MemberLayout, unit: LengthUnit) -> Iterator[str]:
    at = _deepest(entry)
    thickness, limit = float(layout.thickness_at(at)[0]), float(layout.limit_at(at)[0][0])
    yield f"Area {entry.footprint.area / mm_per(unit) ** 2:.3g} {unit}²."
    left = max(thickness - entry.depth, 0.0)
    yield f"It leaves {show_length(left, unit)} of {show_length(thickness, unit)} where it is deepest."
    if np.isnan(limit):
        yield "No limit is set there, so nothing there can be judged."
    else:
        share = percent_text(entry.depth / limit)
        yield f"By itself it takes {share} of the limit, {show_length(limit, unit)}."


def _depth_doubts(entry: Entry, layout: MemberLayout, unit: LengthUnit) -> Iterator[str]:
    at = _deepest(entry)
    thickness, limit = float(layout.thickness_at(at)[0]), float(layout.limit_at(at)[0][0])
    if entry.depth >= thickness:
        yield f"It is as deep as the metal is thick, {show_length(thickness, unit)}. Check the unit."
    elif entry.depth > limit:
        yield "It is over the limit by itself."
    if entry.depth == 0.0:
        yield "A depth of 0 takes nothing away."
    if entry.u == 0.0:
        yield "An uncertainty of 0 says that the depth is known exactly."


def _deepest(entry: Entry) -> FloatArray:
    return np.array([entry.profile.deepest])


def _of_reading(survey: SurveyFile, layout: MemberLayout, unit: LengthUnit) -> Said:
    reading = survey.thickness_readings[0]
    at = np.array([reading.at])
    if not layout.contains(at)[0]:
        message = f"it lies off member {reading.member}: check station and offset, and their unit."
        return Said(faults=[Fault(path="body.at", message=message)])
    thickness = float(layout.thickness_at(at)[0])
    spread = math.hypot(reading.u, float(layout.u_thickness_at(at)[0]))
    gone = thickness - reading.value
    words = "measured" if not layout.thickness_is_nominal else "nominal"
    less = "less" if gone >= 0.0 else "more"
    said = Said()
    said.facts.append(
        f"{show_length(abs(gone), unit)} {less} than the {words} thickness there, "
        f"{show_length(thickness, unit)}."
    )
    if -gone > THICKER_BEYOND * spread:
        said.doubts.append("That is thicker than the member is: was the coating read too, or another unit?")
    if reading.u == 0.0:
        said.doubts.append("An uncertainty of 0 says that the thickness is known exactly.")
    return said


def _of_instrument(survey: SurveyFile) -> Iterator[str]:
    used = [one.depth.instrument for one in survey.removals]
    used += [one.instrument for one in survey.thickness_readings]
    known = {one.id for one in survey.instruments}
    for name in used:
        if name is not None and name not in known:
            yield (
                f"Instrument {name} is not in the survey's list: its common uncertainty counts as none. "
                "Add it below."
            )
