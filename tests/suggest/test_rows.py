"""Fasteners in rows, and outlines that the net leads to."""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.suggest import sweep_pits
from corrosion.suggest._alike import alike
from corrosion.suggest._features import PIT, Features
from corrosion.suggest._polar import RAYS
from corrosion.suggest._rows import in_rows
from tests.suggest.scenes import Scene
from tests.suggest.support import overlap


def test_a_row_of_one_size_is_seen_with_some_of_it_missing() -> None:
    """Numbers 0, 1, 3 and 4 of an even row are told, at any slope; a larger thing among them is not."""
    for turn in (0.0, 0.7, 2.0):
        along = np.array([0.0, 100.0, 300.0, 400.0, 200.0])
        middles = np.column_stack([along * np.cos(turn), along * np.sin(turn)]) + 50.0
        sizes = np.array([20.0, 21.0, 19.5, 20.0, 28.0])
        assert in_rows(middles, sizes).tolist() == [True, True, True, True, False]


@pytest.mark.parametrize(
    ("middles", "sizes"),
    [
        ([[0, 0], [100, 0]], [20, 20]),
        ([[0, 0], [100, 8], [200, 0]], [20, 20, 20]),
        ([[0, 0], [100, 0], [200, 0]], [20, 26, 20]),
        ([[0, 0], [20, 0], [40, 0]], [20, 20, 20]),
        ([[0, 0], [100, 0], [220, 0]], [20, 20, 20]),
    ],
    ids=["two", "off the line", "another size", "touching", "uneven"],
)
def test_what_is_no_row(middles: list[list[float]], sizes: list[float]) -> None:
    """Two things, a bent line, other sizes, a cluster and uneven steps are no rows."""
    assert not in_rows(np.array(middles, float), np.array(sizes, float)).any()


def test_nothing_is_in_no_row() -> None:
    """No things, no rows."""
    assert in_rows(np.zeros((0, 2)), np.zeros(0)).shape == (0,)


def test_scattered_pits_are_seldom_taken_for_a_row() -> None:
    """Of 40 x 30 things of sizes as pits have, scattered over a picture, under one in a hundred."""
    rng = np.random.default_rng(8)
    told = [
        in_rows(rng.uniform(0, [1600, 1200], (30, 2)), np.exp(rng.uniform(np.log(15), np.log(60), 30)))
        for _ in range(40)
    ]
    assert np.mean(told) < 0.01


def test_a_row_of_screws_is_not_proposed() -> None:
    """Six screw heads of one size give no proposal, and the pit beside them is found."""
    scene = Scene(640, 300, 12)
    for k in range(6):
        scene.screw((60.0 + 100 * k, 90.0), 14.0)
    scene.pit((330.0, 210.0), 22.0, product=0.1)
    found = [s.outline_px for s in sweep_pits(scene.shoot())]
    assert max(overlap(outline, scene.pits[0]) for outline in found) > 0.6
    assert not [outline for outline in found if abs(outline[:, 1].mean() - 90.0) < 15.0]


def test_a_region_of_likeness_is_outlined_where_it_is() -> None:
    """A disc of likeness 1 in 0 has its lines within the ramp, in coordinates of the picture."""
    y, x = np.mgrid[:90, :120].astype(float)
    plane = np.zeros((90, 120, PIT + 1), np.float32)
    plane[..., PIT] = np.clip(20.5 - np.hypot(x - 60, y - 40), 0, 1)
    lines = alike(Features((plane,), (1000.0, 500.0)), 5.0, 40.0)
    assert lines.shape == (2, RAYS, 2)
    radii = np.hypot(*(lines - [1060.0, 540.0]).reshape(-1, 2).T)
    assert radii == pytest.approx(20.0, abs=0.5)
    assert len(alike(Features((plane,), (0.0, 0.0)), 25.0, 40.0)) == 0


def test_likeness_at_the_border_is_closed_there() -> None:
    """A region that the border cuts has an outline, along the border."""
    plane = np.zeros((60, 60, PIT + 1), np.float32)
    plane[:30, :30, PIT] = 1.0
    lines = alike(Features((plane,), (0.0, 0.0)), 5.0, 40.0)
    assert len(lines) == 2
    assert lines.min() >= -1.0
    assert lines.max() <= 30.0
