"""The raster of the map shows the very sums that the ledger gives."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from api.pages.grid import MOST_POINTS, STEP_MM, colour_ramp, removal_patches
from corrosion.model import parse_survey
from corrosion.removal import MemberRemoval
from corrosion.survey import assess, member_removal
from corrosion.terms import Face
from tests.api.samples import STRUCTURE


def removal_of(*entries: dict[str, Any]) -> MemberRemoval:
    """Sum some records on the skin of the sample structure: 900 x 400 mm, limit 0.102 mm."""
    head = {"format": "corrosion-survey", "version": 1, "units": "mm", "structure": STRUCTURE}
    return member_removal(assess(parse_survey(head | {"removals": list(entries)})), "SK1")


def record(
    identifier: str, face: str, centre: tuple[float, float], radius: float, depth: float
) -> dict[str, Any]:
    """Make a flat, round removal."""
    return {
        "id": identifier,
        "member": "SK1",
        "face": face,
        "footprint": {"type": "Circle", "center": list(centre), "radius": radius},
        "depth": {"value": depth, "u": 0.001},
        "measured_from": "original",
    }


def test_every_cell_is_the_sum_at_its_middle() -> None:
    """Each cell is what the ledger says at its middle, to 1e-5 mm; 0.04 and 0.05 mm add up to 0.09 mm."""
    removal = removal_of(
        record("R1", "outer", (300, 200), 20, 0.04), record("R2", "inner", (315, 205), 15, 0.05)
    )
    (patch,) = removal_patches(removal, None)
    west, south, east, north = patch["extent"]
    cell = (east - west) / patch["columns"]
    assert (north - south) / patch["rows"] == pytest.approx(cell)
    for index in range(0, patch["columns"] * patch["rows"], 997):
        column, row = index % patch["columns"], index // patch["columns"]
        place = (west + (column + 0.5) * cell, north - (row + 0.5) * cell)
        shown = patch["removed"][index] * STEP_MM
        assert shown == pytest.approx(removal.spot(place).removed.value, abs=0.6 * STEP_MM)
    assert max(patch["removed"]) == 9000


def test_one_face_alone() -> None:
    """A face's raster holds that face's removal only, against the same limit."""
    removal = removal_of(
        record("R1", "outer", (300, 200), 20, 0.04), record("R2", "inner", (300, 200), 20, 0.05)
    )
    (outer,) = removal_patches(removal, Face.OUTER)
    assert max(outer["removed"]) == 4000
    assert outer["limit"] == pytest.approx(0.102, rel=1e-12)


def test_far_removals_have_rasters_of_their_own() -> None:
    """Two dishes 700 mm apart cost two small rasters, not one over the whole member."""
    patches = removal_patches(
        removal_of(record("R1", "outer", (100, 200), 5, 0.04), record("R2", "outer", (800, 200), 5, 0.04)),
        None,
    )
    assert len(patches) == 2
    assert all(patch["extent"][2] - patch["extent"][0] < 11 for patch in patches)
    assert sum(patch["columns"] * patch["rows"] for patch in patches) <= MOST_POINTS


def test_cells_off_the_member_are_empty() -> None:
    """Where a footprint leaves the member there is no metal and so no number."""
    (patch,) = removal_patches(removal_of(record("R1", "outer", (0, 200), 20, 0.04)), None)
    removed = np.array(patch["removed"]).reshape(patch["rows"], patch["columns"])
    assert (removed[:, : patch["columns"] // 2 - 1] == -1).all()
    assert (removed[:, patch["columns"] // 2 + 1 :] >= 0).all()
    assert patch["verdict"][0] == "-"


def test_limits_that_differ_are_given_cell_by_cell() -> None:
    """Across the edge of a limit zone each cell has the limit at its place: 0.05 or 0.102 mm."""
    (patch,) = removal_patches(removal_of(record("R1", "outer", (300, 20), 10, 0.04)), None)
    assert sorted(set(patch["limit"])) == [0.05, 0.102]
    # The zone ends at offset 20 mm: the upper half of the raster lies beyond it.
    assert patch["limit"][0] == 0.102
    assert patch["limit"][-1] == 0.05


def test_the_ramp_grows_lighter_all_the_way() -> None:
    """Lightness (Rec. 709 luma) rises with the value, so the ramp reads without colour vision."""
    luma = np.array(colour_ramp()) @ np.array([0.2126, 0.7152, 0.0722])
    assert np.all(np.diff(luma) > 0)
