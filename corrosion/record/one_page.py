"""The summary on one page, whatever the survey; `summary.typ` cuts what is too long for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from corrosion.record.blocks import Cell, verdict_cell
from corrosion.record.facts import RecordFacts, Signature
from corrosion.record.front import DEFER, identity, verdict_table
from corrosion.record.maps import map_alt, member_map
from corrosion.record.subject import Subject
from corrosion.record.texts import shortened, visible
from corrosion.report.decision import decision_lines
from corrosion.report.map_subject import removal_of
from corrosion.report.numbers import place_text, shown
from corrosion.report.words import CAUTION
from corrosion.results import Finding, MemberAssessment
from corrosion.terms import VERDICT_ORDER, MarkKind

Json = dict[str, Any]
MAP_FILE = "map.svg"
MAP_ROOM_MM = 110.0
MAP_TEXT_PT = 10.0
CELL_LENGTH = 40
MOST_SIGNATURES = 4
MOST_PITS = 3
MOST_ROWS = 60
"""More rows than fit on any paper are not even tried."""


def one_page(subject: Subject, record: RecordFacts, folder: Path) -> Json:
    """Give the page's data; members come worst first, so that the last may be left out.

    Parameters
    ----------
    folder : Path
        Where the map of the worst member is written, if anything was found.
    """
    members = sorted(
        subject.assessment.members, key=lambda m: (-VERDICT_ORDER.index(m.verdict), m.member.id)
    )
    blocks = verdict_table(subject, members[:MOST_ROWS])
    rows = blocks[0]["rows"] if members else []
    return {
        "identity": identity(subject, record)["pairs"],
        "verdict": verdict_cell(subject.assessment.verdict),
        "table": blocks[0] | {"rows": [[_cut(cell) for cell in row] for row in rows]} if members else None,
        "members": len(members),
        "lines": _lines(subject),
        "signed": _signed(record.signatures),
        "caution": f"{CAUTION} {DEFER}",
        "map": _map(subject, members, folder),
    }


def _cut(cell: Cell) -> Cell:
    if isinstance(cell, str):
        return shortened(visible(cell), CELL_LENGTH)
    return cell | {"text": shortened(visible(cell["text"]), CELL_LENGTH)}


def _lines(subject: Subject) -> list[str]:
    found = subject.assessment.findings
    pits = [f for f in found if f.kind is MarkKind.PIT]
    blends = sum(f.kind is MarkKind.BLEND_OUT for f in found)
    photos = len(subject.assessment.survey.photos)
    lines = [f"{len(found)} findings, of them {len(pits)} pits and {blends} blend-outs; {photos} photos."]
    deep = sorted((p for p in pits if p.depth), key=lambda p: -p.depth.value if p.depth else 0.0)
    if deep:
        named = "; ".join(_pit_words(subject, pit) for pit in deep[:MOST_PITS])
        lines.append(f"Deepest pits: {named}.")
    if subject.problems:
        lines.append(f"{len(subject.problems)} things could not be used; the full report names each.")
    if subject.decision is None:
        lines.append("Repair or replacement: the survey states nothing to decide.")
    else:
        told = [line for line in decision_lines(subject.decision) if line.startswith("Repair is cheaper")]
        lines += told[:2]
    return lines


def _pit_words(subject: Subject, pit: Finding) -> str:
    depth = shown(pit.depth, subject.unit, thickness=True).text if pit.depth else ""
    if pit.position is None:
        return f"{pit.id} {depth}"
    return f"{pit.id} {depth} at station {place_text(pit.position[0], subject.unit)}"


def _signed(signatures: tuple[Signature, ...]) -> list[str]:
    if not signatures:
        return ["Not signed."]
    lines = []
    for one in signatures[:MOST_SIGNATURES]:
        parts = (one.name, f"{one.certificate_kind} {one.certificate_number}".strip(), one.place, one.date)
        words = ", ".join(part for part in parts if part)
        lines.append(f"Signed as {one.role}: {words}")
    left = len(signatures) - MOST_SIGNATURES
    return [*lines, f"{left} more signatures are in the full report."] if left > 0 else lines


def _map(subject: Subject, members: list[MemberAssessment], folder: Path) -> Json | None:
    worst = next((one for one in members if subject.has_something(one)), None)
    if worst is None:
        return None
    name = worst.member.id
    removal = removal_of(subject.assessment, name)
    (folder / MAP_FILE).write_bytes(
        member_map(subject, name, None, MAP_ROOM_MM, removal, text_pt=MAP_TEXT_PT, most=(0,))
    )
    return {"file": MAP_FILE, "alt": map_alt(subject, worst, "both faces added up")}
