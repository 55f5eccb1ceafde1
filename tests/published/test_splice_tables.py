"""Splice tables and worked examples of FAA AC 43.13-1B (9/8/98, change 1 of 9/27/01), chapter 4.

Tables 4-9 to 4-11, pp. 4-37 to 4-39; para 4-58g, p. 4-27; Fig. 4-20, p. 4-41. The 75,000 psi rule is that
of FAA-H-8083-31, chapter 4, from memory.
"""

from __future__ import annotations

import pytest

from corrosion.repair import (
    MISFITS,
    TABLE_4_9,
    TABLE_4_10,
    TABLE_4_11,
    TABLES,
    Fastener,
    Joint,
    SpliceTable,
    count_by_formula,
    counts,
    estimate_splice,
    handbook_count,
)
from corrosion.units import MM_PER_INCH

CELLS = [(table, t, fastener) for table in TABLES for t, fastener in table.cells]


def test_no_cell_is_missing() -> None:
    """The three tables print 148 numbers, on twelve thicknesses each."""
    assert len(CELLS) == 148
    sheet = [0.016, 0.020, 0.025, 0.032, 0.036, 0.040, 0.051, 0.064, 0.081, 0.091, 0.102, 0.128]
    assert all(table.thicknesses == sheet for table in TABLES)


@pytest.mark.parametrize(("table", "t", "fastener"), CELLS)
def test_every_cell_follows_from_shear_and_bearing(
    table: SpliceTable, t: float, fastener: Fastener
) -> None:
    """Two independent ways to the number agree within 0.07, except in the two cells that are named."""
    misfit = abs(count_by_formula(table, t, fastener) - table.cells[t, fastener])
    assert (misfit > 0.07) == ((table.number, t, fastener) in MISFITS)


@pytest.mark.parametrize(
    ("t", "fastener", "printed", "computed"),
    [(0.032, Fastener.RIVET_5_32, 3.9, 4.03), (0.128, Fastener.BOLT_AN3, 3.2, 4.21)],
)
def test_the_two_misfits(t: float, fastener: Fastener, printed: float, computed: float) -> None:
    """Both stand in Table 4-9; the data keep the printed number, the estimate takes the larger."""
    assert TABLE_4_9.cells[t, fastener] == printed
    assert count_by_formula(TABLE_4_9, t, fastener) == pytest.approx(computed, abs=0.006)
    found = estimate_splice(
        width_mm=100, damage_length_mm=20, thickness_mm=t * MM_PER_INCH, fastener=fastener, table=TABLE_4_9
    )
    assert found.per_inch == pytest.approx(computed, abs=0.006)
    assert any("does not follow" in note for note in found.notes)


@pytest.mark.parametrize(("table", "fastener"), [(t, f) for t in TABLES for f in Fastener])
def test_thicker_sheet_never_needs_fewer(table: SpliceTable, fastener: Fastener) -> None:
    """Down a column the count does not fall, save in the misprinted bolt cell: the next row is safe."""
    column = [table.cells[t, f] for t, f in table.cells if f is fastener]
    if (table.number, fastener) == ("4-9", Fastener.BOLT_AN3):
        column = column[:-1]
    assert column == sorted(column)


@pytest.mark.parametrize("t", [0.016, 0.032, 0.064, 0.128])
def test_the_overlap_goes_one_way(t: float) -> None:
    """Where Tables 4-9 and 4-10 both print a number, 4-9 is never the smaller, save the misprint."""
    for fastener in Fastener:
        one, other = TABLE_4_9.cells.get((t, fastener)), TABLE_4_10.cells.get((t, fastener))
        if one is not None and other is not None and ("4-9", t, fastener) not in MISFITS:
            assert one >= other


def test_worked_example_of_a_lap_joint() -> None:
    """Para 4-58g: clad 2024, 0.032 in, 10 in wide, 1/8 rivets: 4.9 x 75 % need 37, in two rows of 19."""
    found = estimate_splice(
        width_mm=10 * MM_PER_INCH,
        damage_length_mm=25.4,
        thickness_mm=0.032 * MM_PER_INCH,
        fastener=Fastener.RIVET_1_8,
        joint=Joint.SINGLE_LAP,
        table=TABLE_4_10,
    )
    assert found.per_inch == 4.9
    assert found.per_side == 37
    assert (found.rows, found.per_row) == (2, 19)


@pytest.mark.parametrize(("width", "whole", "share"), [(0.6, 4, 3), (2.0, 13, 8)])
def test_worked_example_of_a_frame(width: float, whole: int, share: int) -> None:
    """Fig. 4-20: flange 0.6 in and web 2.0 in of 0.040 in at 6.2 per inch, 60 %: 4 -> 3 and 13 -> 8."""
    per_inch = TABLE_4_10.cells[0.040, Fastener.RIVET_1_8]
    assert per_inch == 6.2
    assert counts(width, per_inch, Joint.INTERMEDIATE_FRAME) == (whole, share)


def test_shares_of_the_notes() -> None:
    """Notes a, b and c: 80 % in stringers, 60 % in intermediate frames, 75 % in single-lap joints."""
    assert counts(10.0, 10.0, Joint.SHEET) == (100, 100)
    assert counts(10.0, 10.0, Joint.UPPER_STRINGER) == (100, 80)
    assert counts(10.0, 10.0, Joint.INTERMEDIATE_FRAME) == (100, 60)
    assert counts(10.0, 10.0, Joint.SINGLE_LAP) == (100, 75)


def test_the_75_000_rule() -> None:
    """From memory: 2.25 in x 0.040 in x 75,000 psi over 331 lb of shear is 20.39, so 21; bearing 410 lb."""
    assert handbook_count(2.25, 0.040, 331.0, 410.0) == 21
    assert handbook_count(2.25, 0.040, 1e9, 410.0) == 17


def test_bearing_governs_5052() -> None:
    """Table 4-11: thin 5052 needs the same number at any thickness, for the sheet gives way first."""
    assert {TABLE_4_11.cells[t, Fastener.RIVET_1_8] for t in (0.016, 0.020, 0.025, 0.032)} == {4.7}
