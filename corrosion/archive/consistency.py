"""Whether the files of a survey's bag agree with each other: photos, survey file, seal, history.

Checksums show that nothing changed since the bag was made. This shows that it was made of one survey: a
photo exchanged together with its lines in the manifests is found here.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Callable, Mapping
from typing import Final

from corrosion.archive.manifest import PAYLOAD
from corrosion.archive.problems import BagProblem
from corrosion.errors import CorrosionError
from corrosion.model import Photo, SurveyFile, parse_survey
from corrosion.record.facts import RecordFacts, facts_from_json

SURVEY: Final = f"{PAYLOAD}survey.json"
FACTS: Final = f"{PAYLOAD}record.json"
ORIGINALS: Final = f"{PAYLOAD}originals.csv"
HISTORY: Final = f"{PAYLOAD}history.jsonl"
ORIGINAL_COLUMNS: Final = ("photo", "file in survey", "file in bag", "sha256", "bytes")

Read = Callable[[str], bytes | None]


def record_problems(digests: Mapping[str, str], read: Read, notes: list[str]) -> list[BagProblem]:
    """Compare a bag's survey file with its photos and its seal.

    Parameters
    ----------
    digests : mapping of path to SHA-256
        Of the payload files as they are.
    read : callable
        Returns a payload file's bytes, or None.
    notes : list of str
        Takes what is worth knowing and not wrong.
    """
    source = read(SURVEY)
    if source is None:
        if SURVEY not in digests:
            notes.append("The bag holds no survey file (data/survey.json).")
        return []
    try:
        survey = parse_survey(source.decode(), place=SURVEY)
        originals = read_originals(read(ORIGINALS))
    except UnicodeDecodeError:
        return [BagProblem(SURVEY, "is not UTF-8 text", "record")]
    except CorrosionError as error:
        return [BagProblem(error.place or SURVEY, error.problem.rstrip("."), "record")]
    found = [
        problem
        for photo in survey.photos
        if (problem := _photo_problem(photo, originals, digests, notes)) is not None
    ]
    try:
        text = read(FACTS)
        facts = RecordFacts() if text is None else facts_from_json(json.loads(text))
    except (CorrosionError, ValueError, TypeError, RecursionError) as error:
        return [*found, BagProblem(FACTS, f"cannot be read ({error})".replace("\n", " "), "record")]
    sealed = _seal_problems(source, facts)
    return [*found, *_unknown_rows(survey, originals), *sealed, *_history_problems(read(HISTORY), facts)]


def read_originals(source: bytes | None) -> dict[str, str] | None:
    """Read which file of the bag each photo is: id to path, empty for one that was not there.

    Raises
    ------
    CorrosionError
        If the table cannot be read.
    """
    if source is None:
        return None
    try:
        rows = list(csv.reader(io.StringIO(source.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise CorrosionError(f"cannot be read as a table ({error})", place=ORIGINALS) from error
    if not rows or tuple(rows[0]) != ORIGINAL_COLUMNS or any(len(row) != len(rows[0]) for row in rows):
        raise CorrosionError(f"has not the columns {', '.join(ORIGINAL_COLUMNS)}", place=ORIGINALS)
    return {_plain(row[0]): _plain(row[2]) for row in rows[1:]}


def _plain(cell: str) -> str:
    return cell.removeprefix("'")


def _photo_problem(
    photo: Photo, originals: dict[str, str] | None, digests: Mapping[str, str], notes: list[str]
) -> BagProblem | None:
    """Compare one photo's original with the hash the survey file states."""
    listed = originals is not None and photo.id in originals
    path = PAYLOAD + (originals[photo.id] if originals is not None and listed else photo.file)
    if listed and path == PAYLOAD:
        notes.append(f"Photo {photo.id!r}: its original was not there when the bag was made.")
        return None
    if path not in digests:
        missing = photo.sha256 is None or photo.sha256 not in digests.values()
        words = f"is missing: the original of photo {photo.id!r}"
        return BagProblem(path, words, "record") if missing else None
    if photo.sha256 is not None and digests[path] != photo.sha256:
        words = (
            f"is not the picture that was marked: survey.json has another SHA-256 for photo {photo.id!r}"
        )
        return BagProblem(path, words, "record")
    return None


def _unknown_rows(survey: SurveyFile, originals: dict[str, str] | None) -> list[BagProblem]:
    extra = (originals or {}).keys() - {photo.id for photo in survey.photos}
    return [
        BagProblem(ORIGINALS, f"lists a photo {key!r} the survey does not have", "record") for key in extra
    ]


def _seal_problems(survey: bytes, facts: RecordFacts) -> list[BagProblem]:
    """Compare the seal's digest with the survey file."""
    if facts.seal is None or facts.seal.digest == hashlib.sha256(survey).hexdigest():
        return []
    words = "is not the survey that was sealed: the seal has another SHA-256"
    return [BagProblem(SURVEY, words, "record")]


def _history_problems(source: bytes | None, facts: RecordFacts) -> list[BagProblem]:
    """Check the history's lines: in order, each naming the one before it where that is there too.

    The SHA-256 of a line is its hash. Lines about other surveys are not in the bag, so that the chain has
    gaps; across a gap only the order can be checked here.
    """
    last, hash_, found = 0, "", []
    for number, line in enumerate((source or b"").split(b"\n")[:-1], start=1):
        try:
            entry = json.loads(line)
            seq, previous = int(entry["seq"]), str(entry["previous"])
        except (ValueError, TypeError, KeyError, RecursionError):
            return [BagProblem(HISTORY, f"line {number} is no line of a history", "record")]
        if seq <= last or (seq == last + 1 and last and previous != hash_):
            words = f"line {number} (entry {seq}) does not follow the line before it"
            found.append(BagProblem(HISTORY, words, "record"))
        last, hash_ = seq, hashlib.sha256(line).hexdigest()
    head = facts.history_head
    if head is not None and last == head.seq and hash_ != head.hash:
        found.append(
            BagProblem(HISTORY, f"entry {last} has another hash than record.json states", "record")
        )
    return found
