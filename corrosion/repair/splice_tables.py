"""Fasteners per inch of width, as data: Tables 4-9, 4-10 and 4-11 of FAA AC 43.13-1B.

AC 43.13-1B (9/8/98, change 1 of 9/27/01), pages 4-37 to 4-39: 2117-T4 (AD) protruding-head rivets or
AN-3 bolts at each side of a splice, by thickness of the sheet. Thickness and diameters are in inches,
as printed. The same numbers follow from shear and bearing (`count_by_formula`), which checks the data;
two printed cells do not follow (`MISFITS`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

from corrosion.terms import SpliceFastener, SpliceJoint

Fastener = SpliceFastener
Joint = SpliceJoint
DOCUMENT = "FAA AC 43.13-1B (9/8/98, chg 1)"


NOMINAL_IN = MappingProxyType(
    {
        Fastener.RIVET_3_32: 3 / 32,
        Fastener.RIVET_1_8: 1 / 8,
        Fastener.RIVET_5_32: 5 / 32,
        Fastener.RIVET_3_16: 3 / 16,
        Fastener.RIVET_1_4: 1 / 4,
        # AN-3 is a 3/16 in bolt of 0.190 in shank (common practice, no source).
        Fastener.BOLT_AN3: 0.190,
    }
)
HOLE_IN = MappingProxyType(
    {
        # Hole diameters that make the formula fit the tables.
        Fastener.RIVET_3_32: 0.096,
        Fastener.RIVET_1_8: 0.1285,
        Fastener.RIVET_5_32: 0.159,
        Fastener.RIVET_3_16: 0.191,
        Fastener.RIVET_1_4: 0.257,
        Fastener.BOLT_AN3: 0.190,
    }
)


SHARE = MappingProxyType(
    {Joint.SHEET: 1.0, Joint.UPPER_STRINGER: 0.8, Joint.INTERMEDIATE_FRAME: 0.6, Joint.SINGLE_LAP: 0.75}
)
"""Notes a (80 %), b (60 %) and c (75 %) of Tables 4-9 to 4-11."""


@dataclass(frozen=True)
class SpliceTable:
    """One table.

    Attributes
    ----------
    number : str
    page : str
    alloys : str
        As printed.
    cells : dict of (thickness in inches, Fastener) to float
        Fasteners per inch of width; what is not printed is not in it.
    shear, bearing : float
        Ratios ks and kb of fastener shear and bearing strength to the sheet's tensile strength in the
        formula. Table 4-10 prints no ks and 4-11 prints 160 % for kb; 0.50 and 1.65 fit their numbers.
    bolt_tension : float or None
        Sheet strength, psi, of the formula's bolt column; None where it has no thickness-bound term.
    """

    number: str
    page: str
    alloys: str
    cells: dict[tuple[float, Fastener], float]
    shear: float
    bearing: float
    bolt_tension: float | None

    @property
    def source(self) -> str:
        """Document, table and page."""
        return f"{DOCUMENT}, Table {self.number}, p. {self.page}"

    @property
    def thicknesses(self) -> list[float]:
        """Thicknesses of the rows, inches, rising."""
        return sorted({thickness for thickness, _ in self.cells})


def _cells(text: str) -> dict[tuple[float, Fastener], float]:
    rows = [line.split() for line in text.strip().splitlines()]
    return {
        (float(row[0]), fastener): float(cell)
        for row in rows
        for fastener, cell in zip(Fastener, row[1:], strict=True)
        if cell != "-"
    }


TABLE_4_9 = SpliceTable(
    number="4-9",
    page="4-37",
    alloys="2014-T6, 2024-T3, 2024-T36 and 7075-T6, bare and clad",
    cells=_cells("""
        .016  6.5  4.9  -    -    -   -
        .020  6.9  4.9  3.9  -    -   -
        .025  8.6  4.9  3.9  -    -   -
        .032 11.1  6.2  3.9  3.3  -   -
        .036 12.5  7.0  4.5  3.3  2.4 -
        .040 13.8  7.7  5.0  3.5  2.4 3.3
        .051  -    9.8  6.4  4.5  2.5 3.3
        .064  -   12.3  8.1  5.6  3.1 3.3
        .081  -    -   10.2  7.1  3.9 3.3
        .091  -    -   11.4  7.9  4.4 3.3
        .102  -    -   12.8  8.9  4.9 3.4
        .128  -    -    -   11.2  6.2 3.2
    """),
    shear=0.40,
    bearing=1.60,
    bolt_tension=70_000.0,
)
TABLE_4_10 = SpliceTable(
    number="4-10",
    page="4-38",
    alloys="2017, 2017 ALCLAD, 2024-T3 ALCLAD",
    cells=_cells("""
        .016  6.5  4.9  -    -    -   -
        .020  6.5  4.9  3.9  -    -   -
        .025  6.9  4.9  3.9  -    -   -
        .032  8.9  4.9  3.9  3.3  -   -
        .036 10.0  5.6  3.9  3.3  2.4 -
        .040 11.1  6.2  4.0  3.3  2.4 -
        .051  -    7.9  5.1  3.6  2.4 3.3
        .064  -    9.9  6.5  4.5  2.5 3.3
        .081  -   12.5  8.1  5.7  3.1 3.3
        .091  -    -    9.1  6.3  3.5 3.3
        .102  -    -   10.3  7.1  3.9 3.3
        .128  -    -   12.9  8.9  4.9 3.3
    """),
    shear=0.50,
    bearing=1.60,
    bolt_tension=55_000.0,
)
TABLE_4_11 = SpliceTable(
    number="4-11",
    page="4-39",
    alloys="5052, all hardnesses",
    cells=_cells("""
        .016  6.3  4.7  -    -    -   -
        .020  6.3  4.7  3.8  -    -   -
        .025  6.3  4.7  3.8  -    -   -
        .032  6.3  4.7  3.8  3.2  -   -
        .036  7.1  4.7  3.8  3.2  2.4 -
        .040  7.9  4.7  3.8  3.2  2.4 -
        .051 10.1  5.6  3.8  3.2  2.4 -
        .064 12.7  7.0  4.6  3.2  2.4 -
        .081  -    8.9  5.8  4.0  2.4 3.2
        .091  -   10.0  6.5  4.5  2.5 3.2
        .102  -   11.2  7.3  5.1  2.8 3.2
        .128  -    -    9.2  6.4  3.5 3.2
    """),
    shear=0.70,
    bearing=1.65,
    bolt_tension=None,
)
TABLES = (TABLE_4_9, TABLE_4_10, TABLE_4_11)

MISFITS = frozenset({("4-9", 0.032, Fastener.RIVET_5_32), ("4-9", 0.128, Fastener.BOLT_AN3)})
"""Printed cells that the formula does not give: 3.9 for 4.03, and 3.2 for 4.21. Neither is corrected in
the data; where one is used, the larger of cell and formula counts."""

BOLT_LB = 2126.0
"""Shear strength of an AN-3 bolt, pounds, in the formula."""


def count_by_formula(table: SpliceTable, thickness_in: float, fastener: Fastener) -> float:
    """Fasteners per inch from shear and bearing: max(t / (ks pi/4 d^2), 1 / (kb d)), d the hole.

    For bolts the shear term is t Ftu / 2126 lb.
    """
    hole = HOLE_IN[fastener]
    bearing = 1.0 / (table.bearing * hole)
    if fastener is Fastener.BOLT_AN3:
        tension = table.bolt_tension
        return bearing if tension is None else max(bearing, thickness_in * tension / BOLT_LB)
    return max(thickness_in / (table.shear * math.pi / 4.0 * hole**2), bearing)


def tables_for(material: str) -> tuple[SpliceTable, ...]:
    """Tables that cover an alloy named like ``2024-T3 clad``; none, one or two.

    2024-T3 clad stands in both Table 4-9 and Table 4-10. A temper that is not printed has no table; 5052
    has one for every temper, 2017 likewise.
    """
    words = material.upper().replace("ALCLAD", "CLAD").split()
    name, clad = (words[0] if words else ""), "CLAD" in words[1:]
    found = []
    if name in {"2014-T6", "2024-T3", "2024-T36", "7075-T6"}:
        found.append(TABLE_4_9)
    if name.split("-")[0] == "2017" or (name == "2024-T3" and clad):
        found.append(TABLE_4_10)
    if name.split("-")[0] == "5052":
        found.append(TABLE_4_11)
    return tuple(found)
