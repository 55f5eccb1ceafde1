"""Calibration from OpenCV's own thirteen photos, against the figures OpenCV's test expects.

Photos ``left01.jpg`` to ``left14.jpg`` (there is no 10) of the Debian package ``opencv-doc``; expected
figures: OpenCV, ``modules/python/test/test_calibration.py`` (rms 0.1963 +- 0.01, camera matrix to 10 px
in sum, five coefficients).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from api.cli_lens import lens
from corrosion.calibrate import Binding, Board, BoardView, Calibration, calibrate_lens, find_board
from corrosion.errors import LensError
from corrosion.model import LensProfile
from corrosion.photo import load_picture
from tests.published.test_chessboard_photos import FOLDER, NUMBERS
from tests.support import need

BOARD = Board(9, 6, 25.0)


def photos() -> list[Path]:
    found = [FOLDER / f"left{number:02d}.jpg" for number in NUMBERS]
    need(all(path.is_file() for path in found), "needs the photos of Debian package opencv-doc, unpacked")
    return found


@pytest.fixture(scope="module")
def views() -> list[BoardView]:
    found = [find_board(load_picture(path).grey, BOARD, path.name) for path in photos()]
    assert None not in found
    return [view for view in found if view is not None]


@pytest.fixture(scope="module")
def calibration(views: list[BoardView]) -> Calibration:
    return calibrate_lens(views, (640, 480), Binding("left"), partial=True)


def test_five_coefficients_are_the_published_ones(calibration: Calibration) -> None:
    """With OpenCV's five coefficients: its rms to 0.01 px, its matrix to 10 px in sum, its k1 to 0.01."""
    fit = next(f for f in calibration.candidates if f.model == "pinhole" and len(f.parameters) == 9)
    assert fit.rms_px == pytest.approx(0.196334638034, abs=0.01)
    published = [532.80992189, 532.93346422, 342.4952186, 233.8879292]
    assert np.abs(fit.parameters[:4] - published).sum() < 10
    assert fit.parameters[4] == pytest.approx(-0.281325576, abs=0.01)


def test_published_values_lie_within_the_covariance(calibration: Calibration) -> None:
    """OpenCV's values from other corners of the same photos are no further off than 3 standard errors."""
    fit = next(f for f in calibration.candidates if f.model == "pinhole" and len(f.parameters) == 9)
    published = np.array(
        [532.80992189, 532.93346422, 342.4952186, 233.8879292, -0.281325576, 0.0291130406, 0.0012123433,
         -0.000140825372, 0.154865844]
    )  # fmt: skip
    u = np.sqrt(np.diag(fit.covariance))
    assert (np.abs(fit.parameters - published) < 3 * u).all()


def test_an_ordinary_camera_is_a_pinhole(calibration: Calibration) -> None:
    """The evidence takes the pinhole model for this camera, and no view stands out."""
    assert calibration.profile.model == "pinhole"
    rms = [view.rms_px for view in calibration.views]
    assert max(rms) < 2 * float(np.median(rms))


def test_boards_of_these_photos_do_not_fill_the_frame(views: list[BoardView]) -> None:
    """The boards cover less than half of the frame, so only a partial profile may be made of them."""
    with pytest.raises(LensError, match=r"covers 4\d% of the frame"):
        calibrate_lens(views, (640, 480), Binding("left"))


def test_the_command_writes_a_profile(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`corrosion lens` shows every view, the models and the coverage, and writes a readable profile."""
    out = tmp_path / "lens.json"
    lens(photos(), "9x6", 25.0, "camera 1", out, name="left", nearest=150.0, furthest=500.0, partial=True)
    written = LensProfile.model_validate_json(out.read_text(encoding="utf-8"))
    assert (written.id, written.device, written.views) == ("left", "camera 1", 13)
    assert written.distance_range == (150.0, 500.0)
    shown = capsys.readouterr().out
    assert all(path.name in shown for path in photos())
    for word in ("RMS px", "fisheye", "covered", "Written to"):
        assert word in shown


@pytest.mark.parametrize(
    ("board", "more", "said"),
    [
        ("nine by six", {}, "'nine by six' cannot be read"),
        ("9x6", {"nearest": 5.0}, "no range"),
        ("9x6", {"nearest": 5.0, "furthest": 2.0}, "no range"),
    ],
)
def test_the_command_refuses_what_it_cannot_read(
    tmp_path: Path, board: str, more: dict[str, float], said: str
) -> None:
    """A board or range that makes no sense is an error before any photo is read."""
    with pytest.raises(LensError, match=said):
        lens([tmp_path / "none.jpg"], board, 25.0, "camera 1", tmp_path / "lens.json", **more)
