"""The report as people file it: complete, archival, accessible, the same every time, never markup."""

from __future__ import annotations

import ctypes
import datetime as dt
import re
from functools import cache
from itertools import pairwise
from typing import Any

import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from corrosion.errors import RecordError
from corrosion.record import Cited, HistoryHead, RecordFacts, Seal, Signature
from corrosion.record.closing import closing_sections
from corrosion.record.members import _member
from corrosion.record.pdf import UNDATED, date_of, report_pdf, summary_pdf
from corrosion.record.subject import Subject
from tests.api.samples import picture
from tests.record.example import DECISION, document, subject

HOSTILE = (
    '#panic("no") $x^2$ *bold* _it_ @ref <tag> `raw` [b] \\u{41} 中文 😀 \u05e9\u05dc\u05d5\u05dd '
    "\u202eevil \x00\x07 \ue000 " + "W" * 300
)
"""Commands of the typesetter, CJK, emoji, right-to-left letters and an override of direction, NUL, bell,
a private sign, and a word longer than the paper is wide."""
HOSTILE_MEMBER = '#"$<中😀>' + "Q" * 60
HOSTILE_SIGNATURE = Signature("inspector", HOSTILE, HOSTILE, HOSTILE, HOSTILE, HOSTILE, "2031-04-18")
SEALED = RecordFacts(
    signatures=(
        Signature(
            "inspector", "I. Nobody", "INV-7", "invented kind", "Seen by me.", "Shed 2", "2031-04-18"
        ),
    ),
    seal=Seal("C. Clerk", "2031-04-20T10:00:00+00:00", "ab" * 32),
    revision=2,
    revises=Cited("s1", "First look", 1, "cd" * 32),
    revision_reason="wrong gauge",
    history_head=HistoryHead(17, "ef" * 32),
    carried_from=Cited("s0", "Years ago"),
)


STEPS: dict[str, list[tuple[int, int]]] = {}
"""What the making of `plain` told."""


@cache
def plain() -> bytes:
    """Full report of the sample survey, a draft."""

    def told(step: str, done: int, total: int) -> None:
        STEPS.setdefault(step, []).append((done, total))

    return report_pdf(subject(document(decision=DECISION)), progress=told)


@cache
def hostile() -> bytes:
    """Full report of a survey in which every text a person types is hostile."""
    survey = document()
    survey["survey"] |= {"name": HOSTILE, "inspector": HOSTILE, "note": HOSTILE, "light_standard": HOSTILE}
    survey["structure"] = survey["structure"] | {
        "name": HOSTILE[:150], "aircraft": HOSTILE, "serial": HOSTILE, "note": HOSTILE,
    }  # fmt: skip
    first, *rest = survey["structure"]["members"]
    renamed = {"name": HOSTILE, "material": HOSTILE[:70], "id": HOSTILE_MEMBER}
    survey["structure"]["members"] = [first | renamed, *rest]
    for part in (*survey["photos"], *survey["removals"], *survey["thickness_readings"]):
        part["member"] = renamed["id"]
        part["note"] = HOSTILE
    survey["photos"][0]["marks"] = [survey["photos"][0]["marks"][0] | {"id": "*#P1 中" + "Z" * 60}]
    return report_pdf(subject(survey), "letter", RecordFacts(signatures=(HOSTILE_SIGNATURE,)))


def member_sections_without_maps(about: Subject) -> list[Any]:
    """Blocks of the first member."""
    return _member(about, about.assessment.members[0])


def text_on(page: pypdfium2.PdfPage) -> str:
    """Text of a page, white space joined."""
    return " ".join(page.get_textpage().get_text_range().split())


def text_of(pdf: bytes) -> str:
    """All text, white space and break hints joined."""
    pages = pypdfium2.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_range() for page in pages)
    return " ".join(text.replace("\u200b\r\n", "").replace("\u200b", "").split())


def test_it_says_what_was_found_and_on_what_it_rests() -> None:
    """Verdicts, limits with source, sums, readings, instruments, plan, decision, hashes, cautions."""
    text = text_of(plain())
    for words in (
        "DRAFT: not sealed", "First look", "Inspector A", "Overall verdict", "Not seen", "SK1", "RB1",
        "Invented scheme RS-12, paragraph 4, revision B", "Invented scheme RS-12, paragraph 5",
        "Deepest sum", "Thickness readings", "gauge DG-2", "Map of SK1, outer face", "Blend plan",
        "20:1 total length to depth, which is 10:1 on each side", "Repair or replacement", "Not signed.",
        "photos/f1.jpg", "as marked", "Toxic dust", "Chromate", "Approved data govern", "reading",
    ):  # fmt: skip
        assert words in text, words
    compact = text.replace(" ", "")
    assert document()["photos"][0]["sha256"] in compact
    assert "airworthy" not in text.casefold()


def test_lengths_are_in_the_surveys_display_unit() -> None:
    """Four decimals in inches, three in mm: 1.02 mm is 0.0402 in (1 in = 25.4 mm, NIST SP 811)."""
    assert "0.0402 in" in text_of(plain())
    in_mm = str(member_sections_without_maps(subject(document(display_units="mm"))))
    assert "1.020 mm" in in_mm
    assert " in'" not in in_mm


def test_every_page_has_its_number_the_digest_and_the_draft_line() -> None:
    """A page on its own still says which report, which page of how many, and that it is a draft."""
    pages = pypdfium2.PdfDocument(plain())
    digest = subject(document(decision=DECISION)).digest
    for number, page in enumerate(pages, start=1):
        text = " ".join(page.get_textpage().get_text_range().split())
        assert f"Page {number} of {len(pages)}" in text
        assert digest in text
        assert "DRAFT: not sealed" in text


def test_a_sealed_report_shows_signature_seal_and_history() -> None:
    """Who signed what and where, who sealed, what it corrects; no page is a draft; a wrong seal shows."""
    pdf = report_pdf(subject(), "letter", SEALED)
    text = text_of(pdf)
    for words in (
        "I. Nobody", "invented kind INV-7", "Seen by me.", "Shed 2", "C. Clerk", "wrong gauge", "Years ago",
        "entry 17", "is NOT the sealed one",
    ):  # fmt: skip
        assert words in text, words
    assert "DRAFT" not in text
    right = RecordFacts(seal=Seal("C. Clerk", "2031-04-20", subject().digest))
    assert "is NOT the sealed one" not in str(closing_sections(subject(), right, {}))


def test_the_same_input_gives_the_same_bytes() -> None:
    """Nothing of the day, the machine or chance is in the file, so that its hash can be kept."""
    assert plain() == report_pdf(subject(document(decision=DECISION)), threads=1)


def test_it_is_an_archival_tagged_pdf_with_its_metadata() -> None:
    """It says that it is PDF/A-2a (ISO 19005-2, 6.6.4 and 6.7.1), in which language, and of which day.

    The typesetter refuses to write a file that it finds to break the standard; no other checker is asked.
    """
    for pdf in (plain(), hostile(), summary_pdf(subject())):
        assert b"<pdfaid:part>2</pdfaid:part>" in pdf
        assert b"<pdfaid:conformance>A</pdfaid:conformance>" in pdf
        assert b"/MarkInfo" in pdf
        assert re.search(rb"/Lang ?\(en\)", pdf)
        pages = pypdfium2.PdfDocument(pdf)
        assert pages.is_tagged()
        about = pages.get_metadata_dict()
        assert about["Title"].startswith("Corrosion survey")
        assert "2031" in about["CreationDate"]


def elements(page: pypdfium2.PdfPage) -> list[tuple[str, str]]:
    """Kind and alternative text of every element of a page's tag tree."""
    tree = pdfium.FPDF_StructTree_GetForPage(page.raw)
    found: list[tuple[str, str]] = []

    def text(read: Any, element: Any) -> str:
        length = read(element, None, 0)
        raw = ctypes.create_string_buffer(max(length, 2))
        read(element, raw, length)
        return raw.raw[: max(length - 2, 0)].decode("utf-16-le")

    def walk(element: Any) -> None:
        kind = text(pdfium.FPDF_StructElement_GetType, element)
        found.append((kind, text(pdfium.FPDF_StructElement_GetAltText, element)))
        for number in range(pdfium.FPDF_StructElement_CountChildren(element)):
            child = pdfium.FPDF_StructElement_GetChildAtIndex(element, number)
            if child:
                walk(child)

    for number in range(pdfium.FPDF_StructTree_CountChildren(tree)):
        walk(pdfium.FPDF_StructTree_GetChildAtIndex(tree, number))
    pdfium.FPDF_StructTree_Close(tree)
    return found


def test_headings_tables_and_pictures_are_tagged() -> None:
    """Who listens to the report gets headings in steps of one, header cells, and every picture told."""
    tags = [one for page in pypdfium2.PdfDocument(plain()) for one in elements(page)]
    kinds = {kind for kind, _ in tags}
    assert {"H1", "H2", "H3", "Table", "TH", "TD", "L", "Figure"} <= kinds
    told = [alt for kind, alt in tags if kind == "Figure"]
    assert told
    assert all(len(alt) > 20 for alt in told)
    assert any("close-up A: P1" in alt for alt in told)
    levels = [int(kind[1]) for kind, _ in tags if re.fullmatch(r"H\d", kind)]
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_findings_lead_to_their_photos() -> None:
    """The table of findings links to the page where the photo with its marks is."""
    pages = pypdfium2.PdfDocument(plain())
    table = next(n for n, page in enumerate(pages) if "By zone, then by member" in text_on(page))
    photo = next(n for n, page in enumerate(pages) if "Shows member SK1" in text_on(page))
    # The page is held: its links are gone with it.
    page, led, position, link = pages[table], [], ctypes.c_int(0), pdfium.FPDF_LINK()
    while pdfium.FPDFLink_Enumerate(page.raw, ctypes.byref(position), ctypes.byref(link)):
        target = pdfium.FPDFLink_GetDest(pages.raw, link)
        led.append(pdfium.FPDFDest_GetDestPageIndex(pages.raw, target))
    assert photo in led


def test_texts_are_shown_as_they_are_typed() -> None:
    """Commands, signs without a glyph and words longer than the page can be read; none is obeyed."""
    text = text_of(hostile()).replace(" ", "")
    for words in (
        '#panic("no")$x^2$*bold*_it_@ref<tag>`raw`[b]\\u{41}', "[U+4E2D][U+6587]", "😀", "[U+202E]evil",
        "[U+0000][U+0007]", "[U+E000]", "W" * 300, '#"$<[U+4E2D]😀>' + "Q" * 60, "*#P1[U+4E2D]" + "Z" * 60,
    ):  # fmt: skip
        assert words in text, words


@pytest.mark.parametrize("pdf", [plain, hostile])
def test_no_text_leaves_the_paper(pdf: Any) -> None:
    """Every sign lies inside the margins of its page, whatever was typed."""
    for number, page in enumerate(pypdfium2.PdfDocument(pdf()), start=1):
        width, height = page.get_size()
        texts = page.get_textpage()
        if pdf is hostile and "Map of" in texts.get_text_range():
            # The drawing cuts a title that is too long for it; the heading above has all of it.
            continue
        for at in range(texts.count_chars()):
            if texts.get_text_range(at, 1).strip():
                left, bottom, right, top = texts.get_charbox(at)
                inside = left > 20.0 and right < width - 20.0 and bottom > 20.0 and top < height - 20.0
                assert inside, (number, texts.get_text_range(at, 1), left, right, width)


def test_photos_that_cannot_be_shown_say_why() -> None:
    """A missing picture, another than was marked and a broken one are told; none stops the report."""
    one = document()["photos"][0]
    unstated = {k: v for k, v in one.items() if k != "sha256"}
    survey = document(photos=[one | {"id": "gone"}, one | {"id": "other"}, unstated | {"id": "broken"}])
    data = {"gone": None, "other": picture(5), "broken": b"\xff\xd8 no picture"}
    pdf = report_pdf(subject(survey, read=data.get))
    text = text_of(pdf)
    assert "The picture is not at hand." in text
    assert "This is not the picture that was marked" in text
    assert "NOT the file that was marked" in text
    assert "1 files are not those that were marked." in text
    figures = [
        alt for page in pypdfium2.PdfDocument(pdf) for kind, alt in elements(page) if kind == "Figure"
    ]
    assert not [alt for alt in figures if alt.startswith("Photo")]


@pytest.mark.parametrize("count", [0, 1, 80])
def test_the_summary_is_one_page(count: int) -> None:
    """However many members and however long the texts, it is one page; what is left out is counted."""
    survey = document()
    first = survey["structure"]["members"][0]
    survey["structure"] = survey["structure"] | {
        "members": [first | {"id": f"M{n}-{'N' * 70}"} for n in range(count)], "aircraft": HOSTILE,
    }  # fmt: skip
    survey |= {"photos": [], "removals": [], "thickness_readings": []}
    survey["survey"] = survey["survey"] | {"name": HOSTILE, "inspector": HOSTILE}
    facts = RecordFacts(
        signatures=(HOSTILE_SIGNATURE,) * 9, revises=Cited(HOSTILE, HOSTILE), revision_reason=HOSTILE
    )
    for paper in ("a4", "letter"):
        pdf = summary_pdf(subject(survey), paper, facts)
        assert len(pypdfium2.PdfDocument(pdf)) == 1
        text = text_of(pdf)
        assert "Approved data govern" in text
        assert ("more members are in the full report" in text) == (count == 80)


def test_an_empty_survey_has_a_report() -> None:
    """Nothing found, no photo, no member: the report says so, and nothing in it is a pass."""
    survey = document(photos=[], removals=[], thickness_readings=[])
    survey["structure"] = survey["structure"] | {"members": []}
    survey |= {"planning": {}, "survey": {}}
    text = text_of(report_pdf(subject(survey)))
    for words in (
        "The survey has no members.",
        "Nothing was found on what was seen.",
        "The survey has no photos.",
    ):
        assert words in text, words
    assert "? not determined" in text
    assert "within limit where" in text
    assert "✓" not in text


def test_progress_is_told_step_by_step() -> None:
    """Every step begins at nought and ends at its total, so that a bar moves and finishes."""
    plain()
    assert list(STEPS) == ["maps", "photos", "pages"]
    for counts in STEPS.values():
        assert counts[0][0] == 0
        assert counts[-1][0] == counts[-1][1]
        assert counts == sorted(counts)


def test_the_date_is_the_surveys_own() -> None:
    """The survey's date, else the seal's, else the last signature's; what is no date is passed over."""
    dated, undated = subject(), subject(document(survey={"name": "no date"}))
    odd = subject(document(survey={"name": "odd", "date": "2031-99-99"}))
    assert date_of(dated, SEALED) == dt.date(2031, 4, 17)
    assert date_of(undated, SEALED) == dt.date(2031, 4, 20)
    assert date_of(odd, RecordFacts(signatures=SEALED.signatures)) == dt.date(2031, 4, 18)
    assert date_of(undated, RecordFacts()) == UNDATED


def test_an_unknown_paper_is_refused() -> None:
    """The refusal names the papers there are."""
    with pytest.raises(RecordError, match="letter"):
        summary_pdf(subject(), "a0")
