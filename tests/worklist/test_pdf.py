"""The printed work list: half a page each, nothing cut off, nothing read as markup."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pypdfium2
import pytest

from corrosion.errors import CorrosionError
from corrosion.photo.picture import UInt8Array
from corrosion.worklist import build_cards
from corrosion.worklist.pdf import worklist_pdf
from tests.blend.workshop import Workshop
from tests.worklist.shop import assessed

DAY = dt.date(2031, 4, 23)
PT_PER_MM = 72.0 / 25.4


def printed(shop: Workshop, paper: str = "a4", pixels: UInt8Array | None = None) -> bytes:
    """Print a shop's cards, with one picture for all photos."""
    whole, members = assessed(shop)
    cards = build_cards(whole, members)
    return worklist_pdf(whole, members, cards, paper=paper, pictures=lambda _: pixels, made=DAY)


def pages(pdf: bytes) -> list[str]:
    """Text of each page, white space joined."""
    document = pypdfium2.PdfDocument(pdf)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def images(pdf: bytes) -> int:
    """Count the pixel images of a PDF."""
    kinds = [item.type for page in pypdfium2.PdfDocument(pdf) for item in page.get_objects(max_depth=8)]
    return kinds.count(pypdfium2.raw.FPDF_PAGEOBJ_IMAGE)


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_two_cards_stand_on_a_page(paper: str, size_mm: tuple[float, float]) -> None:
    """Four cards are a front page and two pages of two; sizes ISO 216 A4 and ANSI A, from memory."""
    shop = Workshop().pit((100, 100)).pit((300, 100)).pit((500, 100)).pit((700, 100))
    shop.member["name"] = "A member with a long name, as drawings have them, to fill its line"
    pdf = printed(shop, paper)
    found = pages(pdf)
    assert len(found) == 3
    for number, text in ((1, "1 Blend"), (1, "2 Blend"), (2, "3 Blend"), (2, "4 Blend")):
        assert text in found[number]
    width, height = pypdfium2.PdfDocument(pdf)[0].get_size()
    # A tenth of a millimetre: what a printer cannot show.
    assert (width / PT_PER_MM, height / PT_PER_MM) == pytest.approx(size_mm, abs=0.1)


def test_a_card_prints_all_it_asks_for() -> None:
    """Target, stop, both ways of the ratio, abrasives, steps, cautions, and who governs are in print."""
    text = " ".join(pages(printed(Workshop().pit())))
    for words in (
        "0.050 mm", "0.100 mm", "20:1 total length to depth, which is 10:1 on each side", "STOP at",
        "240 grit or finer", "No silicon carbide", "Re-measured", "Primed", "Toxic dust",
        "Approved data govern", "station 450.0 mm", "blend-out mark",
    ):  # fmt: skip
        assert words in text, words
    assert "airworthy" not in text.casefold()


def test_held_findings_are_printed_without_a_card() -> None:
    """What is over its limit stands in the table at the end, with its reason, and has no card."""
    found = pages(printed(Workshop().pit(depth=0.5)))
    assert "Held: take off no metal here" in found[-1]
    assert "P1" in found[-1]
    assert not any("STOP at" in page for page in found)


def test_names_are_never_read_as_markup() -> None:
    """A member called like a command of the typesetter is printed as it is called."""
    shop = Workshop().pit()
    shop.member["name"] = '#panic("no") $x$ *bold* @ref <tag> \x07'
    text = " ".join(pages(printed(shop)))
    assert '#panic("no") $x$ *bold* @ref <tag>' in text


def test_a_long_card_takes_the_room_it_needs() -> None:
    """Two hundred pits in one blend: every name of them is in print, none cut off."""
    shop = Workshop()
    for number in range(200):
        shop.pit((100 + 2.0 * (number % 20), 100 + 2.0 * (number // 20)), id=f"Pit-{number:03}-of-the-row")
    text = " ".join(pages(printed(shop))).replace(" ", "").replace("\ufffe", "")
    assert all(f"Pit-{number:03}-of-the-row" in text for number in range(200))


def test_it_is_an_archival_pdf() -> None:
    """The file says that it is PDF/A-2a (ISO 19005-2, 6.6.4: part and conformance in its metadata)."""
    pdf = printed(Workshop().pit())
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in pdf


def test_the_same_list_is_the_same_file() -> None:
    """The same survey, paper and day give the same bytes."""
    assert printed(Workshop().pit()) == printed(Workshop().pit())


def test_pictures_are_printed_where_they_are_at_hand() -> None:
    """With the photo's pixels the card has its crop, without them it is still a card."""
    shop = Workshop().named_pit({"kind": "pit"})
    pixels = np.full((60, 80, 3), 120, dtype=np.uint8)
    assert images(printed(shop)) == 0
    assert images(printed(shop, pixels=pixels)) == 1


def test_an_unknown_paper_is_refused() -> None:
    """The refusal names the papers there are."""
    with pytest.raises(CorrosionError, match="letter"):
        printed(Workshop().pit(), paper="a0")
