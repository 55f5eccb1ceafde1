"""Whether the files of a survey's bag agree with each other: photos, survey file, seal.

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
from corrosion.record.facts import facts_from_json

SURVEY: Final = f"{PAYLOAD}survey.json"
FACTS: Final = f"{PAYLOAD}record.json"
ORIGINALS: Final = f"{PAYLOAD}originals.csv"
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
        survey = parse_survey(source, place=SURVEY)
        originals = read_originals(read(ORIGINALS))
    except CorrosionError as error:
        return [BagProblem(error.place or SURVEY, error.problem.rstrip("."), "record")]
    found = [
        problem
        for photo in survey.photos
        if (problem := _photo_problem(photo, originals, digests, notes)) is not None
    ]
    return [*found, *_unknown_rows(survey, originals), *_seal_problems(source, read(FACTS))]


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


def _seal_problems(survey: bytes, facts: bytes | None) -> list[BagProblem]:
    """Compare the seal's digest with the survey file."""
    if facts is None:
        return []
    try:
        seal = facts_from_json(json.loads(facts)).seal
    except (CorrosionError, ValueError, TypeError, RecursionError) as error:
        return [BagProblem(FACTS, f"cannot be read ({error})".replace("\n", " "), "record")]
    if seal is None or seal.digest == hashlib.sha256(survey).hexdigest():
        return []
    return [BagProblem(SURVEY, "is not the survey that was sealed: the seal has another SHA-256", "record")]
