"""Reading a survey's bag that was found sound: survey, photos and the rest of the record."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from corrosion.archive.consistency import FACTS, ORIGINALS, SURVEY, read_originals
from corrosion.archive.manifest import PAYLOAD, manifest_name, read_manifest
from corrosion.archive.problems import BagReport
from corrosion.archive.source import DEFAULT_LIMITS, BagLimits, BagSource, open_source
from corrosion.archive.verify import Progress, verify_source
from corrosion.errors import ArchiveError
from corrosion.model import SurveyFile, parse_survey
from corrosion.model.files import MAX_FILE_BYTES
from corrosion.record.facts import RecordFacts, facts_from_json

SHOWN = 5


class UnsoundBagError(ArchiveError):
    """A bag that something is wrong with; `report` says everything.

    Parameters
    ----------
    report : BagReport
    """

    def __init__(self, report: BagReport) -> None:
        shown = [str(problem) for problem in report.problems[:SHOWN]]
        more = len(report.problems) - len(shown)
        words = "; ".join([*shown, *([f"and {more} more"] if more else [])])
        super().__init__(
            f"the bag is not sound: {words}.",
            place=report.path.name,
            remedy="Fetch it again from its sender; 'corrosion verify' lists everything that is wrong.",
        )
        self.report = report


@dataclass(frozen=True)
class SurveyBag:
    """A verified bag of a survey, open.

    Attributes
    ----------
    report : BagReport
        Without problems.
    survey : SurveyFile
    survey_text : bytes
        The survey file as it stands in the bag.
    facts : RecordFacts or None
    facts_text : bytes or None
    photos : dict of photo id to path
        Of the originals in the bag; paths begin with ``data/``.
    files : dict of path to size
        Every payload file.
    """

    report: BagReport
    survey: SurveyFile
    survey_text: bytes
    facts: RecordFacts | None
    facts_text: bytes | None
    photos: dict[str, str]
    files: dict[str, int]
    _source: BagSource

    def pieces(self, path: str) -> Iterator[bytes]:
        """Yield a payload file's bytes."""
        return self._source.pieces(path)


@contextmanager
def read_bag(
    path: Path,
    *,
    trusted: Iterable[bytes] = (),
    limits: BagLimits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> Iterator[SurveyBag]:
    """Verify a bag and open it.

    Parameters
    ----------
    trusted, limits, progress
        See `corrosion.archive.verify_bag`.

    Raises
    ------
    UnsoundBagError
        If anything at all is wrong with it.
    ArchiveError
        If it is no bag, or holds no survey file.
    """
    with open_source(path, limits) as source:
        report = verify_source(path, source, trusted=trusted, limits=limits, progress=progress)
        if not report.sound:
            raise UnsoundBagError(report)
        if SURVEY not in source.sizes:
            raise ArchiveError(
                "the bag holds no survey file (data/survey.json).",
                place=path.name,
                remedy="Only bags of a survey can be imported; 'corrosion archive' makes them.",
            )
        yield _opened(report, source)


def listed_digest(path: Path, name: str) -> str | None:
    """Return the SHA-256 that a bag's manifest lists for a payload file; None if it lists none.

    Nothing is verified: it tells two archives apart, not a sound one from a damaged one.

    Raises
    ------
    ArchiveError
        If `path` is neither a folder nor a zip.
    """
    manifest = manifest_name("sha256")
    with open_source(path) as source:
        if manifest not in source.sizes:
            return None
        text = b"".join(source.pieces(manifest)).decode(errors="replace")
    return read_manifest(manifest, text).digests.get(PAYLOAD + name)


def _opened(report: BagReport, source: BagSource) -> SurveyBag:
    def small(path: str) -> bytes | None:
        if path not in source.sizes:
            return None
        if source.sizes[path] > MAX_FILE_BYTES:
            raise ArchiveError(f"has {source.sizes[path]} bytes, more than {MAX_FILE_BYTES}.", place=path)
        return b"".join(source.pieces(path))

    text, facts = small(SURVEY) or b"", small(FACTS)
    survey = parse_survey(text, place=SURVEY)
    files = {path: size for path, size in source.sizes.items() if path.startswith(PAYLOAD)}
    listed = read_originals(small(ORIGINALS)) or {photo.id: photo.file for photo in survey.photos}
    photos = {key: PAYLOAD + name for key, name in listed.items() if PAYLOAD + name in files}
    known = facts_from_json(json.loads(facts)) if facts is not None else None
    return SurveyBag(report, survey, text, known, facts, photos, files, source)
