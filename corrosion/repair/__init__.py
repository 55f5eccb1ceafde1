"""Reinforcement estimates for hours and kits; never approved data."""

from corrosion.repair.planned import PlannedReinforcement, planned_reinforcements
from corrosion.repair.splice import (
    LABEL,
    SpliceEstimate,
    counts,
    estimate_splice,
    handbook_count,
    least_pitch_diameters,
)
from corrosion.repair.splice_tables import (
    MISFITS,
    TABLE_4_9,
    TABLE_4_10,
    TABLE_4_11,
    TABLES,
    Fastener,
    Joint,
    SpliceTable,
    count_by_formula,
    tables_for,
)

__all__ = [
    "LABEL",
    "MISFITS",
    "TABLES",
    "TABLE_4_9",
    "TABLE_4_10",
    "TABLE_4_11",
    "Fastener",
    "Joint",
    "PlannedReinforcement",
    "SpliceEstimate",
    "SpliceTable",
    "count_by_formula",
    "counts",
    "estimate_splice",
    "handbook_count",
    "least_pitch_diameters",
    "planned_reinforcements",
    "tables_for",
]
