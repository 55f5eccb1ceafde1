"""Finding boards in pictures."""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.calibrate import Board, find_board
from corrosion.errors import LensError
from corrosion.opencv import cv2
from tests.calibrate.boards import BOARD, BORESCOPE, grid, placed, pose_of, rendered

MARKED = Board(6, 5, 8.0, marker_mm=6.0, dictionary="4x4_50")


def test_chessboard_corners_are_where_they_are() -> None:
    """Corners of a rendered borescope picture are found to half a pixel, in the order of the board."""
    rng = np.random.default_rng(8)
    pose = pose_of(rng, BORESCOPE, margin_px=30.0)
    found = find_board(rendered(BORESCOPE, *pose), BOARD, "one")
    assert found is not None
    assert found.name == "one"
    true = BORESCOPE.see(placed(grid(), *pose))
    # A chessboard looks the same turned by half a turn; a lens profile does not mind.
    apart = min(np.abs(found.image_px - true).max(), np.abs(found.image_px - true[::-1]).max())
    assert apart < 0.5
    assert np.ptp(found.board_mm, axis=0) == pytest.approx([40.0, 25.0])


def test_a_board_with_markers_may_be_seen_in_part() -> None:
    """Half of a board with markers gives the corners that are seen, each with its place on the board."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    printed = cv2.aruco.CharucoBoard((6, 5), 8.0, 6.0, dictionary).generateImage((480, 400))
    canvas = np.full((480, 640), 255, dtype=np.uint8)
    matrix = np.array([[1.0, 0.1, 30.0], [-0.05, 0.95, 60.0], [1e-4, 5e-5, 1.0]])
    cv2.warpPerspective(printed, matrix, (640, 480), canvas, borderMode=cv2.BORDER_TRANSPARENT)
    whole = find_board(canvas, MARKED)
    half = find_board(np.ascontiguousarray(canvas[:, :300]), MARKED)
    assert whole is not None
    assert half is not None
    assert len(whole.image_px) == 20
    assert 8 <= len(half.image_px) < 20
    for found in (whole, half):
        # 80 px on the printed picture are 8 mm; its pixel centres lie half a pixel inside.
        on_print = np.column_stack([10.0 * found.board_mm - 0.5, np.ones(len(found.board_mm))]) @ matrix.T
        assert found.image_px == pytest.approx(on_print[:, :2] / on_print[:, 2:], abs=0.5)


def test_no_board_is_no_view() -> None:
    """A picture without a board gives nothing, for either kind of board."""
    grey = np.full((240, 320), 128, dtype=np.uint8)
    assert find_board(grey, BOARD) is None
    assert find_board(grey, MARKED) is None


def test_impossible_boards_are_refused() -> None:
    """Too few corners, markers larger than squares and unknown dictionaries are named as such."""
    with pytest.raises(LensError, match="2 x 6 corners"):
        Board(2, 6, 5.0)
    with pytest.raises(LensError, match="markers of 9 mm do not fit"):
        Board(6, 5, 8.0, marker_mm=9.0)
    with pytest.raises(LensError, match="'4x5_9'"):
        find_board(
            np.zeros((100, 100), dtype=np.uint8), Board(6, 5, 8.0, marker_mm=6.0, dictionary="4x5_9")
        )
