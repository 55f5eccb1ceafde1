"""From a survey (or structure) to what can be found of it. Nothing is stored here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from hashlib import blake2b
from typing import TYPE_CHECKING, Any

from api.search.tables import NO_DATE, NO_DEPTH, NO_STATION
from api.search.words import LONGEST_WORD, WITHDRAWN, fact, fold, index_words, joined
from api.tables import Document
from corrosion.errors import UnitsError
from corrosion.layout import station_mm
from corrosion.model import Mark, Photo, Removal, Structure, SurveyFile, ThicknessReading
from corrosion.report.numbers import bound_of
from corrosion.report.words import KIND_WORDS
from corrosion.terms import Verdict

if TYPE_CHECKING:
    from api.pages.rows import Row

FORM = 1
"""Raise it when entries are built in another way: then every scope is indexed again."""


class What(StrEnum):
    """What an entry is."""

    STRUCTURE = "structure"
    SURVEY = "survey"
    FINDING = "finding"
    PHOTO = "photo"
    REWORK = "rework"
    PERSON = "person"


LETTERS = {
    "what": "a", "zone": "z", "member": "m", "face": "f", "kind": "k", "verdict": "v", "serial": "s",
    "person": "i", "tag": "t", "structure": "x", "survey": "y",
}  # fmt: skip
"""The letter behind the mark of each fact's word."""

NOT_JUDGED = "not judged"
SEVERITY: dict[str, float] = {
    Verdict.OVER: 4.0,
    Verdict.TOO_CLOSE: 3.0,
    Verdict.NOT_DETERMINED: 2.0,
    Verdict.WITHIN: 1.0,
}
"""Order of "worst first". The share of the limit, below ten, orders those of one verdict."""

MOST_DETAIL = 2000
_DATE = re.compile(r"\d{4}[-:]\d{2}[-:]\d{2}")


@dataclass(frozen=True)
class Entry:
    """One thing that can be found, and what it is found by.

    `texts` are found by any word; `facts` only by their filter. Lengths in mm.
    """

    what: What
    ref: str
    title: str
    detail: str = ""
    texts: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()
    zone: str | None = None
    member: str | None = None
    face: str | None = None
    kind: str | None = None
    verdict: str | None = None
    station: float | None = None
    station_text: str = ""
    depth: float | None = None
    depth_text: str = ""
    date: str = NO_DATE
    share: float | None = None
    withdrawn: bool = False


@dataclass(frozen=True)
class Scope:
    """What all entries of one survey or structure share."""

    id: str
    structure_id: str
    survey_id: str | None
    texts: tuple[str, ...] = ()
    facts: tuple[str, ...] = field(default=())


def structure_entries(scope: Scope, structure: Structure) -> Iterator[Entry]:
    """Give the entry of a structure, found by its members too."""
    members = [f"{m.id} {m.name} {m.kind} {m.material}" for m in structure.members]
    detail = "; ".join(part for part in (structure.aircraft, _serial(structure), structure.note) if part)
    zones = dict.fromkeys([structure.zone, *(member.zone for member in structure.members)])
    facts = [fact(LETTERS["zone"], zone) for zone in zones if zone]
    facts += [fact(LETTERS["member"], member.id) for member in structure.members]
    yield Entry(
        What.STRUCTURE,
        scope.structure_id,
        structure.name,
        detail,
        texts=(structure.zone or "", *members),
        facts=tuple(facts),
        zone=structure.zone,
    )


def scope_of_structure(identifier: str, structure: Structure) -> Scope:
    """Return what a structure's entries share."""
    return Scope(identifier, identifier, None, facts=_shared_facts(identifier, structure))


def scope_of_survey(identifier: str, structure_id: str, file: SurveyFile) -> Scope:
    """Return what a survey's entries share: they are found by the structure's and survey's names too."""
    structure, info = file.structure, file.survey
    facts = [
        *_shared_facts(structure_id, structure),
        fact(LETTERS["survey"], identifier),
        *(fact(LETTERS["person"], word) for word in fold(info.inspector).split()),
    ]
    texts = (structure.name, structure.aircraft, structure.serial, info.name, info.inspector)
    return Scope(identifier, structure_id, identifier, texts, tuple(facts))


def _shared_facts(structure_id: str, structure: Structure) -> tuple[str, ...]:
    serial = (fact(LETTERS["serial"], structure.serial),) if joined(structure.serial) else ()
    return (fact(LETTERS["structure"], structure_id), *serial)


def _serial(structure: Structure) -> str:
    return f"serial {structure.serial}" if structure.serial else ""


def survey_entries(file: SurveyFile, survey_id: str) -> Iterator[Entry]:
    """Give the entries of a survey's head: the survey and who inspected."""
    info = file.survey
    date = info.date or NO_DATE
    detail = "; ".join(
        part
        for part in (
            info.note,
            info.light_standard and f"light: {info.light_standard}",
            *(f"{one.id} {one.kind} {one.note}".strip() for one in file.instruments),
        )
        if part
    )
    yield Entry(
        What.SURVEY, survey_id, info.name or "Survey without a name", detail, date=date,
        zone=file.structure.zone, facts=_zone(file.structure.zone),
    )  # fmt: skip
    if info.inspector.strip():
        yield Entry(What.PERSON, survey_id, info.inspector, "inspector", date=date)


def person_entry(ref: str, name: str, did: str, date: str) -> Entry:
    """Give the entry of a person who did something with a survey: signed or sealed it."""
    facts = tuple(fact(LETTERS["person"], word) for word in fold(name).split())
    return Entry(What.PERSON, ref, name, did, facts=facts, date=date)


def finding_entries(rows: Iterable[Row], file: SurveyFile) -> Iterator[Entry]:
    """Give the entries of a survey's findings, judged as the findings page judges them.

    Parameters
    ----------
    rows : iterable of Row
        Of the assessment of `file`.
    file : SurveyFile
        In any unit: only texts and dates are read from it.
    """
    marks = {(photo.id, mark.id): (photo, mark) for photo in file.photos for mark in photo.marks}
    for row in rows:
        seen = [marks[source] for source in row.finding.sources if source in marks]
        yield _finding(row, seen, file.survey.date or NO_DATE)


def _finding(row: Row, seen: list[tuple[Photo, Mark]], survey_date: str) -> Entry:
    one = row.finding
    notes = dict.fromkeys(text for photo, mark in seen for text in (mark.note, photo.note) if text)
    words = [one.grade or "", row.standing]
    verdict = str(row.verdict) if row.verdict else NOT_JUDGED
    features = [mark.feature or "" for _, mark in seen]
    files = [f"{photo.id} {photo.file}" for photo, _ in seen]
    return Entry(
        What.FINDING,
        one.id,
        one.id,
        "; ".join(part for part in (*words, *notes) if part),
        texts=(
            KIND_WORDS[one.kind],
            one.member_id or "",
            one.zone or "",
            one.station_text,
            *features,
            *files,
        ),
        facts=(
            *_zone(one.zone),
            *_facts("member", one.member_id),
            *_facts("face", one.face),
            *_facts("kind", one.kind),
            *_facts("verdict", verdict),
        ),
        zone=one.zone,
        member=one.member_id,
        face=str(one.face) if one.face else None,
        kind=str(one.kind),
        verdict=verdict,
        station=one.position[0] if one.position else None,
        station_text=one.station_text,
        depth=one.depth.value if one.depth else None,
        depth_text=bound_of(one.depth.flags) if one.depth else "",
        date=max((mark.date for _, mark in seen if mark.date), default=survey_date),
        share=row.share,
    )


def photo_entry(document: Document, upload_name: str, row_id: str, place: PhotoPlace) -> Entry:
    """Give the entry of a photo as stored, standing or withdrawn."""
    photo = Photo.model_validate(document)
    taken = _DATE.search(photo.taken)
    tags = [str(photo.view), *([str(photo.face)] if photo.face else []), *place.lacks]
    zone = photo.zone or place.zones.get(photo.member or "")
    station = "" if photo.station is None else str(photo.station)
    return Entry(
        What.PHOTO,
        row_id,
        upload_name or photo.id,
        "; ".join(part for part in (photo.note, ", ".join(tags), place.withdrawn) if part),
        texts=(photo.id, photo.file, photo.member or "", zone or "", station, photo.device),
        facts=(
            *_zone(zone),
            *_facts("member", photo.member),
            *_facts("face", photo.face),
            *(fact(LETTERS["tag"], tag) for tag in tags),
        ),
        zone=zone,
        member=photo.member,
        face=str(photo.face) if photo.face else None,
        station=_station(photo.station, place),
        station_text=station,
        date=taken.group().replace(":", "-") if taken else place.date,
        withdrawn=bool(place.withdrawn),
    )


@dataclass(frozen=True)
class PhotoPlace:
    """What a part's entry takes from its survey.

    `structure` is in mm, `per` the millimetres of the survey's unit; `lacks` what a photo still lacks;
    `withdrawn` says that it was taken back and why, empty if it stands.
    """

    structure: Structure
    per: float
    zones: dict[str, str]
    date: str
    lacks: tuple[str, ...] = ()
    withdrawn: str = ""


def rework_entry(part: Removal | ThicknessReading, row_id: str, place: PhotoPlace) -> Entry:
    """Give the entry of a removal entry or of a thickness reading."""
    what = f"removal, {part.origin}" if isinstance(part, Removal) else "thickness reading"
    face = str(part.face) if isinstance(part, Removal) else None
    zone = place.zones.get(part.member)
    return Entry(
        What.REWORK,
        row_id,
        part.id,
        "; ".join(text for text in (what, part.note, place.withdrawn) if text),
        texts=(part.member, zone or ""),
        facts=(*_zone(zone), *_facts("member", part.member), *_facts("face", face)),
        zone=zone,
        member=part.member,
        face=face,
        station=None if isinstance(part, Removal) else part.at[0] * place.per,
        depth=part.depth.value * place.per if isinstance(part, Removal) else None,
        date=part.date or place.date,
        withdrawn=bool(place.withdrawn),
    )


def _station(station: float | str | None, place: PhotoPlace) -> float | None:
    if station is None:
        return None
    try:
        return station_mm(station, place.structure, place.per)[0]
    except UnitsError:
        return None


def _zone(zone: str | None) -> tuple[str, ...]:
    return _facts("zone", zone)


def _facts(name: str, value: str | None) -> tuple[str, ...]:
    return (fact(LETTERS[name], value),) if value else ()


def columns(entry: Entry, scope: Scope) -> dict[str, Any]:
    """Turn an entry into its row."""
    facts = [fact(LETTERS["what"], entry.what), *entry.facts, *scope.facts]
    facts += [WITHDRAWN] * entry.withdrawn
    own = (entry.title, entry.detail[:MOST_DETAIL], *entry.texts)
    title = _storable(entry.title)[:400]
    severity = SEVERITY.get(entry.verdict or "", 0.0)
    return {
        "tie": _tie(scope.id, entry),
        "scope_id": scope.id,
        "structure_id": scope.structure_id,
        "survey_id": scope.survey_id,
        "what": str(entry.what),
        "ref": _storable(entry.ref)[:400],
        "title": title,
        "detail": _storable(entry.detail)[:MOST_DETAIL],
        "words": index_words([*own, *scope.texts], facts),
        "zone": entry.zone,
        "member": entry.member,
        "face": entry.face,
        "kind": entry.kind,
        "verdict": entry.verdict,
        "station_text": _storable(entry.station_text)[:80],
        "depth_text": entry.depth_text,
        "withdrawn": entry.withdrawn,
        "date_key": entry.date,
        "depth_key": NO_DEPTH if entry.depth is None else entry.depth,
        "worst_key": severity + min(entry.share or 0.0, 9.99) / 10.0,
        "station_key": NO_STATION if entry.station is None else entry.station,
        "title_key": " ".join(fold(title).split())[:LONGEST_WORD],
    }


def _storable(text: str) -> str:
    # PostgreSQL's text has no NUL.
    return text.replace("\x00", "")


def _tie(scope_id: str, entry: Entry) -> int:
    seed = f"{scope_id}\n{entry.what}\n{entry.ref}".encode()
    return int.from_bytes(blake2b(seed, digest_size=8).digest(), "big") >> 1
