"""The tables of an archive: CSV that any program opens, lengths in the unit the survey shows.

They repeat what survey file and assessment hold, for people; nothing is read back from them but the list
of originals.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from corrosion.model import Member
from corrosion.quantity import COVERAGE_FACTOR, Measured
from corrosion.report.words import KIND_WORDS, flag_words
from corrosion.results import Assessment, Finding, MemberAssessment, PhotoMeasures, ReadingCheck
from corrosion.terms import Face
from corrosion.units import mm_per

Value = str | float | None

# What a spreadsheet takes for a formula (common practice, no source); the apostrophe so that taking it
# off again gives the cell as it was.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
LENGTH_POWERS = {"mm": 1, "mm2": 2, "mm3": 3, "1/mm2": -2}


def table(head: Sequence[str], rows: Iterable[Sequence[Value]]) -> bytes:
    """Write CSV (RFC 4180) in UTF-8, with an apostrophe before text that a spreadsheet would compute."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(head)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return stream.getvalue().encode(errors="replace")


def _cell(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        text = value.replace("\0", "\N{REPLACEMENT CHARACTER}")
        return f"'{text}" if text.lstrip(" ").startswith(FORMULA_STARTS) else text
    return f"{value:.9g}"


def assessment_tables(assessment: Assessment) -> dict[str, bytes]:
    """Write the tables of an assessment by their names, such as ``findings.csv``."""
    unit = _Unit(assessment)
    return {
        "members.csv": unit.members(assessment.members),
        "findings.csv": unit.findings(assessment.findings),
        "measures.csv": unit.measures(assessment.photos),
        "removals.csv": unit.removals(),
        "readings.csv": unit.readings(assessment),
        "problems.csv": table(["Problem"], [[words] for words in assessment.problems]),
    }


class _Unit:
    """The tables of one assessment, in its display unit."""

    def __init__(self, assessment: Assessment) -> None:
        self._survey = assessment.survey
        self._unit = assessment.survey.display_units or assessment.survey.units
        self._per = mm_per(self._unit)

    def _length(self, value: float | None, power: int = 1) -> float | None:
        return None if value is None or not math.isfinite(value) else value / self._per**power

    def _pair(self, measured: Measured | None) -> tuple[float | None, float | None]:
        """Value and U (k = 2), in the table's unit."""
        if measured is None:
            return None, None
        power = LENGTH_POWERS.get(measured.unit, 0)
        doubt = COVERAGE_FACTOR * measured.u
        return self._length(measured.value, power), self._length(doubt, power)

    def _heads(self, *names: str) -> list[str]:
        """Put the unit into the heads that have a place for it."""
        return [name.replace("{}", self._unit) for name in names]

    def members(self, members: Iterable[MemberAssessment]) -> bytes:
        head = self._heads(
            "Member", "Kind", "Zone", "Material", "Thickness, {}", "Verdict on metal removed", "Why",
            "Deepest removed, {}", "U (k = 2), {}", "at station, {}", "at offset, {}", "Limit there, {}",
            "Source of limit", "Margin, {}", "Remaining, {}", "Largest section loss, share",
            "Outer face seen, share", "Inner face seen, share", "Pits not blended", "Flags",
        )  # fmt: skip
        return table(head, [self._member(one) for one in members])

    def _member(self, one: MemberAssessment) -> list[Value]:
        member: Member = one.member
        spot, cut = one.deepest, one.worst_section
        station, offset = spot.at if spot else (None, None)
        seen = [
            one.coverage[face].share if face in one.coverage else None for face in (Face.OUTER, Face.INNER)
        ]
        return [
            member.id, str(member.kind), member.zone, member.material, self._length(member.thickness),
            str(one.verdict), " ".join(one.reasons),
            *self._pair(spot.removed if spot else None), self._length(station), self._length(offset),
            self._length(spot.limit) if spot else None, spot.limit_source if spot else None,
            self._length(spot.margin) if spot else None, self._length(spot.remaining) if spot else None,
            cut.share if cut else None, *seen, ", ".join(one.unblended_pits), flag_words(one.flags),
        ]  # fmt: skip

    def findings(self, findings: Iterable[Finding]) -> bytes:
        head = self._heads(
            "Finding", "Kind", "Zone", "Member", "Face", "Station as written", "Station on layout, {}",
            "Offset, {}", "Depth, {}", "U of depth (k = 2), {}", "Area, {}2", "U of area (k = 2), {}2",
            "Equivalent diameter, {}", "U of equivalent diameter (k = 2), {}", "Grade by depth", "Flags",
            "Photos and marks",
        )  # fmt: skip
        return table(head, [self._finding(one) for one in findings])

    def _finding(self, one: Finding) -> list[Value]:
        station, offset = one.position or (None, None)
        return [
            one.id, KIND_WORDS[one.kind], one.zone, one.member_id, str(one.face) if one.face else None,
            one.station_text, self._length(station), self._length(offset), *self._pair(one.depth),
            *self._pair(one.quantities.get("area")), *self._pair(one.quantities.get("equivalent_diameter")),
            one.grade, flag_words(one.flags), "; ".join(f"{photo} {mark}" for photo, mark in one.sources),
        ]  # fmt: skip

    def measures(self, photos: Iterable[PhotoMeasures]) -> bytes:
        head = [
            "Photo",
            "Mark",
            "Kind",
            "Quantity",
            "Value",
            "U (k = 2)",
            "Unit",
            "Flags",
            "Not measured because",
        ]
        return table(head, [row for photo in photos for row in self._photo(photo)])

    def _photo(self, photo: PhotoMeasures) -> list[list[Value]]:
        rows: list[list[Value]] = []
        if photo.problem:
            rows.append([photo.photo_id, *[None] * 7, photo.problem])
        for one in photo.marks:
            name = [photo.photo_id, one.mark.id, KIND_WORDS[one.mark.kind]]
            if one.problem:
                rows.append([*name, *[None] * 5, one.problem])
            measured = one.quantities | ({"depth": one.depth} if one.depth else {})
            rows += [[*name, *self._quantity(key, value)] for key, value in measured.items()]
        rows += [
            [photo.photo_id, None, "whole photo", *self._quantity(key, value)]
            for key, value in photo.totals.items()
        ]
        return rows

    def _quantity(self, name: str, value: Measured) -> list[Value]:
        unit = value.unit.replace("mm", self._unit) if value.unit in LENGTH_POWERS else value.unit
        return [name.replace("_", " "), *self._pair(value), unit, flag_words(value.flags), None]

    def removals(self) -> bytes:
        head = self._heads(
            "Removal", "Member", "Face", "Origin", "Date", "Depth, {}", "u (k = 1), {}", "Measured from",
            "Profile", "Instrument", "Note",
        )  # fmt: skip
        rows: list[list[Value]] = [
            [
                one.id, one.member, str(one.face), str(one.origin), one.date, self._length(one.depth.value),
                self._length(one.depth.u), str(one.measured_from), str(one.profile), one.depth.instrument,
                one.note,
            ]
            for one in self._survey.removals
        ]  # fmt: skip
        return table(head, rows)

    def readings(self, assessment: Assessment) -> bytes:
        head = self._heads(
            "Reading", "Member", "Station, {}", "Offset, {}", "Thickness read, {}", "u (k = 1), {}",
            "Instrument", "Date", "Removed by reading, {}", "Removed by entries, {}", "Agree", "Note",
        )  # fmt: skip
        checks = {check.reading.id: check for one in assessment.members for check in one.readings}
        rows = []
        for reading in self._survey.thickness_readings:
            check: ReadingCheck | None = checks.get(reading.id)
            rows.append(
                [
                    reading.id, reading.member, *(self._length(v) for v in reading.at),
                    self._length(reading.value), self._length(reading.u), reading.instrument, reading.date,
                    self._length(check.removed_by_reading) if check else None,
                    self._length(check.removed_by_entries) if check else None,
                    ("yes" if check.agrees else "no") if check else None, reading.note,
                ]
            )  # fmt: skip
        return table(head, rows)
