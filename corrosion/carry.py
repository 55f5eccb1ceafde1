"""What the next survey of a structure starts with: everything removed so far, as earlier rework.

The sum at every place has to go on where it stood. So each entry that counted in the old survey's sum
becomes a removal on record, in the same order of time, with the same rule for what its depth was measured
from. Nothing doubtful may turn into a pass on the way: a depth that was only a bound stays one, and a
blend-out that no sum could count is carried as "at least nothing", which never counts as within.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry import Polygon

from corrosion.model import Depth, Mark, Member, PolygonShape, Removal, SurveyFile, ThicknessReading
from corrosion.model.files import from_millimetres
from corrosion.removal.entries import Entry, collect_entries
from corrosion.results import Assessment, Finding
from corrosion.terms import Face, Flag, MeasuredFrom, Origin, ProfileKind, Relation
from corrosion.units import LengthUnit

_UNDATED = "0000-00-00"
_NOTE_LENGTH = 4000
_ID_LENGTH = 76
Rank = tuple[str, int, int]


@dataclass(frozen=True)
class Carried:
    """What goes into the next survey, in the unit of the old survey file.

    Attributes
    ----------
    removals : list of Removal
        Of origin ``earlier``, in the order of time for each member.
    readings : list of ThicknessReading
        Those that showed more removed than the entries add up to: they governed, and still do.
    left_out : list of str
        What could not be carried, in plain words; someone has to look at it.
    """

    removals: list[Removal]
    readings: list[ThicknessReading]
    left_out: list[str]


def carry_forward(assessment: Assessment, file: SurveyFile, *, source: str, until: str) -> Carried:
    """Turn what an assessment sums into earlier rework for the next survey.

    Planned removals took no metal off and are not carried. Instruments are not repeated here: the next
    survey has to list those of `file`, since what their readings share stays shared.

    Parameters
    ----------
    assessment : Assessment
        Of the old survey, in mm.
    file : SurveyFile
        The same survey in its own unit; removals on record are taken from it unchanged.
    source : str
        How people know the old survey, for the notes.
    until : str
        ISO date by which everything in the old survey was done; stands in where neither a blend-out nor
        the survey has a date, so that it keeps its place at the end.

    Returns
    -------
    Carried
    """
    latest = max([until, *_dates(assessment.survey)])
    carrier = _Carrier(assessment, file, source, latest)
    removals = [one for member in assessment.survey.structure.members for one in carrier.member(member)]
    return Carried(
        removals=_with_free_ids(removals), readings=carrier.readings(), left_out=carrier.left_out()
    )


@dataclass(frozen=True)
class _Carrier:
    assessment: Assessment
    file: SurveyFile
    source: str
    latest: str

    def member(self, member: Member) -> list[Removal]:
        """Carry one member's entries, in their order."""
        ranked = [*self._records(member.id), *self._blend_outs(member)]
        return [removal for _, removal in sorted(ranked, key=lambda pair: pair[0])]

    def _records(self, member_id: str) -> Iterator[tuple[Rank, Removal]]:
        for number, record in enumerate(self.file.removals):
            if record.member != member_id or record.origin is Origin.PLANNED:
                continue
            if record.origin is Origin.EARLIER:
                yield (record.date or _UNDATED, 0, number), record
                continue
            date, words = self._date(record.date)
            note = " ".join(filter(None, [record.note, f"Of survey {self.source}.", words]))
            update = {"origin": Origin.EARLIER, "date": date, "note": note[:_NOTE_LENGTH]}
            yield (date, 2 if words else 1, number), record.model_copy(update=update)

    def _blend_outs(self, member: Member) -> Iterator[tuple[Rank, Removal]]:
        survey = self.assessment.survey
        alone = survey.model_copy(update={"removals": []})
        listed = collect_entries(member.id, alone, self.assessment.findings)
        order = {finding.id: place for place, finding in enumerate(self.assessment.findings)}
        found = {finding.id: finding for finding in self.assessment.findings}
        after = len(self.file.removals)
        carried = [
            (entry.id, self._of_entry(member.id, entry, found[entry.id])) for entry in listed.entries
        ]
        carried += [(one.id, self._of_undetermined(member, one, why)) for one, why in listed.undetermined]
        for name, removal in carried:
            # What has no date comes after everything that has one, as it did in the old survey.
            rank = 1 if self._dated(found[name]) else 2
            yield (removal.date or self.latest, rank, after + order[name]), removal

    def _of_entry(self, member_id: str, entry: Entry, finding: Finding) -> Removal:
        mark = self._mark(finding)
        date, words = self._date(entry.date)
        return self._in_file_unit(
            Removal(
                id=_identifier(finding.id),
                member=member_id,
                face=entry.face,
                footprint=_shape(entry.footprint),
                depth=Depth(value=entry.depth, u=entry.u, instrument=entry.instrument or None),
                relation=_relation(entry.flags),
                indicative=Flag.INDICATIVE in entry.flags,
                profile=mark.profile,
                run_out=mark.run_out,
                measured_from=MeasuredFrom.ORIGINAL if entry.from_original else MeasuredFrom.CURRENT,
                origin=Origin.EARLIER,
                date=date,
                note=self._note(finding, words, _doubts(entry.flags)),
            )
        )

    def _of_undetermined(self, member: Member, finding: Finding, reason: str) -> Removal:
        """Carry a blend-out whose depth or place is unknown: at least nothing, wherever it may be."""
        date, words = self._date(self._mark(finding).date or self.assessment.survey.survey.date)
        placed = finding.outline is not None and finding.outline.area > 0
        hull = finding.outline.convex_hull if finding.outline is not None else None
        where = hull if placed and isinstance(hull, Polygon) else Polygon(member.outline)
        told = [f"How much came off is not known: {reason}."]
        if not placed:
            told.append("Where on the member is not known either, so it stands for all of it.")
        if finding.face is None:
            told.append("Its face is not stated; the outer one stands in.")
        return self._in_file_unit(
            Removal(
                id=_identifier(finding.id),
                member=member.id,
                face=finding.face or Face.OUTER,
                footprint=_shape(where),
                depth=Depth(value=0.0, u=0.0),
                relation=Relation.AT_LEAST,
                profile=ProfileKind.FLAT,
                measured_from=MeasuredFrom.CURRENT,
                origin=Origin.EARLIER,
                date=date,
                note=self._note(finding, *told, words),
            )
        )

    def _dated(self, finding: Finding) -> bool:
        return bool(self._mark(finding).date or self.assessment.survey.survey.date)

    def _date(self, date: str | None) -> tuple[str, str]:
        """Return the date that keeps an entry in its place, and what to say if it was not stated."""
        known = date or self.assessment.survey.survey.date
        if known:
            return known, ""
        return self.latest, f"Its date is not stated; {self.latest} stands in."

    def _mark(self, finding: Finding) -> Mark:
        photo_id, mark_id = finding.sources[0]
        photo = next(one for one in self.assessment.survey.photos if one.id == photo_id)
        return next(one for one in photo.marks if one.id == mark_id)

    def _note(self, finding: Finding, *more: str) -> str:
        seen = "; ".join(f"photo {photo}, mark {mark}" for photo, mark in finding.sources)
        words = [f"Blend-out {finding.id} of survey {self.source} ({seen}).", *more]
        return " ".join(filter(None, words))[:_NOTE_LENGTH]

    def _in_file_unit(self, removal: Removal) -> Removal:
        unit: LengthUnit = self.file.units
        return from_millimetres(removal, unit)

    def readings(self) -> list[ThicknessReading]:
        """Return the readings that governed, each with its date."""
        governing = {
            check.reading.id
            for member in self.assessment.members
            for check in member.readings
            if Flag.READING_GOVERNS in check.spot.removed.flags
        }
        return [
            one.model_copy(
                update={
                    "date": self._date(one.date)[0],
                    "note": f"{one.note} Of survey {self.source}.".strip()[:_NOTE_LENGTH],
                }
            )
            for one in self.file.thickness_readings
            if one.id in governing
        ]

    def left_out(self) -> list[str]:
        """Name the blend-outs that belong to no member: there is no place to carry them to."""
        return [
            f"blend-out {finding.id} belongs to no member: find its place and enter it as earlier rework."
            for finding in self.assessment.findings
            if finding.kind == "blend-out" and finding.member_id is None
        ]


def _dates(survey: SurveyFile) -> list[str]:
    marks = [mark.date for photo in survey.photos for mark in photo.marks]
    found = [survey.survey.date, *marks, *(one.date for one in survey.removals)]
    return [date for date in found if date]


def _shape(outline: Polygon) -> PolygonShape:
    rings = [outline.exterior, *outline.interiors]
    return PolygonShape(coordinates=[[(x, y) for x, y, *_ in ring.coords] for ring in rings])


def _relation(flags: frozenset[Flag]) -> Relation:
    if Flag.LOWER_BOUND in flags:
        return Relation.AT_LEAST
    return Relation.AT_MOST if Flag.UPPER_BOUND in flags else Relation.EQUAL


def _doubts(flags: frozenset[Flag]) -> str:
    """Keep the doubts of place and count in words; those of depth are fields of the removal."""
    others = sorted(flags - {Flag.LOWER_BOUND, Flag.UPPER_BOUND, Flag.INDICATIVE})
    return f"Doubts then: {', '.join(others)}." if others else ""


def _identifier(finding_id: str) -> str:
    """Make an identifier of a finding's id, which is ``photo/mark`` where it bears no name."""
    return finding_id.replace("/", "-")[:_ID_LENGTH]


def _with_free_ids(removals: list[Removal]) -> list[Removal]:
    """Add numbers to what would bear the same id: the pieces of one blend-out, or a name used twice."""
    taken: set[str] = set()
    named = []
    for removal in removals:
        key, number = removal.id, 1
        while key in taken:
            number += 1
            key = f"{removal.id[:_ID_LENGTH]}-{number}"
        taken.add(key)
        named.append(removal if key == removal.id else removal.model_copy(update={"id": key}))
    return named
