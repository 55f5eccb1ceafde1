"""Fasteners, rows and sheet of a splice or doubler, for hours and kits.

An estimate for planning. It is no approved repair: what is fitted needs approved data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from corrosion.errors import RepairError
from corrosion.repair.splice_tables import (
    MISFITS,
    NOMINAL_IN,
    SHARE,
    Fastener,
    Joint,
    SpliceTable,
    count_by_formula,
    tables_for,
)
from corrosion.units import MM_PER_INCH

LABEL = "Estimate for planning, not approved data."

ROW_TOLERANCE_IN = 0.0006
"""A thickness this near to a row of a table is that row: half of the last printed digit, and rounding to
hundredths of a millimetre. A rule of ours; anything else takes the next thicker row."""

EDGE_DIAMETERS = 2.0
"""Least edge distance: AC 43.13-1B, 4-57c, by a secondary source."""
MOST_PITCH_DIAMETERS = 8.0
"""Spacing is seldom over 8 D: NAVEDTRA 14018, p. 547."""
ROW_SPACING_DIAMETERS = 2.5
"""Between rows (from memory)."""
MOST_ROWS = 12
_ROUNDING = 1e-9


@dataclass(frozen=True)
class SpliceEstimate:
    """Fasteners and sheet of a reinforcement. `label` belongs beside every figure.

    Attributes
    ----------
    per_side : int
        Fasteners on each side of the damage, after both roundings.
    per_side_whole : int
        Before the joint's share was taken (notes a, b, c).
    per_inch : float
        Cell of the table (or the formula's figure, where the cell is a known misprint).
    per_inch_by_formula : float
        Check by shear and bearing at the true thickness.
    rows, per_row : int
        Rows on each side and fasteners in each; ``rows * per_row`` may exceed `per_side`.
    pitch_mm, row_spacing_mm, edge_distance_mm : float
        Fastener spacing along a row, between rows, and to the sheet's edge.
    sheet_mm : (float, float)
        Along the load (damage and both sides) and across it.
    rivet_length_mm : float
        Grip of doubler and skin of the same thickness, plus 1.5 D (NAVEDTRA 14018, p. 547).
    table : SpliceTable
        The one that gave the count.
    notes : list of str
        Choices and doubts, in plain words.
    """

    fastener: Fastener
    joint: Joint
    width_mm: float
    thickness_mm: float
    per_side: int
    per_side_whole: int
    per_inch: float
    per_inch_by_formula: float
    rows: int
    per_row: int
    pitch_mm: float
    row_spacing_mm: float
    edge_distance_mm: float
    sheet_mm: tuple[float, float]
    rivet_length_mm: float
    table: SpliceTable
    notes: list[str] = field(default_factory=list)
    label: str = LABEL

    @property
    def fasteners(self) -> int:
        """Fasteners to have at hand: full rows on both sides."""
        return 2 * self.rows * self.per_row


def estimate_splice(
    *,
    width_mm: float,
    damage_length_mm: float,
    thickness_mm: float,
    fastener: Fastener,
    material: str = "",
    joint: Joint = Joint.SHEET,
    table: SpliceTable | None = None,
) -> SpliceEstimate:
    """Estimate the fasteners on each side of a splice, their rows and the sheet.

    Parameters
    ----------
    width_mm, damage_length_mm : float
        Of the damage across and along the load, mm.
    thickness_mm : float
        Of the damaged sheet, mm; between two rows of the table the thicker one counts.
    fastener : Fastener
    material : str
        Such as ``2024-T3 clad``. Where two tables cover it the larger count is taken and noted.
    joint : Joint
        Notes a to c of the tables.
    table : SpliceTable, optional
        Use this table instead of the ones for `material`.

    Returns
    -------
    SpliceEstimate
        Labelled as an estimate.

    Raises
    ------
    RepairError
        If a length is not positive, no table covers the material, thickness and fastener, or no number
        of rows keeps the spacing.
    """
    for name, value in (
        ("width", width_mm),
        ("damage length", damage_length_mm),
        ("thickness", thickness_mm),
    ):
        if not (math.isfinite(value) and value > 0.0):
            raise RepairError(f"a {name} of {value:g} mm is not a positive length.")
    tables = (table,) if table is not None else tables_for(material)
    if not tables:
        raise RepairError(
            f"no splice table covers {material!r}.",
            remedy="The tables know 2014-T6, 2017, 2024-T3, 2024-T36, 5052 and 7075-T6; ask engineering.",
        )
    per_inch, used, notes = _per_inch(tables, thickness_mm / MM_PER_INCH, fastener)
    whole, count = counts(width_mm / MM_PER_INCH, per_inch, joint)
    diameter = NOMINAL_IN[fastener] * MM_PER_INCH
    rows, per_row, pitch = _rows(count, width_mm, diameter)
    notes += _doubts(fastener, diameter, thickness_mm, pitch)
    return SpliceEstimate(
        fastener=fastener,
        joint=joint,
        width_mm=width_mm,
        thickness_mm=thickness_mm,
        per_side=count,
        per_side_whole=whole,
        per_inch=per_inch,
        per_inch_by_formula=count_by_formula(used, thickness_mm / MM_PER_INCH, fastener),
        rows=rows,
        per_row=per_row,
        pitch_mm=pitch,
        row_spacing_mm=ROW_SPACING_DIAMETERS * diameter,
        edge_distance_mm=EDGE_DIAMETERS * diameter,
        sheet_mm=(damage_length_mm + 2.0 * _side(rows, diameter), width_mm),
        rivet_length_mm=2.0 * thickness_mm + 1.5 * diameter,
        table=used,
        notes=notes,
    )


def counts(width_in: float, per_inch: float, joint: Joint) -> tuple[int, int]:
    """Fasteners of the whole count and of the joint's share of it, each rounded up.

    AC 43.13-1B, Fig. 4-20, rounds at both stages: 0.6 in at 6.2 per inch are 4, and 60 % of those are 3.
    """
    whole = _up(width_in * per_inch)
    return whole, _up(whole * SHARE[joint])


def handbook_count(width_in: float, thickness_in: float, shear_lb: float, bearing_lb: float) -> int:
    """Fasteners on each side by the handbook: width x thickness x 75,000 psi over the weaker strength.

    FAA-H-8083-31, chapter 4, from memory: a second opinion, never the only one.

    Parameters
    ----------
    width_in, thickness_in : float
        Inches.
    shear_lb, bearing_lb : float
        Strength of one fastener in shear and in bearing, pounds; the smaller one counts.

    Raises
    ------
    RepairError
        If a value is not positive.
    """
    for value in (width_in, thickness_in, shear_lb, bearing_lb):
        if not (math.isfinite(value) and value > 0.0):
            raise RepairError(f"{value:g} is not a positive width, thickness or strength.")
    return _up(width_in * thickness_in * 75_000.0 / min(shear_lb, bearing_lb))


def _up(value: float) -> int:
    """Round up, forgiving what floating point added to a whole number."""
    return max(math.ceil(value - _ROUNDING), 1)


def _per_inch(
    tables: tuple[SpliceTable, ...], thickness_in: float, fastener: Fastener
) -> tuple[float, SpliceTable, list[str]]:
    found = [(value, table, row) for table in tables if (got := _cell(table, thickness_in, fastener))
             for value, row in [got]]  # fmt: skip
    if not found:
        raise RepairError(
            f"no cell for a {fastener} in {thickness_in:.3f} in sheet in Table "
            f"{' or '.join(t.number for t in tables)}.",
            remedy="Choose another diameter; blank cells are blank for a reason.",
        )
    value, table, row = max(found, key=lambda cell: cell[0])
    notes = [f"{table.source} ({table.alloys}): {value:g} per inch."]
    if abs(row - thickness_in) > ROW_TOLERANCE_IN:
        notes.append(
            f"{thickness_in:.4f} in is no row of the table; the next thicker, {row:.3f} in, counts."
        )
    if len(tables) > 1:
        numbers = " and ".join(t.number for t in tables)
        notes.append(f"Tables {numbers} both cover this alloy; the larger count was taken.")
    if (table.number, row, fastener) in MISFITS:
        notes.append(
            "The printed cell does not follow from shear and bearing; the larger figure was taken."
        )
    return value, table, notes


def _cell(table: SpliceTable, thickness_in: float, fastener: Fastener) -> tuple[float, float] | None:
    """Fasteners per inch and the row they were read from; None for a blank cell or beyond the table."""
    row = next((t for t in table.thicknesses if t >= thickness_in - ROW_TOLERANCE_IN), None)
    value = None if row is None else table.cells.get((row, fastener))
    if row is None or value is None:
        return None
    if (table.number, row, fastener) in MISFITS:
        value = max(value, count_by_formula(table, row, fastener))
    return value, row


def least_pitch_diameters(rows: int) -> float:
    """Least spacing along a row in diameters: 3 in one row (AC 43.13-1B, 4-57c, by a secondary source).

    4 in two rows and 3 in three or more are from memory.
    """
    return 4.0 if rows == 2 else 3.0


def _rows(count: int, width_mm: float, diameter_mm: float) -> tuple[int, int, float]:
    """Fewest rows that keep the least spacing, fasteners in each and their pitch in mm."""
    usable = width_mm - 2.0 * EDGE_DIAMETERS * diameter_mm
    for rows in range(1, MOST_ROWS + 1):
        per_row = math.ceil(count / rows)
        pitch = usable / (per_row - 1) if per_row > 1 else max(usable, 0.0)
        if usable >= 0.0 and (per_row == 1 or pitch >= least_pitch_diameters(rows) * diameter_mm):
            return rows, per_row, pitch
    raise RepairError(
        f"{count} fasteners of {diameter_mm:.2f} mm do not fit a width of {width_mm:g} mm.",
        remedy="Choose another diameter, or a wider reinforcement.",
    )


def _side(rows: int, diameter_mm: float) -> float:
    """Length of one side of the sheet along the load: its rows and an edge distance at either end."""
    return (2.0 * EDGE_DIAMETERS + (rows - 1) * ROW_SPACING_DIAMETERS) * diameter_mm


def _doubts(fastener: Fastener, diameter_mm: float, thickness_mm: float, pitch_mm: float) -> list[str]:
    notes = []
    if fastener is not Fastener.BOLT_AN3 and not thickness_mm <= diameter_mm <= 3.0 * thickness_mm:
        notes.append(
            "The rivet is not between one and three times the sheet's thickness (NAVEDTRA 14018, p. 547)."
        )
    if pitch_mm > MOST_PITCH_DIAMETERS * diameter_mm:
        notes.append("The spacing is over 8 diameters: more fasteners are usual (NAVEDTRA 14018, p. 547).")
    return notes
