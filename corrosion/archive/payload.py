"""What goes into the archive of a survey, and where.

Nothing here depends on the day, the machine or the installation: the same survey gives the same payload.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from corrosion.archive.consistency import FACTS, HISTORY, ORIGINAL_COLUMNS, ORIGINALS, SURVEY
from corrosion.archive.manifest import PAYLOAD
from corrosion.archive.paths import unique_names
from corrosion.archive.tables import assessment_tables, table
from corrosion.archive.write import PayloadFile, bytes_file
from corrosion.errors import ArchiveError
from corrosion.model import SurveyFile, dump_survey, survey_schema
from corrosion.record.facts import RecordFacts, facts_json
from corrosion.report import json_of
from corrosion.results import Assessment

SCHEMA: Final = "survey.schema.json"
REPORT: Final = "report.pdf"
KEPT: Final = "kept.json"
ASSESSMENT: Final = "assessment.json"
README: Final = "README.txt"
EARLIER: Final = "earlier/"
"""Folder of the files of an archive that the survey was imported from, if it was changed since."""

README_TEXT: Final = """\
The archive of one corrosion survey.

survey.json          the survey: structure, limits with their sources, photos, marks, readings, removals
survey.schema.json   what the fields of survey.json are (JSON Schema, draft 2020-12)
photos/              the photos as they came from the camera, bit for bit
originals.csv        which file is which photo of survey.json, with its SHA-256
assessment.json      what was computed from the survey: every value with its uncertainty and its budget
tables/              the same as tables (CSV, UTF-8)
report.pdf           the report for people (PDF/A), where one was made
record.json          who signed what, who sealed it, which survey it revises, where that was kept
kept.json            what results rest on beside survey.json: bench log, candidates' surveys, if kept
history.jsonl        every change with time, person, before and after, one JSON document a line, if kept
earlier/             where there is one: files of the archive this survey was imported from

The folder above is a bag (BagIt, RFC 8493): manifest-sha256.txt and manifest-sha512.txt hold a checksum
of each file here, in the form that the common checksum tools write and check.

This is a measuring aid. It informs a licensed person, who decides under approved data; it releases
nothing to service.
"""


_FIXED: Final = frozenset(
    {
        *(path.removeprefix(PAYLOAD) for path in (SURVEY, FACTS, ORIGINALS, HISTORY)),
        *(SCHEMA, REPORT, ASSESSMENT, README, KEPT, f"{EARLIER}x", "tables/x"),
    }
)
"""Names no photo may take, whether or not this archive has the file."""


@dataclass(frozen=True)
class Original:
    """A photo's file as it came.

    Attributes
    ----------
    sha256 : str
        Of its bytes.
    size : int
        Bytes.
    pieces : callable
        Yields the bytes anew at each call.
    """

    sha256: str
    size: int
    pieces: Callable[[], Iterator[bytes]]


@dataclass(frozen=True)
class SurveyRecord:
    """A survey and everything that is archived with it.

    Attributes
    ----------
    survey : SurveyFile
        In its own unit, with the hash of every photo.
    originals : mapping of photo id to Original
        Of the photos whose files are at hand.
    assessment : Assessment or None
        None where a fault in the survey stops the sums.
    facts : RecordFacts or None
    frozen : bytes or None
        The survey file as it was sealed, kept letter by letter.
    history : bytes or None
        One JSON document a line.
    report : bytes or None
        The PDF.
    kept : bytes or None
        What the service keeps beside the survey file and the results rest on, as JSON.
    earlier : sequence of PayloadFile
        Files of the archive it was imported from.
    """

    survey: SurveyFile
    originals: Mapping[str, Original]
    assessment: Assessment | None = None
    facts: RecordFacts | None = None
    frozen: bytes | None = None
    history: bytes | None = None
    report: bytes | None = None
    kept: bytes | None = None
    earlier: Sequence[PayloadFile] = field(default=())

    @property
    def missing(self) -> list[str]:
        """Ids of the photos whose files are not at hand."""
        return [photo.id for photo in self.survey.photos if photo.id not in self.originals]


def payload_of(record: SurveyRecord) -> list[PayloadFile]:
    """List the payload of a survey's archive.

    Raises
    ------
    ArchiveError
        If an original is not the picture that the survey states by its hash.
    """
    texts: dict[str, bytes] = {
        README: README_TEXT.encode(),
        _inside(SURVEY): record.frozen or dump_survey(record.survey).encode(),
        SCHEMA: _json(survey_schema()),
    }
    if record.assessment is not None:
        texts[ASSESSMENT] = _json(json_of(record.assessment, include_survey=False))
        texts |= {f"tables/{name}": data for name, data in assessment_tables(record.assessment).items()}
    if record.facts is not None:
        texts[_inside(FACTS)] = _json(facts_json(record.facts))
    others = {_inside(HISTORY): record.history, REPORT: record.report, KEPT: record.kept}
    texts |= {path: data for path, data in others.items() if data is not None}
    taken = {*texts, *_FIXED, *(file.path for file in record.earlier)}
    photos, rows = _photos(record, sorted(taken))
    texts[_inside(ORIGINALS)] = table(ORIGINAL_COLUMNS, rows)
    return [*(bytes_file(path, data) for path, data in texts.items()), *photos, *record.earlier]


def _photos(
    record: SurveyRecord, taken: Sequence[str]
) -> tuple[list[PayloadFile], list[Sequence[str | float | None]]]:
    """Give every original its place; two photos of one file share it."""
    wanted: dict[tuple[str, str], Original] = {}
    for photo in record.survey.photos:
        original = record.originals.get(photo.id)
        if original is None:
            continue
        if photo.sha256 not in {None, original.sha256}:
            raise ArchiveError(
                "this is not the picture that was marked: its SHA-256 is not the survey file's.",
                place=f"photo {photo.id!r}, {photo.file}",
                remedy="Put the original back; nothing was archived.",
            )
        wanted[photo.file, original.sha256] = original
    safe = unique_names([file for file, _ in wanted], folder="photos", taken=taken)
    names = dict(zip(wanted, safe, strict=True))
    files = [PayloadFile(names[key], one.size, one.pieces, one.sha256) for key, one in wanted.items()]
    rows: list[Sequence[str | float | None]] = []
    for photo in record.survey.photos:
        here = record.originals.get(photo.id)
        place = names[photo.file, here.sha256] if here else ""
        rows.append(
            [
                photo.id,
                photo.file,
                place,
                here.sha256 if here else photo.sha256,
                str(here.size) if here else "",
            ]
        )
    return files, rows


def _inside(path: str) -> str:
    return path.removeprefix(PAYLOAD)


def _json(document: Mapping[str, object]) -> bytes:
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode(errors="replace")


def info_of(
    record: SurveyRecord, *, day: str, identifier: str, agent: tuple[str, str]
) -> list[tuple[str, str]]:
    """Return the fields of bag-info.txt.

    Parameters
    ----------
    day : str
        When the bag is made, ISO 8601.
    identifier : str
        What its keeper calls the survey.
    agent : (label, value)
        See `software_agent`.
    """
    survey, facts = record.survey, record.facts
    state = "sealed" if facts and facts.sealed else "not sealed"
    if record.missing:
        state += f", {len(record.missing)} of {len(survey.photos)} originals not there"
    return [
        agent,
        ("Bagging-Date", day),
        ("External-Identifier", identifier),
        ("External-Description", f"Corrosion survey of {survey.structure.name}"),
        ("Survey-Name", survey.survey.name),
        ("Survey-Date", survey.survey.date or ""),
        ("Survey-Inspector", survey.survey.inspector),
        ("Structure-Name", survey.structure.name),
        ("Structure-Zone", survey.structure.zone or ""),
        ("Record-State", state),
        ("Record-Revision", str(facts.revision) if facts else ""),
    ]
