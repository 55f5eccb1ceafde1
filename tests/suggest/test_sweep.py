"""One sweep proposes pits and leaves alone what is none."""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.errors import MarkError
from corrosion.suggest import sweep_pits
from tests.suggest.scenes import Scene
from tests.suggest.support import Pixels, overlap


def scene_with(*, pits: bool) -> Scene:
    """Bare metal of 420 x 300 px with scratch, smudge, specks and rivets; pits where asked for."""
    scene = Scene(420, 300, 77)
    scene.specks(15, 7).smudge((330.0, 70.0), 30.0).scratch((20.0, 20.0), (200.0, 130.0), 0.5)
    for k in range(3):
        scene.rivet((60.0 + 110 * k, 255.0), 18.0)
    if pits:
        scene.pit((110.0, 150.0), 20.0, product=0.2).pit((280.0, 160.0), 26.0, product=0.1)
    return scene


@pytest.fixture(scope="module")
def pitted() -> tuple[Pixels, list[np.ndarray]]:
    """Picture and true outlines."""
    scene = scene_with(pits=True)
    return scene.shoot(), scene.pits


def test_pits_are_proposed_and_the_rest_is_not(pitted: tuple[Pixels, list[np.ndarray]]) -> None:
    """Both pits are found; scratch, smudge, specks and rivets bring at most one false proposal."""
    pixels, truth = pitted
    found = sweep_pits(pixels)
    best = [max(overlap(s.outline_px, t) for s in found) for t in truth]
    assert min(best) > 0.6
    assert len(found) <= len(truth) + 1
    assert [s.score for s in found] == sorted((s.score for s in found), reverse=True)


def test_metal_without_pits_stays_nearly_empty() -> None:
    """Scratch, smudge, specks and rivets alone give at most two proposals (design floor)."""
    assert len(sweep_pits(scene_with(pits=False).shoot())) <= 2


def test_a_region_bounds_the_search(pitted: tuple[Pixels, list[np.ndarray]]) -> None:
    """Only pits whose middle lies in the region are proposed, in coordinates of the whole picture."""
    pixels, truth = pitted
    # The pit is a sixth of this small picture across; by default an eighth is the most looked for.
    found = sweep_pits(pixels, [(200, 80), (370, 80), (370, 230), (200, 230)], largest_px=80.0)
    assert found
    assert all(200 <= s.outline_px[:, 0].mean() <= 370 for s in found)
    assert max(overlap(s.outline_px, truth[1]) for s in found) > 0.6
    assert max(overlap(s.outline_px, truth[0]) for s in found) == 0.0


def test_what_is_left_out_is_not_searched(pitted: tuple[Pixels, list[np.ndarray]]) -> None:
    """A rule or card covers metal: nothing is proposed on it."""
    pixels, truth = pitted
    cover = np.array([[50, 90], [170, 90], [170, 210], [50, 210]], dtype=float)
    found = sweep_pits(pixels, leave_out=[cover])
    assert all(overlap(s.outline_px, truth[0]) < 0.1 for s in found)
    whole = np.array([[-9, -9], [500, -9], [500, 400], [-9, 400]], dtype=float)
    assert sweep_pits(pixels, leave_out=[whole]) == []


def test_a_constant_picture_has_no_pits() -> None:
    """Nothing seen, nothing proposed."""
    assert sweep_pits(np.full((200, 260, 3), 140, np.uint8)) == []


def test_a_picture_smaller_than_a_pit_is_no_error() -> None:
    """A thumbnail has room for no pit."""
    assert sweep_pits(np.full((9, 9), 140, np.uint8)) == []


@pytest.mark.parametrize(
    "region", [[(0, 0), (5, 5)], [(900, 900), (950, 900), (950, 950)], [(np.nan, 0)] * 3]
)
def test_a_region_of_nothing_is_refused(region: list[tuple[float, float]]) -> None:
    """Two corners, or a place off the picture, is not searched in silence."""
    with pytest.raises(MarkError, match="encloses nothing"):
        sweep_pits(np.full((100, 100), 140, np.uint8), region)


def test_no_two_proposals_are_one_pit(pitted: tuple[Pixels, list[np.ndarray]]) -> None:
    """Outlines proposed together do not lie in one another."""
    found = sweep_pits(pitted[0], least_score=0.2)
    for number, first in enumerate(found):
        for second in found[number + 1 :]:
            assert overlap(first.outline_px, second.outline_px) < 0.4
