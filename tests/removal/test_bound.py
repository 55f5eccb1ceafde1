"""The stated error of the deepest sum holds for any set of removals."""

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.bench import Bench

removal = st.fixed_dictionaries(
    {
        "face": st.sampled_from(["outer", "inner"]),
        "profile": st.sampled_from(["dished", "faired"]),
        "run_out": st.just({"per_side": 10}),
        "measured_from": st.sampled_from(["original", "current"]),
        "depth": st.floats(0.005, 0.08),
        "footprint": st.fixed_dictionaries(
            {
                "type": st.just("Ellipse"),
                "center": st.tuples(st.floats(400, 440), st.floats(180, 220)),
                "semi_axes": st.tuples(st.floats(3, 30), st.floats(3, 30)),
                "angle_deg": st.floats(0, 180),
            }
        ),
    }
)


@settings(max_examples=25, deadline=None)
@given(st.lists(removal, min_size=1, max_size=6))
def test_nothing_deeper_than_found_plus_bound(removals: list[dict[str, Any]]) -> None:
    """No place of a dense grid is deeper than the deepest found plus the stated bound."""
    bench = Bench()
    for changes in removals:
        bench.remove(**changes)
    result = bench.assess()
    x, y = np.meshgrid(np.arange(370, 470, 0.5), np.arange(150, 250, 0.5))
    field = result.removal.field(np.column_stack([x.ravel(), y.ravel()]))
    assert result.summary.deepest is not None
    deepest = result.summary.deepest.removed.value
    assert field.removed.max() <= deepest + result.summary.cell_error_mm + 1e-9
    # The bound is worth having: a few per cent of the depths at hand.
    assert result.summary.cell_error_mm <= 0.05 * sum(r["depth"] for r in removals)


@settings(max_examples=12, deadline=None)
@given(st.lists(removal, min_size=1, max_size=5))
def test_volume_agrees_with_a_dense_grid(removals: list[dict[str, Any]]) -> None:
    """The volume is that of a dense grid, to the grids' own error at the outlines."""
    bench = Bench()
    for changes in removals:
        bench.remove(**changes)
    result = bench.assess()
    x, y = np.meshgrid(np.arange(365.25, 475, 0.5), np.arange(145.25, 255, 0.5))
    dense = result.removal.field(np.column_stack([x.ravel(), y.ravel()])).removed.sum() * 0.25
    total_depth = sum(r["depth"] for r in removals)
    # Half a dense cell along outlines of up to 190 mm, where dished and faired profiles are shallow.
    slack = 0.03 * dense + total_depth * 1.0
    assert abs(result.summary.removed_volume_mm3.value - dense) <= slack
