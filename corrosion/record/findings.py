"""What was found: the table by zone and station, and every photo with its marks and measures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby, islice

from corrosion.model import DepthReading, Mark, Photo, Scale
from corrosion.quantity import Measured
from corrosion.record.blocks import (
    NOTHING,
    Block,
    Cell,
    facts,
    figure,
    heading,
    links,
    paragraph,
    pictures,
    strong,
    table,
    together,
)
from corrosion.record.drawing import KIND_LINES
from corrosion.record.pictures import Shot
from corrosion.record.subject import Subject
from corrosion.report.numbers import length_text, place_text, shown
from corrosion.report.tables import flags_of
from corrosion.report.words import KIND_WORDS, TOTAL_WORDS, flag_words
from corrosion.results import Finding, MarkMeasures
from corrosion.units import LengthUnit, mm_per

COLUMNS = 3
OVERVIEW_MM = 60.0
LARGEST_PARTS = 4


def findings_table(subject: Subject) -> list[Block]:
    """List every finding, by zone, member and station."""
    blocks = [
        heading(1, "Findings", new_page=True),
        paragraph(
            "By zone, then by member and station. ± U is the expanded uncertainty (k = 2). A depth is read "
            "with an instrument; a photo alone never gives one.",
            "quiet",
        ),
    ]
    marks = {(p.id, m.id): m for p in subject.assessment.survey.photos for m in p.marks}
    anchors = _anchors(subject)
    ordered = sorted(subject.assessment.findings, key=_order)
    for zone, group in groupby(ordered, key=lambda f: f.zone or ""):
        blocks.append(heading(2, f"Zone {zone}" if zone else "Zone not stated"))
        blocks += _zone_table(list(group), marks, anchors, subject.unit)
    if not ordered:
        blocks.append(paragraph("Nothing was found on what was seen."))
    return blocks


def _anchors(subject: Subject) -> dict[str, str]:
    """Give anchors of the photos that are shown at length, by their number: ids are a person's words."""
    photos = subject.assessment.survey.photos
    return {photo.id: f"photo-{number}" for number, photo in enumerate(photos) if photo.marks}


def _order(finding: Finding) -> tuple[str, str, str, float, float, str]:
    station, offset = finding.position or (float("inf"), float("inf"))
    return (
        finding.zone or "~", finding.member_id or "~", str(finding.face or "~"), station, offset, finding.id
    )  # fmt: skip


def _zone_table(
    findings: list[Finding],
    marks: dict[tuple[str, str], Mark],
    anchors: dict[str, str],
    unit: LengthUnit,
) -> list[Block]:
    return table(
        [
            "Finding", "Kind", "Member, face", f"Station, offset, {unit}",
            f"Area ± U, {unit}²", f"Longest ± U, {unit}", f"Depth ± U, {unit}",
            "Read with", "Grade", "Photo: mark",
        ],
        [_finding_row(finding, marks, anchors, unit) for finding in findings],
        right=(4, 5, 6),
    )  # fmt: skip


def _finding_row(
    finding: Finding, marks: dict[tuple[str, str], Mark], anchors: dict[str, str], unit: LengthUnit
) -> list[Cell]:
    shown = [source for source in finding.sources if source[0] in anchors]
    readings = [r for source in finding.sources if source in marks for r in marks[source].depths]
    longest = finding.quantities.get("longest_calliper") or finding.quantities.get("length")
    face = f", {finding.face}" if finding.face else ""
    return [
        strong(finding.id),
        KIND_WORDS[finding.kind],
        f"{finding.member_id or NOTHING}{face}",
        _where(finding, unit),
        number(finding.quantities.get("area"), unit),
        number(longest, unit),
        number(finding.depth, unit, thickness=True) if finding.depth else "not read",
        ", ".join(dict.fromkeys(_read_with(r) for r in readings)) or NOTHING,
        finding.grade or NOTHING,
        links([(f"{photo}: {mark}", anchors[photo]) for photo, mark in shown]) if shown else NOTHING,
    ]


def _where(finding: Finding, unit: LengthUnit) -> str:
    if finding.position is None:
        return f"{finding.station_text or NOTHING}, not placed"
    return ", ".join(place_text(value, unit) for value in finding.position)


def _read_with(reading: DepthReading) -> str:
    return f"{reading.method} {reading.instrument or ''}".strip()


def number(quantity: Measured | None, unit: LengthUnit, *, thickness: bool = False) -> str:
    """Value with its U, without the unit; a dash for none."""
    return NOTHING if quantity is None else shown(quantity, unit, thickness=thickness).number


# Photos


def photo_sections(subject: Subject, shots: dict[str, Shot]) -> list[Block]:
    """Show every photo: with its marks at length, the others as small pictures."""
    photos = subject.assessment.survey.photos
    marked = [photo for photo in photos if photo.marks]
    plain = [photo for photo in photos if not photo.marks]
    blocks = [
        heading(1, "Photos and measures"),
        paragraph(
            f"Outlines as marked ({KIND_LINES}). Blue: the scale reference. Frames with letters on the "
            "whole photo show where the close-ups are. A close-up's scale bar holds at its marks, not all "
            "over. Shares of the doubt are shares of variance.",
            "quiet",
        ),
    ]
    measured = subject.measures()
    for photo in sorted(marked, key=_photo_order):
        blocks += _photo(subject, photo, shots.get(photo.id), measured)
    if plain:
        blocks.append(heading(2, "Photos without marks"))
        blocks.append(paragraph("Taken into the survey; nothing was marked on them.", "quiet"))
        small = [_plain(photo, shots[photo.id]) for photo in plain if photo.id in shots]
        blocks += pictures([one for one in small if one["kind"] == "figure"], COLUMNS)
        blocks += [one for one in small if one["kind"] != "figure"]
    return blocks


def _photo_order(photo: Photo) -> tuple[str, str, str, str]:
    return photo.zone or "~", photo.member or "~", str(photo.face or "~"), photo.id


def _photo(
    subject: Subject, photo: Photo, shot: Shot | None, measured: dict[tuple[str, str], MarkMeasures]
) -> list[Block]:
    unit = subject.unit
    summary = next((p for p in subject.assessment.photos if p.photo_id == photo.id), None)
    totals = [] if summary is None else [_total(*one, unit) for one in summary.totals.items()]
    problem = summary.problem if summary and summary.problem else ""
    head = [
        heading(2, f"Photo {photo.id}", anchor=_anchors(subject)[photo.id]),
        facts(
            [
                ("Shows", _shows(photo)),
                ("Taken", ", ".join(part for part in (photo.taken, photo.device, photo.adapter) if part)),
                ("Scale", "none" if photo.scale is None else scale_words(photo.scale, unit)),
                ("Sums", "; ".join(totals)),
                ("Problem", problem),
                ("Note", photo.note),
            ]
        ),
    ]
    first, *more = _shown(photo, shot)
    rows = [_mark_row(measured.get((photo.id, mark.id)), mark, unit) for mark in photo.marks]
    return [
        together([*head, first]),
        *more,
        *table(
            [
                "Mark", "Kind", f"Area ± U, {unit}²", f"Longest ± U, {unit}",
                f"Depth ± U, {unit}", "Depth readings", "Shares of the doubt",
                "Flags",
            ],
            rows,
            right=(2, 3, 4),
        ),
    ]  # fmt: skip


def _total(name: str, value: Measured, unit: LengthUnit) -> str:
    words = TOTAL_WORDS.get(name, name)
    if name == "pit_count":
        return f"{words} {value.value:.0f}"
    if name == "affected_share":
        return f"{words} {shown(value.scaled(100.0), unit).number} %"
    return f"{words} {shown(value, unit).text}"


def _shows(photo: Photo) -> str:
    station = "" if photo.station is None else f"station {photo.station}"
    member = f"member {photo.member}" if photo.member else ""
    face = f"{photo.face} face" if photo.face else ""
    zone = f"zone {photo.zone}" if photo.zone else ""
    return ", ".join(part for part in (member, face, zone, station, str(photo.view)) if part)


def _shown(photo: Photo, shot: Shot | None) -> list[Block]:
    if shot is None or not shot.overview:
        return [paragraph(shot.problem if shot else "The picture is not at hand.", "strong")]
    ids = ", ".join(mark.id for mark in photo.marks)
    scale = f"; the {photo.scale.kind} scale reference is drawn in" if photo.scale else ""
    frames = ", ".join(one.letter for one in shot.closeups)
    alt = f"Photo {photo.id}, whole: marks {ids} outlined{scale}"
    whole = figure(
        shot.overview, alt + (f"; frames {frames}." if frames else "."), "Whole photo", most_mm=OVERVIEW_MM
    )
    close = [
        figure(
            one.file,
            f"Photo {photo.id}, close-up {one.letter}: {', '.join(one.marks)} outlined, with scale bar.",
            f"{one.letter}: {', '.join(one.marks)}",
            most_mm=OVERVIEW_MM,
        )
        for one in shot.closeups
    ]
    rows = batched([whole, *close], COLUMNS)
    return [one for row in rows for one in pictures(row, COLUMNS)]


def batched(figures: Iterable[Block], size: int) -> Iterator[list[Block]]:
    """Cut into lists of at most `size`."""
    left = iter(figures)
    while row := list(islice(left, size)):
        yield row


def _plain(photo: Photo, shot: Shot) -> Block:
    if not shot.overview:
        return paragraph(f"Photo {photo.id}: {shot.problem}", "strong")
    words = f"{photo.id}: {_shows(photo)}"
    return figure(shot.overview, f"Photo {words}. Nothing is marked on it.", words, most_mm=OVERVIEW_MM)


def _mark_row(measured: MarkMeasures | None, mark: Mark, unit: LengthUnit) -> list[Cell]:
    if measured is None or measured.problem:
        why = measured.problem if measured and measured.problem else "not measured"
        return [strong(mark.id), KIND_WORDS[mark.kind], *[NOTHING] * 3, why, NOTHING, NOTHING]
    longest = measured.quantities.get("longest_calliper") or measured.quantities.get("length")
    flags = flag_words(flags_of(measured))
    return [
        strong(mark.id),
        KIND_WORDS[mark.kind],
        number(measured.quantities.get("area"), unit),
        number(longest, unit),
        number(measured.depth, unit, thickness=True) if measured.depth else "not read",
        _depths(mark, unit),
        _budgets(measured),
        flags or NOTHING,
    ]


def _depths(mark: Mark, unit: LengthUnit) -> str:
    """Write each reading as it was taken, with its own standard uncertainty."""
    listed = [
        f"{'' if r.relation == '=' else str(r.relation) + ' '}{length_text(r.value, unit)}, u "
        f"{length_text(r.u, unit)}, {_read_with(r)}{', ' + r.date if r.date else ''}"
        for r in mark.depths
    ]
    start = f" (below {mark.measured_from} surface, {mark.profile})" if mark.measured_from else ""
    return "; ".join(listed) + start if listed else NOTHING


def _budgets(measured: MarkMeasures) -> str:
    parts = [
        f"{name}: {words}"
        for name, quantity in (("Area", measured.quantities.get("area")), ("Depth", measured.depth))
        if quantity is not None and (words := budget_words(quantity))
    ]
    return ". ".join(parts) or NOTHING


def budget_words(quantity: Measured) -> str:
    """Name the largest contributions to a value's doubt, as shares of its variance."""
    if not quantity.known:
        return "no uncertainty can be given"
    budget = quantity.budget()
    whole = sum(part**2 for part in budget.values())
    if whole == 0.0:
        return ""
    shares = [(name.partition(": ")[2] or name, part**2 / whole) for name, part in budget.items()]
    told = [f"{name} {100.0 * share:.0f} %" for name, share in shares[:LARGEST_PARTS] if share >= 0.005]
    return ", ".join(told)


def scale_words(scale: Scale, unit: LengthUnit) -> str:
    """Say what the scale of a photo is, in the display unit."""
    known: Iterable[tuple[str, str]] = (
        ("length", "length"),
        ("diameter", "diameter"),
        ("tick", "tick"),
        ("side", "side"),
        ("height", "height above the surface"),
        ("u_length", "u of the length"),
        ("u_plane", "u of a point"),
    )
    parts = [
        f"{words} {float(value) / mm_per(unit):.4g} {unit}"
        for name, words in known
        if isinstance(value := getattr(scale, name, None), (int, float)) and value > 0.0
    ]
    named = [str(getattr(scale, name)) for name in ("sheet", "coin") if getattr(scale, name, None)]
    tilt = getattr(scale, "max_tilt_deg", None)
    parts += [] if tilt is None else [f"tilt at most {tilt:g}°"]
    return ", ".join([str(scale.kind), *named, *parts])
