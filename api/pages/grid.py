"""The removal of a member as rasters over the marked area only."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from corrosion.opencv import cv2
from corrosion.quantity import FloatArray
from corrosion.removal import MemberRemoval
from corrosion.terms import Face

MOST_ACROSS = 160
MOST_POINTS = 200_000
LEAST_CELL_MM = 0.05
RAMP_STEPS = 64
STEP_MM = 1e-5
LIMIT_DECIMALS = 6

Patch = dict[str, Any]


def removal_patches(removal: MemberRemoval, face: Face | None) -> list[Patch]:
    """Sum the removals on one raster per group of touching entries.

    Parameters
    ----------
    removal : MemberRemoval
    face : Face or None
        Only this face's own removal; None for the sum of both.

    Returns
    -------
    list of dict
        ``extent`` (station and offset of two corners, mm), ``columns``, ``rows``, and row by row from
        the largest offset down: ``removed`` in units of `STEP_MM` (-1 off the member), ``limit`` in mm
        (None where none is set; one value alone where all are equal), ``verdict`` as one digit a cell,
        an index into ``terms.VERDICT_ORDER`` (``-`` off the member).
    """
    boxes = list(_boxes(removal))
    share = max(1, len(boxes))
    across = min(MOST_ACROSS, max(8, math.isqrt(MOST_POINTS // share)))
    return [_patch(removal, box, across, face) for box in boxes]


def _boxes(removal: MemberRemoval) -> Iterator[FloatArray]:
    bounds = np.array([entry.footprint.bounds for entry in removal.entries]).reshape(-1, 4)
    for label in np.unique(removal.labels):
        mine = bounds[removal.labels == label]
        yield np.concatenate([mine[:, :2].min(axis=0), mine[:, 2:].max(axis=0)])


def _patch(removal: MemberRemoval, box: FloatArray, across: int, face: Face | None) -> Patch:
    low, high = box[:2], box[2:]
    cell = max(float((high - low).max()) / across, LEAST_CELL_MM)
    columns, rows = (max(1, math.ceil(side / cell)) for side in (high - low))
    station = low[0] + (np.arange(columns) + 0.5) * cell
    offset = low[1] + (np.arange(rows)[::-1] + 0.5) * cell
    points = np.stack(np.meshgrid(station, offset), axis=-1).reshape(-1, 2)
    found = removal.field(points, face=face)
    inside = removal.layout.contains(points)
    return {
        "extent": [
            float(low[0]),
            float(low[1]),
            float(low[0] + columns * cell),
            float(low[1] + rows * cell),
        ],
        "columns": columns,
        "rows": rows,
        "removed": np.where(inside, np.round(found.removed / STEP_MM), -1).astype(int).tolist(),
        "limit": _limits(found.limit[inside], found.limit),
        "verdict": "".join(
            str(int(code)) if here else "-" for code, here in zip(found.verdict, inside, strict=True)
        ),
    }


def _limits(on_member: FloatArray, everywhere: FloatArray) -> float | list[float | None] | None:
    """Return one limit where it is the same all over, else a list."""
    known = np.unique(on_member)
    if len(known) == 1:
        return None if np.isnan(known[0]) else float(known[0])
    return [None if np.isnan(value) else round(float(value), LIMIT_DECIMALS) for value in everywhere]


def colour_ramp() -> list[list[int]]:
    """Return the ramp from little to much: cividis, made for readers with any colour vision."""
    steps = np.linspace(0, 255, RAMP_STEPS).astype(np.uint8)[:, None]
    coloured = cv2.applyColorMap(steps, cv2.COLORMAP_CIVIDIS)[:, 0, ::-1]
    return [[int(part) for part in colour] for colour in coloured]
