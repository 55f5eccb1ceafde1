"""The net and the trees that judge rims: their files, their forms, and what they must not depend on."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

from corrosion.suggest._evidence import NAMES
from corrosion.suggest._features import lab
from corrosion.suggest._net import STRIDE, pit_likeness
from corrosion.suggest._weights import Asked, expected_overlap, table_of
from tests.suggest.support import CLICK, one_pit


def test_the_trees_ask_and_answer_as_their_table_says() -> None:
    """Of two hand-made trees each adds the answer its questions lead to; an equal value goes left."""
    asked = np.array([0, 1, 1, 2, 2, 2, 2.0])
    level = np.array([0.5, 0.2, 0.8, 0.0, 0.0, 0.0, 0.0])
    table = np.array([
        [*asked, *level, *np.arange(8) / 100],
        [*np.zeros(7), *np.full(7, 9.0), 0.5, *np.ones(7)],
    ])  # fmt: skip
    rows = np.zeros((4, len(NAMES)))
    rows[:, :3] = [[0.5, 0.2, 0.0], [0.5, 0.3, 0.1], [0.6, 0.8, 0.1], [0.6, 0.9, 0.1]]
    assert expected_overlap(rows, table) == pytest.approx([0.50, 0.53, 0.55, 0.57])


@pytest.mark.parametrize("asked", list(Asked))
def test_the_tables_of_trees_are_whole(asked: Asked) -> None:
    """Every question names a piece of evidence, and the expectation stays between 0 and 1."""
    table = table_of(asked)
    questions = (table.shape[1] - 1) // 3
    assert table.shape[1] == 3 * questions + 1
    assert (questions + 1).bit_count() == 1
    assert set(np.unique(table[:, :questions])) <= set(range(len(NAMES)))
    rows = np.random.default_rng(2).uniform(-1, 1, (500, len(NAMES)))
    expected = expected_overlap(rows, table)
    assert ((expected >= 0) & (expected <= 1)).all()
    assert np.ptp(expected) > 0.05


def test_the_net_is_small_and_of_this_shape() -> None:
    """Weights stay under 800 kB; likeness has the picture's size, whatever that is."""
    assert len(files("corrosion.suggest").joinpath("pit_net.onnx").read_bytes()) < 800_000
    for shape in ((40, 57), (64, 64), (17, 130)):
        likeness = pit_likeness(np.full((*shape, 3), 50.0, np.float32))
        assert likeness.shape == shape
        assert ((likeness >= 0) & (likeness <= 1)).all()


def test_the_net_sees_a_drawn_pit_where_it_is() -> None:
    """Inside a drawn pit the likeness is twice that of the metal round it and more."""
    pixels, _ = one_pit()
    likeness = pit_likeness(lab(pixels))
    y, x = np.mgrid[: pixels.shape[0], : pixels.shape[1]]
    far = np.hypot(x - CLICK[0], y - CLICK[1])
    assert likeness[far < 12].mean() > 2 * likeness[far > 45].mean()


def test_whole_strides_move_the_likeness_along() -> None:
    """Cutting off a margin of whole strides moves the answer by that, away from the border."""
    pixels, _ = one_pit()
    level = lab(pixels)
    whole, cut = pit_likeness(level), pit_likeness(level[STRIDE:, 2 * STRIDE :])
    inner = np.s_[STRIDE + 80 : 160, 2 * STRIDE + 80 : 200]
    moved = np.s_[80 : 160 - STRIDE, 80 : 200 - 2 * STRIDE]
    # The net's view reaches about 95 px either way: a margin of 80 leaves little of the border's doing.
    assert whole[inner] == pytest.approx(cut[moved], abs=0.1)
