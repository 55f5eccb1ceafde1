"""The record of a survey that lies on disk: a survey file with its photos beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from corrosion.archive.payload import Original, SurveyRecord
from corrosion.archive.write import disk_file
from corrosion.errors import ArchiveError, CorrosionError
from corrosion.intake import photo_path, photo_sizes, with_found_references
from corrosion.model import Photo, SurveyFile, dump_survey, load_survey
from corrosion.photo import read_header, sha256_of
from corrosion.record.facts import RecordFacts
from corrosion.results import Assessment
from corrosion.survey import assess

Progress = Callable[[str, int, int], None]


def record_from_files(
    path: Path, *, paper: str = "a4", incomplete: bool = False, progress: Progress | None = None
) -> tuple[SurveyRecord, list[str]]:
    """Collect a survey file and its photos, assess it and make its report.

    Parameters
    ----------
    path : Path
        The survey file.
    paper : str
        Paper of the report; empty for no report.
    incomplete : bool
        Go on without the photos whose files are missing.
    progress : callable, optional
        Called with the step, done and total.

    Returns
    -------
    record : SurveyRecord
        Its survey states the hash and size of every photo that is there.
    problems : list of str
        What could not be used; the archive holds them too.

    Raises
    ------
    SurveyFileError
        If the survey file cannot be read.
    ArchiveError
        If a photo is missing, unless `incomplete`, or is not the picture that was marked.
    """
    report = progress or (lambda _step, _done, _total: None)
    survey = load_survey(path)
    survey, originals, missing = _originals(survey, path.parent, report)
    if missing and not incomplete:
        raise ArchiveError(
            f"{len(missing)} of {len(survey.photos)} photos are missing: {missing[0]}",
            place=str(path),
            remedy="Put them beside the survey file, or archive what there is with --incomplete.",
        )
    assessment, problems = _assessed(survey, path, report)
    record = SurveyRecord(survey, originals, assessment)
    if assessment is not None and paper:
        record = replace(record, report=report_of(record, assessment, paper, report))
    return record, [*missing, *problems]


def report_of(
    record: SurveyRecord,
    assessment: Assessment,
    paper: str,
    progress: Progress,
    candidates: Mapping[str, Assessment] | None = None,
) -> bytes:
    """Make the PDF report of a record; `candidates` are the surveys of second-hand parts, if at hand."""
    # The typesetter takes long to load, and an archive may be wanted without a report.
    from corrosion.record.pdf import report_pdf  # noqa: PLC0415
    from corrosion.record.subject import subject_of  # noqa: PLC0415

    def read(photo: str) -> bytes | None:
        original = record.originals.get(photo)
        return None if original is None else b"".join(original.pieces())

    text = record.frozen or dump_survey(record.survey).encode()
    subject = subject_of(assessment, text, read=read, candidates=candidates)
    return report_pdf(subject, paper, record.facts or RecordFacts(), progress)


def _originals(
    survey: SurveyFile, folder: Path, progress: Progress
) -> tuple[SurveyFile, dict[str, Original], list[str]]:
    """Find the photos' files; fill in hash and size where the survey file does not state them."""
    originals: dict[str, Original] = {}
    photos: list[Photo] = []
    missing = []
    for number, photo in enumerate(survey.photos):
        progress("originals", number, len(survey.photos))
        try:
            file = photo_path(photo, folder)
        except CorrosionError as error:
            missing.append(str(error))
            photos.append(photo)
            continue
        source = disk_file(photo.file, file)
        originals[photo.id] = Original(sha256_of(file), source.size, source.pieces)
        known = {"sha256": photo.sha256 or originals[photo.id].sha256, "size": photo.size or _size(file)}
        photos.append(photo.model_copy(update=known))
    progress("originals", len(survey.photos), len(survey.photos))
    return survey.model_copy(update={"photos": photos}), originals, missing


def _size(file: Path) -> tuple[int, int] | None:
    """Read a picture's upright size; None if its header is refused, which the assessment then says."""
    try:
        return read_header(file).size_px
    except CorrosionError:
        return None


def _assessed(survey: SurveyFile, path: Path, progress: Progress) -> tuple[Assessment | None, list[str]]:
    """Assess the survey; a fault that stops the sums is a problem, and the rest is archived."""
    found = with_found_references(survey, path.parent, progress=progress)
    sizes, problems = photo_sizes(found.survey, path.parent, progress=progress)
    try:
        assessment = assess(found.survey, sizes=sizes, progress=progress)
    except CorrosionError as error:
        return None, [*problems, *found.missed, f"The survey could not be assessed: {error}"]
    problems = [*problems, *found.missed, *assessment.problems]
    return replace(assessment, problems=problems), problems
