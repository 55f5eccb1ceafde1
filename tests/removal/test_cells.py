"""Cells: as fine as what lies there asks for, and no finer."""

import math

import numpy as np
import pytest

from corrosion.removal.cells import CELLS_ACROSS
from tests.bench import Bench

PLATE = {"type": "Polygon", "coordinates": [[[0, 0], [900, 0], [900, 400], [0, 400], [0, 0]]]}


def test_a_pinhead_on_a_polished_plate_costs_what_the_pinhead_costs() -> None:
    """A 2 mm dish on a plate-wide removal is cut finely, the rest of the plate is not."""
    bench = Bench().remove(0.01, footprint=PLATE, date="2029-01-01")
    dish = {"type": "Circle", "center": [450.3, 200.7], "radius": 1.0}
    bench.remove(0.05, footprint=dish, profile="dished", measured_from="current", date="2031-01-01")
    result = bench.assess()
    cells = result.removal.cells
    assert cells is not None
    near = np.hypot(*(cells.centres - [450.3, 200.7]).T) < 1.0
    assert cells.side[near].max() <= 2.0 / CELLS_ACROSS * math.sqrt(2.0)
    # With one size for all, the plate alone would take 900 x 400 / 0.1^2 = 36 million.
    assert len(cells.centres) < 5_000
    # No gap and no overlap: the cells on the plate are the plate.
    looked = result.removal.looked
    assert looked is not None
    assert float(np.sum(looked.side**2)) == pytest.approx(900 * 400, rel=0.05)
    # Closed form: the plate's flat removal and half of the dish's depth times its area on top.
    expected = 0.01 * 900 * 400 + 0.05 * math.pi / 2.0
    assert result.summary.removed_volume_mm3.value == pytest.approx(expected, rel=0.05)


def test_a_scratch_askew_is_seen_by_the_cells() -> None:
    """A flat scratch of 100 x 1 mm at 45 degrees has its area over the limit, to a cell of ten across."""
    half, wide = 50.0 / math.sqrt(2.0), 0.5 / math.sqrt(2.0)
    ring = [
        [450 + s * half - t * wide, 200 + s * half + t * wide]
        for s, t in [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    ]
    result = Bench().remove(0.15, footprint={"type": "Polygon", "coordinates": [ring]}).assess()
    assert result.summary.over_area_mm2 == pytest.approx(100.0, rel=0.1)
    # A cut across it is sqrt(2) mm long: 0.15 mm of metal along it.
    loss = max(cut.lost_mm2 for cut in result.summary.section_losses)
    assert loss == pytest.approx(0.15 * math.sqrt(2.0), rel=0.15)
