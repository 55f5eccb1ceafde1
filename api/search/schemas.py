"""What the search sends over the wire, and its CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import datetime
from urllib.parse import quote

from pydantic import BaseModel

from api.pages.exports import safe_text
from api.search.build import What
from api.search.find import Hit
from api.search.params import SearchParams
from api.search.retention import MarkView, RetentionLabel
from api.search.saved import params_of
from api.search.tables import (
    NO_DEPTH,
    NO_STATION,
    RetentionLabelRow,
    SavedSearchRow,
    SearchEntryRow,
)
from corrosion.units import LengthUnit, mm_per


class HitRecord(BaseModel):
    """One thing found. `address` is its page; lengths are in the unit asked for."""

    what: What
    id: str
    title: str
    detail: str
    structure_id: str
    structure: str
    survey_id: str | None
    survey: str
    zone: str | None
    member: str | None
    face: str | None
    kind: str | None
    verdict: str | None
    station: float | None
    station_text: str
    depth: float | None
    depth_bound: str
    date: str | None
    withdrawn: bool
    address: str


class UnfinishedRecord(BaseModel):
    """A survey that is indexed without its findings, because its assessment fails."""

    survey_id: str
    survey: str
    problem: str


class SearchPage(BaseModel):
    """A page of a result.

    `total` is exact, or at least so many if not `total_is_exact`. `indexing` surveys have changed and
    were not indexed by the time of the answer: what is new in them may be missing.
    """

    items: list[HitRecord]
    total: int
    total_is_exact: bool
    next: str
    units: LengthUnit
    indexing: int


class IndexState(BaseModel):
    """How far the index is."""

    indexing: int
    unfinished: list[UnfinishedRecord]


class SavedSearchRecord(BaseModel):
    """A saved search; `address` shows its result."""

    id: str
    version: int
    created: datetime
    name: str
    shared: bool
    owner: str
    search: SearchParams
    address: str


class LabelRecord(BaseModel):
    """A retention label as stored. `version` is the ETag without its quotes."""

    id: str
    version: int
    created: datetime
    label: RetentionLabel


class MarkRecord(BaseModel):
    """A label on a survey. `due` is the day of review, null where a rule in words decides."""

    id: str
    version: int
    created: datetime
    survey_id: str
    survey: str
    structure: str
    label_id: str
    label: RetentionLabel
    starts: str | None
    due: str | None
    note: str
    set_by: str
    lifted_at: datetime | None
    lifted_reason: str


class DueList(BaseModel):
    """What is due for review on a day, and what is not yet. Nothing is deleted by being due."""

    on: str
    due: list[MarkRecord]
    later: list[MarkRecord]


def address_of(entry: SearchEntryRow) -> str:
    """Return the page that shows what was found."""
    if entry.what == What.STRUCTURE:
        return f"/structures/{entry.structure_id}"
    survey = f"/surveys/{entry.survey_id}"
    if entry.what == What.FINDING:
        return f"{survey}/findings?text={quote(entry.ref, safe='')}"
    if entry.what == What.PHOTO:
        return f"{survey}/photos" if entry.withdrawn else f"/photos/{entry.ref}"
    return f"{survey}/rework" if entry.what == What.REWORK else survey


def map_of(entry: SearchEntryRow) -> str:
    """Return the map's page with a finding shown; empty for what is not on a map."""
    if entry.what != What.FINDING or not entry.member or station_mm_of(entry) is None:
        return ""
    member, finding = quote(entry.member, safe=""), quote(entry.ref, safe="")
    return f"/surveys/{entry.survey_id}/map?member={member}&finding={finding}"


def station_mm_of(entry: SearchEntryRow) -> float | None:
    """Station on the layout, mm; None where it has none."""
    return entry.station_key if entry.station_key < NO_STATION else None


def depth_mm_of(entry: SearchEntryRow) -> float | None:
    """Depth as stated, mm; None where it has none."""
    return entry.depth_key if entry.depth_key != NO_DEPTH else None


def hit_record(hit: Hit, unit: LengthUnit) -> HitRecord:
    """Wire form of one thing found."""
    entry, per = hit.entry, mm_per(unit)
    station, depth = station_mm_of(entry), depth_mm_of(entry)
    return HitRecord(
        what=What(entry.what),
        id=entry.ref,
        title=entry.title,
        detail=entry.detail,
        structure_id=entry.structure_id,
        structure=hit.structure,
        survey_id=entry.survey_id,
        survey=hit.survey,
        zone=entry.zone,
        member=entry.member,
        face=entry.face,
        kind=entry.kind,
        verdict=entry.verdict,
        station=None if station is None else station / per,
        station_text=entry.station_text,
        depth=None if depth is None else depth / per,
        depth_bound=entry.depth_text,
        date=entry.date_key or None,
        withdrawn=entry.withdrawn,
        address=address_of(entry),
    )


def saved_record(row: SavedSearchRow, address: str) -> SavedSearchRecord:
    """Wire form of a saved search."""
    return SavedSearchRecord(
        id=row.id,
        version=row.version,
        created=row.created,
        name=row.name,
        shared=row.shared,
        owner=row.owner_name,
        search=params_of(row),
        address=address,
    )


def label_record(row: RetentionLabelRow) -> LabelRecord:
    """Wire form of a retention label."""
    label = RetentionLabel.model_validate(row.document)
    return LabelRecord(id=row.id, version=row.version, created=row.created, label=label)


def mark_record(view: MarkView) -> MarkRecord:
    """Wire form of a label on a survey."""
    row = view.row
    return MarkRecord(
        id=row.id,
        version=row.version,
        created=row.created,
        survey_id=row.survey_id,
        survey=view.survey,
        structure=view.structure,
        label_id=row.label_id,
        label=view.label,
        starts=row.starts,
        due=row.due,
        note=str(row.document.get("note", "")),
        set_by=row.set_by,
        lifted_at=row.lifted_at,
        lifted_reason=row.lifted_reason or "",
    )


def csv_head(unit: LengthUnit) -> list[str]:
    """Names of the CSV's columns."""
    return [
        "What", "Name", "Structure", "Survey", "Zone", "Member", "Face", "Kind", "Verdict",
        "Station as written", f"Station on layout, {unit}", "Depth is", f"Depth, {unit}", "Date",
        "Withdrawn", "Notes", "Page",
    ]  # fmt: skip


def _csv_row(hit: Hit, unit: LengthUnit) -> list[str]:
    one = hit_record(hit, unit)
    bound = {"≥": "at least", "≤": "at most"}.get(one.depth_bound, "" if one.depth is None else "measured")
    cells: list[str | float | None] = [
        one.what, one.title, one.structure, one.survey, one.zone, one.member, one.face, one.kind,
        one.verdict, one.station_text, one.station, bound, one.depth, one.date,
        "yes" if one.withdrawn else "no", one.detail, one.address,
    ]  # fmt: skip
    return [f"{cell:.9g}" if isinstance(cell, float) else safe_text(cell or "") for cell in cells]


def csv_lines(hits: Iterable[Hit], unit: LengthUnit, *, at_once: int = 200) -> Iterator[bytes]:
    """Write a result as CSV (RFC 4180) in pieces; UTF-8 with a byte-order mark, as the findings' export."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(csv_head(unit))
    yield b"\xef\xbb\xbf"
    for number, hit in enumerate(hits, start=1):
        writer.writerow(_csv_row(hit, unit))
        if number % at_once == 0:
            yield _taken(stream)
    yield _taken(stream)


def _taken(stream: io.StringIO) -> bytes:
    written = stream.getvalue().encode()
    stream.seek(0)
    stream.truncate()
    return written
