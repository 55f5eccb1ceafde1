"""The report as PDF/A-2a: tagged, every picture with its alternative text, the same input the same bytes.

The typesetter itself refuses to write a file that it finds to break PDF/A-2a (ISO 19005-2); no other
checker is asked.
"""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from importlib import resources
from pathlib import Path
from typing import Any, Final

from corrosion.errors import RecordError
from corrosion.record.blocks import Block
from corrosion.record.closing import closing_sections
from corrosion.record.columns import column_widths
from corrosion.record.facts import RecordFacts
from corrosion.record.findings import findings_table, photo_sections
from corrosion.record.front import DRAFT, front_page, summary
from corrosion.record.members import member_sections
from corrosion.record.one_page import one_page
from corrosion.record.pictures import Studio
from corrosion.record.planning import planning_sections
from corrosion.record.subject import Progress, Subject, silent
from corrosion.record.texts import fit, font_folder, shortened, visible
from corrosion.report.words import CAUTION
from corrosion.target.sheet import PAPERS_MM

Json = dict[str, Any]

STANDARD: Final = "a-2a"
PAGES, SUMMARY = "pages.typ", "summary.typ"
MM_PER_PT: Final = 25.4 / 72.0
MARGIN_MM: Final = {"x": 14.0, "top": 18.0, "bottom": 19.0}
HEADING_MM: Final = 14.0
UNDATED: Final = dt.date(1970, 1, 1)
"""An archival PDF must have a date; a survey that states none anywhere gets this one, and says so."""


def report_pdf(
    subject: Subject,
    paper: str = "a4",
    facts: RecordFacts | None = None,
    progress: Progress = silent,
    *,
    threads: int = 2,
) -> bytes:
    """Make the full report.

    Parameters
    ----------
    subject : Subject
    paper : {"a4", "letter"}
    facts : RecordFacts, optional
        Signatures, seal, history; without a seal every page says that it is a draft.
    progress : callable
        Called with the step (``maps``, ``photos``, ``pages``), done and total.
    threads : int
        Photos decoded at the same time; memory holds no more.

    Returns
    -------
    bytes
        PDF/A-2a.

    Raises
    ------
    RecordError
        If the paper is not known, or the pages cannot be set.
    """
    record = facts or RecordFacts()
    size = paper_size(paper)
    with tempfile.TemporaryDirectory(prefix="report-") as name:
        folder = Path(name)
        room = size[1] - MARGIN_MM["top"] - MARGIN_MM["bottom"] - HEADING_MM
        maps = member_sections(subject, folder, room, progress)
        survey = subject.assessment.survey
        studio = Studio(folder, survey.settings, subject.unit, subject.measures())
        shots = studio.shoot_all(survey.photos, subject.read, progress, threads=threads)
        blocks: list[Block] = [
            *summary(subject),
            *maps,
            *findings_table(subject),
            *photo_sections(subject, shots),
            *planning_sections(subject, folder),
            *closing_sections(subject, record, shots),
        ]
        progress("pages", 0, 1)
        data = _head(subject, record, size, "Corrosion survey report")
        data |= {"front": front_page(subject, record), "blocks": blocks, "margin": MARGIN_MM}
        pdf = _typeset(folder, PAGES, data)
        progress("pages", 1, 1)
    return pdf


def summary_pdf(subject: Subject, paper: str = "a4", facts: RecordFacts | None = None) -> bytes:
    """Make the summary on one page; what has no room on it is counted there, and is in the full report.

    Raises
    ------
    RecordError
        See `report_pdf`.
    """
    record = facts or RecordFacts()
    size = paper_size(paper)
    with tempfile.TemporaryDirectory(prefix="report-") as name:
        data = _head(subject, record, size, "Corrosion survey summary")
        folder = Path(name)
        data |= {"summary": one_page(subject, record, folder), "margin": MARGIN_MM}
        return _typeset(folder, SUMMARY, data)


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height of a paper, mm; `RecordError` if it is not known."""
    size = PAPERS_MM.get(paper.lower())
    if size is None:
        raise RecordError(f"paper {paper!r} is not known.", remedy=f"Papers: {', '.join(PAPERS_MM)}.")
    return size


def _head(subject: Subject, record: RecordFacts, size: tuple[float, float], what: str) -> Json:
    """Write what every page and the file's own metadata say."""
    made = date_of(subject, record)
    return {
        "title": shortened(f"{what}: {visible(subject.name)}", 250),
        "what": what,
        "name": shortened(visible(subject.name), 80),
        "structure": subject.assessment.survey.structure.name,
        "caution": CAUTION,
        "digest": record.seal.digest if record.seal else subject.digest,
        "draft": "" if record.sealed else DRAFT,
        "paper": size,
        "date": [made.year, made.month, made.day],
    }


def date_of(subject: Subject, record: RecordFacts) -> dt.date:
    """Date of the document: the survey's, else the seal's, else the last signature's, else `UNDATED`."""
    stated = [subject.assessment.survey.survey.date or ""]
    stated += [record.seal.at if record.seal else ""]
    stated += [one.date or one.signed_at for one in reversed(record.signatures)]
    for text in stated:
        try:
            return dt.date.fromisoformat(text[:10])
        except ValueError:
            continue
    return UNDATED


def _laid_out(value: Any, room_pt: float) -> Any:
    """Give every table of the data its columns' widths."""
    if isinstance(value, list):
        return [_laid_out(part, room_pt) for part in value]
    if not isinstance(value, dict):
        return value
    if value.get("kind") == "table":
        widths, size = column_widths(value["head"], value["rows"], value["right"], room_pt)
        return value | {"widths": widths, "size": size}
    return {name: _laid_out(part, room_pt) for name, part in value.items()}


def _typeset(folder: Path, main: str, data: Json) -> bytes:
    import typst  # noqa: PLC0415 -- heavy, and only printing needs it

    for file in ("common.typ", main):
        (folder / file).write_bytes((resources.files("corrosion.record") / file).read_bytes())
    room_pt = (data["paper"][0] - 2.0 * MARGIN_MM["x"]) / MM_PER_PT
    text = json.dumps(_laid_out(fit(data), room_pt), ensure_ascii=False)
    (folder / "data.json").write_text(text, encoding="utf-8")
    try:
        pdf: bytes = typst.compile(
            folder / main,
            root=folder,
            format="pdf",
            font_paths=[font_folder()],
            ignore_system_fonts=True,
            pdf_standards=STANDARD,
        )
    except typst.TypstError as error:
        raise RecordError(
            f"the pages cannot be set: {error}.",
            remedy="Please report it; the survey itself is not harmed.",
        ) from error
    return pdf
