"""Reinforcement estimates: tables chosen, rows, spacing, sheet, refusals."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.errors import RepairError
from corrosion.repair import (
    LABEL,
    TABLE_4_9,
    TABLE_4_10,
    TABLE_4_11,
    Fastener,
    Joint,
    SpliceEstimate,
    SpliceTable,
    estimate_splice,
    handbook_count,
    least_pitch_diameters,
    tables_for,
)
from corrosion.units import MM_PER_INCH

MM = MM_PER_INCH


def splice(**changes: Any) -> SpliceEstimate:
    return estimate_splice(
        **{
            "width_mm": 4 * MM,
            "damage_length_mm": 1 * MM,
            "thickness_mm": 0.040 * MM,
            "fastener": Fastener.RIVET_1_8,
            "material": "2024-T3",
        }
        | changes
    )


@pytest.mark.parametrize(
    ("material", "tables"),
    [
        ("2024-T3", (TABLE_4_9,)),
        ("2024-T3 clad", (TABLE_4_9, TABLE_4_10)),
        ("2024-T3 Alclad", (TABLE_4_9, TABLE_4_10)),
        ("7075-T6 clad", (TABLE_4_9,)),
        ("2017-T4", (TABLE_4_10,)),
        ("5052-H34", (TABLE_4_11,)),
        ("2024-T4", ()),
        ("AZ31B", ()),
        ("4130", ()),
        ("", ()),
    ],
)
def test_tables_by_alloy(material: str, tables: tuple[SpliceTable, ...]) -> None:
    """An alloy finds the tables that print it, in the words of the tables' own headings."""
    assert tables_for(material) == tables


def test_where_tables_overlap_the_larger_count_is_taken_and_said() -> None:
    """Clad 2024-T3 stands in two tables: 7.7 per inch by 4-9 against 6.2 by 4-10."""
    both = splice(material="2024-T3 clad")
    assert (both.per_inch, both.table.number) == (7.7, "4-9")
    assert any("the larger count was taken" in note for note in both.notes)
    assert not any("larger count" in note for note in splice().notes)


def test_every_estimate_says_what_it_is() -> None:
    """No figure goes out without its label and the page it was read from."""
    found = splice()
    assert found.label == LABEL == "Estimate for planning, not approved data."
    assert any("Table 4-9, p. 4-37" in note for note in found.notes)


@pytest.mark.parametrize(
    ("thickness_in", "row"), [(0.040, 7.7), (1.02 / MM, 7.7), (0.0408, 9.8), (0.050, 9.8), (0.0395, 7.7)]
)
def test_between_rows_the_thicker_counts(thickness_in: float, row: float) -> None:
    """0.040 in and 1.02 mm are the row of 0.040; 0.050 in, a modern sheet, takes 0.051 and says so."""
    found = splice(thickness_mm=thickness_in * MM)
    assert found.per_inch == row
    assert any("next thicker" in note for note in found.notes) == (thickness_in in {0.0408, 0.050})


def test_spacing_edges_and_sheet() -> None:
    """31 rivets of 1/8 in on 4 in: three rows would be 2.8 D apart, so four; edges and sheet by hand."""
    found = splice()
    d = MM / 8
    assert found.per_side == math.ceil(4 * 7.7) == 31
    assert (found.rows, found.per_row) == (4, 8)
    assert found.pitch_mm == pytest.approx((4 * MM - 4 * d) / 7)
    assert found.edge_distance_mm == pytest.approx(2 * d)
    assert found.row_spacing_mm == pytest.approx(2.5 * d)
    # Along the load: the damage, and on each side three row spacings and two edge distances.
    assert found.sheet_mm == pytest.approx((MM + 2 * (3 * 2.5 * d + 2 * 2 * d), 4 * MM))
    assert found.rivet_length_mm == pytest.approx(2 * 0.040 * MM + 1.5 * d)
    assert found.fasteners == 2 * 4 * 8


def test_least_spacing_by_rows() -> None:
    """3 D in a single row, 4 D in a double one, 3 D in more (AC 43.13-1B, 4-57c; partly from memory)."""
    assert [least_pitch_diameters(n) for n in (1, 2, 3, 4)] == [3.0, 4.0, 3.0, 3.0]


def test_the_formula_stands_beside_the_table() -> None:
    """The check by shear and bearing is at hand and near the table's number."""
    found = splice()
    assert found.per_inch_by_formula == pytest.approx(found.per_inch, abs=0.07)


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"material": "4130"}, "no splice table covers '4130'"),
        ({"material": "AZ31B"}, "no splice table"),
        ({"thickness_mm": 0.2 * MM}, "no cell"),
        ({"fastener": Fastener.RIVET_1_4, "thickness_mm": 0.020 * MM}, "no cell"),
        ({"width_mm": 0.0}, "width of 0 mm"),
        ({"thickness_mm": math.nan}, "thickness of nan mm"),
        ({"damage_length_mm": -1.0}, "damage length"),
        ({"width_mm": 0.3 * MM}, "do not fit"),
    ],
)
def test_refusals(changes: dict[str, Any], match: str) -> None:
    """What the tables do not cover is refused with the way out, never stretched."""
    with pytest.raises(RepairError, match=match):
        splice(**changes)


def test_a_rivet_out_of_proportion_is_noted() -> None:
    """1/4 in rivets in 0.036 in sheet are over three times its thickness (NAVEDTRA 14018, p. 547)."""
    found = splice(fastener=Fastener.RIVET_1_4, thickness_mm=0.036 * MM)
    assert any("one and three times" in note for note in found.notes)
    assert not any("one and three times" in note for note in splice(thickness_mm=0.064 * MM).notes)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_the_handbook_rule_refuses_nonsense(bad: float) -> None:
    """A strength or size that is not positive is refused."""
    with pytest.raises(RepairError, match="not a positive"):
        handbook_count(bad, 0.04, 331, 410)


@given(
    width=st.floats(30, 600),
    thickness=st.sampled_from([0.032, 0.040, 0.051, 0.064]),
    fastener=st.sampled_from([Fastener.RIVET_1_8, Fastener.RIVET_5_32]),
    joint=st.sampled_from(list(Joint)),
)
def test_rows_hold_all_fasteners_at_the_least_spacing(
    width: float, thickness: float, fastener: Fastener, joint: Joint
) -> None:
    """For any width the rows hold the count at the least spacing; a share is no more than the whole."""
    try:
        found = splice(width_mm=width, thickness_mm=thickness * MM, fastener=fastener, joint=joint)
    except RepairError as error:
        assert "do not fit" in str(error)  # noqa: PT017 -- a refusal is one of two right answers
        return
    assert found.rows * found.per_row >= found.per_side
    assert found.per_side <= found.per_side_whole
    assert found.per_side >= found.per_side_whole * 0.6
    diameter = {Fastener.RIVET_1_8: MM / 8, Fastener.RIVET_5_32: 5 * MM / 32}[fastener]
    if found.per_row > 1:
        assert found.pitch_mm >= least_pitch_diameters(found.rows) * diameter - 1e-9
