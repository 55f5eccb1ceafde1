"""``corrosion report``, as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pypdfium2

from corrosion.record import RecordFacts, Seal, facts_json
from corrosion.units import MM_PER_INCH
from tests.cli.running import one_error, run
from tests.cli.samples import survey_folder


def test_the_summary_is_written(tmp_path: Path) -> None:
    """One page, on the paper asked for and sealed as the facts say; the command tells the file's size."""
    survey = survey_folder(tmp_path)
    seal = Seal("C. Clerk", "2031-04-20T10:00:00+00:00", "ab" * 32)
    (tmp_path / "record.json").write_text(json.dumps(facts_json(RecordFacts(seal=seal))), encoding="utf-8")
    out = tmp_path / "out.pdf"
    done = run(
        "report",
        survey,
        "-o",
        out,
        "--summary",
        "--paper",
        "letter",
        "--facts",
        "record.json",
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    assert "PDF/A-2a" in done.stdout
    pages = pypdfium2.PdfDocument(out)
    assert len(pages) == 1
    # ANSI A, 8.5 in wide, from memory; a tenth of a millimetre is what a printer cannot show.
    assert abs(pages[0].get_size()[0] / 72.0 - 8.5) < 0.1 / MM_PER_INCH
    text = pages[0].get_textpage().get_text_range()
    assert "C. Clerk" in text
    assert "DRAFT" not in text


def test_outputs_and_facts_are_checked_first(tmp_path: Path) -> None:
    """Another ending, and facts that are not there, are a line of error; nothing is written."""
    survey = survey_folder(tmp_path)
    assert ".pdf" in one_error(run("report", survey, "-o", "out.txt", cwd=tmp_path))
    assert "facts" in one_error(
        run("report", survey, "-o", "out.pdf", "--facts", "none.json", cwd=tmp_path)
    )
    assert not (tmp_path / "out.pdf").exists()
