"""The maps of a report: one page for the sum of both faces of a member, one for each face."""

from __future__ import annotations

import io
import warnings
from dataclasses import replace
from pathlib import Path

from corrosion.record.blocks import Block, figure, heading
from corrosion.record.front import seen_words
from corrosion.record.subject import Subject
from corrosion.record.texts import shortened, spelled, visible
from corrosion.removal import MemberRemoval
from corrosion.report.map import draw_map
from corrosion.report.map_style import MapStyle
from corrosion.report.map_subject import removal_of
from corrosion.report.numbers import place_text, shown
from corrosion.report.words import verdict_words
from corrosion.results import Assessment, MemberAssessment
from corrosion.terms import Face

MAP_WIDTH_IN = 7.0
MAP_TEXT_PT = 8.5
MAP_NAME_LENGTH = 30
MAP_DETAILS = (4, 2, 0)
"""How many close-ups a map page may have; the most that still fits the paper."""
LEAST_SCALE = 0.85
"""A map may be shrunk this far to fit a page: its 8.5 pt letters stay above 7 pt."""
MM_PER_PT = 25.4 / 72.0


def map_pages(
    subject: Subject, one: MemberAssessment, folder: Path, number: int, room_mm: float
) -> list[Block]:
    """Draw the sum of both faces, and each face on which there is anything to see."""
    name = one.member.id
    faces: list[Face | None] = [None, *(face for face in Face if _on_face(subject, one, face))]
    blocks: list[Block] = []
    removal = removal_of(subject.assessment, name)
    for face in faces:
        title = "both faces added up" if face is None else f"{face} face"
        file = f"map-{number:04}-{face or 'both'}.svg"
        (folder / file).write_bytes(member_map(subject, name, face, room_mm, removal))
        blocks.append(heading(3, f"Map of {name}, {title}", new_page=True))
        blocks.append(figure(file, map_alt(subject, one, title), fill=True))
    return blocks


def member_map(
    subject: Subject,
    name: str,
    face: Face | None,
    room_mm: float,
    removal: MemberRemoval,
    *,
    text_pt: float = MAP_TEXT_PT,
    most: tuple[int, ...] = MAP_DETAILS,
) -> bytes:
    """Draw a map with as many close-ups, of the numbers in `most`, as leave its letters large enough."""
    drawn, named = b"", _short_names(subject.assessment)
    for details in most:
        target = io.BytesIO()
        style = MapStyle(width_in=MAP_WIDTH_IN, text_pt=text_pt, details=details)
        with warnings.catch_warnings():
            # What the drawing's font lacks is spelled out below; it need not be told on the terminal.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            draw_map(named, name, face, target, "svg", style=style, removal=removal)
        drawn = target.getvalue()
        if _height_mm(drawn) * LEAST_SCALE <= room_mm:
            break
    return spelled(drawn)


def _short_names(whole: Assessment) -> Assessment:
    """Cut names and materials that would run out of a map's title; the tables have all of them."""
    members = []
    for one in whole.members:
        short = {
            "name": shortened(visible(one.member.name), MAP_NAME_LENGTH),
            "material": shortened(visible(one.member.material), MAP_NAME_LENGTH),
        }
        members.append(replace(one, member=one.member.model_copy(update=short)))
    return replace(whole, members=members)


def _on_face(subject: Subject, one: MemberAssessment, face: Face) -> bool:
    whole = subject.assessment
    placed = any(p.member_id == one.member.id and p.face is face for p in whole.placed)
    taken = any(r.member == one.member.id and r.face is face for r in whole.survey.removals)
    return placed or taken


def _height_mm(svg: bytes) -> float:
    head = svg[:2000].partition(b"<svg ")[2].partition(b">")[0]
    points = head.partition(b'height="')[2].partition(b"pt")[0]
    return float(points) * MM_PER_PT


def map_alt(subject: Subject, one: MemberAssessment, title: str) -> str:
    """Tell in words what a map shows."""
    unit = subject.unit
    spot = one.deepest
    deepest = "no removal was measured or recorded"
    if spot is not None and spot.removed.value > 0.0:
        deepest = (
            f"the deepest sum is {shown(spot.removed, unit, thickness=True).text} at station "
            f"{place_text(spot.at[0], unit)}, offset {place_text(spot.at[1], unit)} {unit}"
        )
    found = sum(f.member_id == one.member.id for f in subject.assessment.findings)
    return (
        f"Removal map of member {one.member.id}, {title}: {verdict_words(one.verdict)[2:]}; {deepest}; "
        f"{found} findings; seen outer and inner {seen_words(one)}. The tables before it give the figures."
    )
