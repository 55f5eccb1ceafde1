"""Reinforcement estimates as JSON and in words. Lengths in the unit people see."""

from __future__ import annotations

from typing import Any

from corrosion.repair import LABEL, PlannedReinforcement, SpliceEstimate
from corrosion.units import LengthUnit, mm_per, show_length


def reinforcements_json(planned: list[PlannedReinforcement], unit: LengthUnit) -> dict[str, Any]:
    """Write estimates as a document; lengths in `unit`, `label` beside every figure."""
    return {"label": LABEL, "units": unit, "reinforcements": [_one(one, unit) for one in planned]}


def _one(planned: PlannedReinforcement, unit: LengthUnit) -> dict[str, Any]:
    asked = planned.asked
    head = {
        "id": asked.id,
        "member": asked.member,
        "fastener": str(asked.fastener),
        "joint": str(asked.joint),
    }
    if planned.estimate is None:
        return head | {"problem": planned.problem, "estimate": None}
    return head | {"problem": None, "estimate": _estimate(planned.estimate, unit)}


def _estimate(found: SpliceEstimate, unit: LengthUnit) -> dict[str, Any]:
    factor = 1.0 / mm_per(unit)
    return {
        "label": found.label,
        "per_side": found.per_side,
        "fasteners": found.fasteners,
        "per_inch": found.per_inch,
        "per_inch_by_formula": found.per_inch_by_formula,
        "rows": found.rows,
        "per_row": found.per_row,
        "pitch": found.pitch_mm * factor,
        "row_spacing": found.row_spacing_mm * factor,
        "edge_distance": found.edge_distance_mm * factor,
        "sheet": [side * factor for side in found.sheet_mm],
        "thickness": found.thickness_mm * factor,
        "rivet_length": found.rivet_length_mm * factor,
        "source": found.table.source,
        "notes": list(found.notes),
    }


def reinforcement_line(planned: PlannedReinforcement, unit: LengthUnit) -> str:
    """Say one estimate in a sentence, or why there is none."""
    asked, found = planned.asked, planned.estimate
    if found is None:
        return f"{asked.id} on {asked.member}: not determined. {planned.problem}"
    coarse, fine = (2, 2) if unit == "in" else (0, 1)
    sheet = " x ".join(show_length(side, unit, decimals=coarse) for side in found.sheet_mm)
    return (
        f"{asked.id} on {asked.member}: {found.per_side} of {asked.fastener} on each side in {found.rows} "
        f"row{'' if found.rows == 1 else 's'} of {found.per_row}, pitch "
        f"{show_length(found.pitch_mm, unit, decimals=fine)}, edge distance "
        f"{show_length(found.edge_distance_mm, unit, decimals=fine)}, sheet {sheet} of "
        f"{show_length(found.thickness_mm, unit)} ({found.table.source})."
    )
