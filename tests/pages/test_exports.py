"""What leaves as a table holds the numbers, and nothing in it runs in a spreadsheet."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point

from api.pages.exports import head, safe_text, to_csv, to_workbook
from api.pages.rows import Row
from corrosion.quantity import Measured
from corrosion.results import Finding, Spot
from corrosion.terms import Face, MarkKind, Verdict

# Cells that spreadsheets compute (OWASP, "CSV Injection", list of leading characters; from memory).
STARTS = "=+-@\t\r"


def row(identifier: str) -> Row:
    """Make a finding 1 in deep against a limit of 2 in."""
    depth = Measured(25.4, "mm", own={"reading": 1.27})
    finding = Finding(
        id=identifier,
        kind=MarkKind.BLEND_OUT,
        member_id="SK1",
        face=Face.INNER,
        zone="334",
        outline=Point(254, 127).buffer(5),
        position=(254.0, 127.0),
        u_position=(1.0, 1.0),
        depth=depth,
        grade=None,
        quantities={"area": Measured(645.16, "mm2")},
        sources=[("f1", "B1")],
    )
    spot = Spot((254.0, 127.0), 100.0, depth, {Face.INNER: 25.4}, 50.8, "=RS-12", 0.0, Verdict.WITHIN)
    return Row(finding, spot, Verdict.WITHIN, "")


def test_csv_and_workbook_hold_the_numbers_in_the_unit() -> None:
    """25.4 mm is 1 in (NIST SP 811, B.8) in both files, with U = 2 u beside it."""
    names = head("in")
    (_, written) = csv.reader(io.StringIO(to_csv([row("B1")], "in").decode("utf-8-sig")))
    sheet = openpyxl.load_workbook(io.BytesIO(to_workbook([row("B1")], "in", "t")))["Findings"]
    for name, value in {
        "Depth, in": 1.0,
        "U of depth (k = 2), in": 0.1,
        "Area, in2": 1.0,
        "Station on layout, in": 10.0,
        "Limit, in": 2.0,
        "Removed as share of limit": 0.5,
    }.items():
        column = names.index(name)
        assert float(written[column]) == pytest.approx(value, rel=1e-9)
        assert sheet.cell(2, column + 1).value == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("start", STARTS)
def test_no_cell_begins_like_a_formula(start: str) -> None:
    """A name that looks like a formula arrives as text in both files."""
    name = f"{start}HYPERLINK(1)"
    (_, written) = csv.reader(io.StringIO(to_csv([row(name)], "mm").decode("utf-8-sig")))
    assert all(cell[:1] not in STARTS for cell in written if cell)
    sheet = openpyxl.load_workbook(io.BytesIO(to_workbook([row(name)], "mm", name)))["Findings"]
    kinds = {cell.data_type for cells in sheet.iter_rows() for cell in cells}
    assert "f" not in kinds
    assert not str(sheet.cell(2, 1).value).startswith(tuple(STARTS))


@given(st.text(max_size=30))
def test_safe_text_is_safe_and_keeps_harmless_text(text: str) -> None:
    """No text begins like a formula afterwards, and one that never did is unchanged."""
    made = safe_text(text)
    assert made.lstrip(" ")[:1] not in set(STARTS)
    if text.isalnum():
        assert made == text
