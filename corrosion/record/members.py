"""Per member: limits with their sources, what was removed, readings, coverage and maps."""

from __future__ import annotations

from pathlib import Path

from corrosion.model import Limit
from corrosion.record.blocks import (
    NOTHING,
    Block,
    Cell,
    bullets,
    facts,
    heading,
    paragraph,
    strong,
    table,
    verdict_cell,
)
from corrosion.record.front import seen_words
from corrosion.record.maps import map_pages
from corrosion.record.subject import Progress, Subject
from corrosion.record.texts import shortened, visible
from corrosion.report.bench_numbers import at_least_text
from corrosion.report.decision import unseen_lines
from corrosion.report.numbers import chance_text, length_text, percent_text, place_text, shown
from corrosion.report.words import verdict_words
from corrosion.results import BinSummary, MemberAssessment, ReadingCheck, Spot
from corrosion.units import DECIMALS, LengthUnit


def member_sections(subject: Subject, folder: Path, room_mm: float, progress: Progress) -> list[Block]:
    """Write every member with something on it at length, the others in one table.

    Parameters
    ----------
    folder : Path
        Where the maps are written.
    room_mm : float
        Height of a page's text area.
    """
    long = [one for one in subject.assessment.members if subject.has_something(one)]
    blocks = [heading(1, "Members"), *_quiet_members(subject, long)]
    progress("maps", 0, len(long))
    for number, one in enumerate(long, start=1):
        blocks += _member(subject, one)
        blocks += map_pages(subject, one, folder, number, room_mm)
        progress("maps", number, len(long))
    return blocks


def _quiet_members(subject: Subject, long: list[MemberAssessment]) -> list[Block]:
    quiet = [one for one in subject.assessment.members if one not in long]
    if not quiet:
        return []
    rows: list[list[Cell]] = [
        [
            strong(one.member.id),
            one.member.name,
            one.member.zone,
            f"{one.member.material}, {length_text(one.member.thickness, subject.unit)}",
            verdict_cell(one.verdict),
            seen_words(one),
            _limit_words(one.member.limit, one.member.thickness, subject.unit),
        ]
        for one in quiet
    ]
    return [
        heading(2, "Members on which nothing was found"),
        paragraph("Nothing found speaks only of what was seen; the rest may hold anything.", "quiet"),
        *table(
            [
                "Member", "Name", "Zone",
                f"Material, thickness in {subject.unit}", "Verdict",
                "Seen outer / inner", "Limit and source",
            ],
            rows,
            right=(5,),
        ),
    ]  # fmt: skip


def _member(subject: Subject, one: MemberAssessment) -> list[Block]:
    member, unit = one.member, subject.unit
    measured = member.thickness_measured
    worst = one.worst_section
    mass = "" if one.removed_mass_kg is None else shown(one.removed_mass_kg, unit).text
    name = shortened(visible(f"{member.id} {member.name}".strip()), 80)
    return [
        heading(2, f"{name}: {verdict_words(one.verdict)}", new_page=True, listed=True),
        facts(
            [
                ("Name", member.name),
                ("Kind, zone", f"{member.kind}, zone {member.zone}"),
                ("Material", member.material),
                ("Thickness by drawing", f"{length_text(member.thickness, unit)} {unit}"),
                ("Thickness measured", f"{length_text(measured, unit)} {unit}" if measured else ""),
                ("Metal removed", f"{shown(one.removed_volume_mm3, unit).text}{mass and ', ' + mass}"),
                ("Area over the limit", _area(one.over_area_mm2, unit)),
                ("Area not surely within", _area(one.not_within_area_mm2, unit)),
                ("Largest section loss", _section(one, unit) if worst else ""),
                ("Cells", _cells(one, unit)),
            ]
        ),
        *bullets(one.reasons),
        heading(3, "Limits"),
        *_limits(one, unit),
        heading(3, "Thickness removed"),
        *_bins(one, unit),
        *_ledger("Deepest sum", one.deepest, unit),
        *(_ledger("Least margin", one.least_margin, unit) if one.least_margin != one.deepest else []),
        *_readings(one.readings, unit),
        heading(3, "Seen and not seen"),
        *_coverage(subject, one, unit),
    ]  # fmt: skip


def _cells(one: MemberAssessment, unit: LengthUnit) -> str:
    """State the size of the cells and what it may hide, rounded up."""
    bound = at_least_text(one.cell_error_mm, unit, DECIMALS[unit])
    size = length_text(one.cell_mm, unit)
    return f"{size} {unit}; the deepest sum may be up to {bound} {unit} deeper than found"


def _area(area_mm2: float, unit: LengthUnit) -> str:
    per = 25.4**2 if unit == "in" else 1.0
    return f"{area_mm2 / per:.3g} {unit}²" if area_mm2 > 0.0 else "none"


def _section(one: MemberAssessment, unit: LengthUnit) -> str:
    worst = one.worst_section
    if worst is None or worst.lost_mm2 <= 0.0:
        return "none"
    return (
        f"{percent_text(worst.share)} at station {place_text(worst.station, unit)}: "
        f"{_area(worst.lost_mm2, unit)} of {_area(worst.section_mm2, unit)}"
    )


def _limit_words(limit: Limit | None, thickness: float, unit: LengthUnit) -> str:
    if limit is None:
        return "No limit is set."
    return f"{_limit_amount(limit, thickness, unit)}. Source: {limit.source}"


def _limit_amount(limit: Limit, thickness: float, unit: LengthUnit) -> str:
    if limit.fraction is None:
        return f"{length_text(limit.depth, unit)} {unit}"
    share = f"{100.0 * limit.fraction:g} %"
    amount = length_text(limit.fraction * thickness, unit)
    return f"{share} of {length_text(thickness, unit)}, which is {amount} {unit}"


def _limits(one: MemberAssessment, unit: LengthUnit) -> list[Block]:
    member = one.member
    thickness = member.thickness_measured or member.thickness
    rows: list[list[Cell]] = []
    if member.limit is not None:
        amount = _limit_amount(member.limit, thickness, unit)
        rows.append(["whole member", amount, member.limit.source])
    rows += [
        [f"zone {zone.id}", _zone_amount(zone.limit, unit), zone.limit.source]
        for zone in member.limit_zones
    ]
    head = ["Where", "Most that may be removed", "Source"]
    return table(head, rows, empty="No limit is set: every verdict on this member stays not determined.")


def _zone_amount(limit: Limit, unit: LengthUnit) -> str:
    if limit.fraction is None:
        return f"{length_text(limit.depth, unit)} {unit}"
    return f"{100.0 * limit.fraction:g} % of the thickness there"


def _bins(one: MemberAssessment, unit: LengthUnit) -> list[Block]:
    told = [b for b in one.bins if b.findings or _removed(b.deepest)]
    return table(
        [
            f"Stations, {unit}", "Findings", f"Deepest removed ± U, {unit}",
            f"Limit, {unit}", f"Margin, {unit}", f"Remaining, {unit}",
            "Section loss", "Verdict",
        ],
        [_bin_row(one_bin, unit) for one_bin in told],
        right=(1, 2, 3, 4, 5, 6),
        empty="No removal was measured or recorded.",
    )  # fmt: skip


def _removed(spot: Spot | None) -> bool:
    return spot is not None and spot.removed.value > 0.0


def _bin_row(one: BinSummary, unit: LengthUnit) -> list[Cell]:
    spot = one.deepest if _removed(one.deepest) else None
    stations = f"{place_text(one.start, unit)} to {place_text(one.stop, unit)}"
    if spot is None:
        # No removal in a bin is no verdict on it: its pits are not blended yet.
        return [stations, str(one.findings), *[NOTHING] * 6]
    return [
        stations,
        str(one.findings),
        shown(spot.removed, unit, thickness=True).number,
        "not set" if spot.limit is None else length_text(spot.limit, unit),
        length_text(spot.margin, unit),
        length_text(spot.remaining, unit),
        percent_text(one.section_loss.share),
        verdict_cell(one.verdict),
    ]


def _ledger(name: str, spot: Spot | None, unit: LengthUnit) -> list[Block]:
    if spot is None or not _removed(spot):
        return []
    where = f"station {place_text(spot.at[0], unit)}, offset {place_text(spot.at[1], unit)} {unit}"
    faces = " + ".join(f"{face} {length_text(part, unit)}" for face, part in spot.by_face.items())
    removed = shown(spot.removed, unit, thickness=True).text
    limit = (
        "No limit is set here."
        if spot.limit is None
        else f"Limit {length_text(spot.limit, unit)} {unit} ({spot.limit_source}), margin "
        f"{length_text(spot.margin, unit)} {unit}, probability of being over "
        f"{chance_text(spot.probability_over)}."
    )
    reason = f" {spot.reason}" if spot.reason else ""
    words = (
        f"{name}, at {where}: {removed} removed ({faces}). {limit} {verdict_words(spot.verdict)}.{reason}"
    )
    rows: list[list[Cell]] = [
        [
            line.entry_id, line.date or NOTHING, str(line.face), str(line.origin), line.measured_from,
            length_text(line.depth_here, unit), length_text(line.adds, unit),
            length_text(line.face_total_after, unit),
        ]
        for line in spot.ledger
    ]  # fmt: skip
    return [
        paragraph(words),
        *table(
            [
                "Entry", "Date", "Face", "Origin",
                "Measured from", f"Depth here, {unit}", f"Adds, {unit}",
                f"Face total after, {unit}",
            ],
            rows,
            right=(5, 6, 7),
        ),
    ]  # fmt: skip


def _readings(checks: list[ReadingCheck], unit: LengthUnit) -> list[Block]:
    rows: list[list[Cell]] = [
        [
            check.reading.id,
            f"{place_text(check.reading.at[0], unit)}, {place_text(check.reading.at[1], unit)}",
            f"{length_text(check.reading.value, unit)} ± {length_text(2.0 * check.reading.u, unit)}",
            check.reading.instrument or "not stated",
            check.reading.date or NOTHING,
            length_text(check.removed_by_reading, unit),
            length_text(check.removed_by_entries, unit),
            "agrees" if check.agrees else strong("disagrees: the larger removal governs"),
        ]
        for check in checks
    ]
    if not rows:
        return []
    return [
        heading(3, "Thickness readings"),
        *table(
            [
                "Reading", f"Station, offset, {unit}", f"Remaining ± U, {unit}",
                "Instrument", "Date", f"Removed by reading, {unit}",
                f"by entries, {unit}", "The two",
            ],
            rows,
            right=(2, 5, 6),
        ),
    ]  # fmt: skip


def _coverage(subject: Subject, one: MemberAssessment, unit: LengthUnit) -> list[Block]:
    rows: list[list[Cell]] = []
    for face, cover in one.coverage.items():
        unseen = next(
            (u for u in subject.unseen if u.member_id == one.member.id and u.face is face),
            None,
        )
        words = "" if unseen is None else unseen_lines(unseen, unit)[0].partition(": ")[2]
        rows.append(
            [f"{face} face", percent_text(cover.share), _area(cover.unseen.area, unit), words or NOTHING]
        )
    return table(
        ["Face", "Seen", "Not seen", "Deepest pit to expect there"],
        rows,
        right=(1, 2),
        empty="No photo was placed on this member: nothing of it counts as seen.",
    )
