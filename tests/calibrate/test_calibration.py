"""Calibration from boards: the right model, the right numbers, an honest covariance, and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from corrosion.calibrate import Binding, BoardView, Calibration, calibrate_lens, find_board
from corrosion.calibrate.bundle import fit_lens
from corrosion.errors import LensError
from corrosion.lens import distort
from corrosion.model import LensProfile
from tests.calibrate.boards import (
    BOARD,
    BORESCOPE,
    CAMERA,
    SIZE,
    TrueLens,
    grid,
    pixel_rays,
    placed,
    pose_of,
    rendered,
    turn,
    views_of,
)

SIGMA = 0.2


def calibrated(lens: TrueLens, seed: int = 1, count: int = 12) -> Calibration:
    rng = np.random.default_rng(seed)
    return calibrate_lens(views_of(rng, lens, count, SIGMA), SIZE, Binding("probe", "probe 1"))


@pytest.mark.parametrize(
    ("lens", "model"), [(BORESCOPE, "fisheye"), (CAMERA, "pinhole")], ids=["borescope", "camera"]
)
def test_the_evidence_chooses_the_model(lens: TrueLens, model: str) -> None:
    """The model that made the boards is chosen, the others are listed behind it, and its RMS is the noise.

    RMS of the distance is sigma sqrt 2; 1300 residuals scatter it by 2 %, bound 4 of those.
    """
    found = calibrated(lens)
    assert found.profile.model == model
    assert {fit.model for fit in found.candidates} == {"pinhole", "fisheye"}
    others = [fit for fit in found.candidates if fit.model != model]
    assert all(fit.aic > found.candidates[0].aic + 50 for fit in others)
    assert found.profile.rms_px == pytest.approx(SIGMA * math.sqrt(2), rel=0.08)
    assert len(found.profile.distortion) == 4


@pytest.mark.parametrize("lens", [BORESCOPE, CAMERA], ids=["borescope", "camera"])
def test_covariance_is_that_of_the_parameters(lens: TrueLens) -> None:
    """Over 15 calibrations, the squared error in units of the covariance averages its 8 degrees of freedom.

    Chi squared with 120 degrees in all has a standard deviation of 15.5: bound 3.3 of those.
    """
    rng = np.random.default_rng(11)
    truth = np.array([*lens.matrix, *lens.k])
    squares = 0.0
    for _ in range(15):
        fit = fit_lens(views_of(rng, lens, 9, SIGMA), SIZE, "fisheye" if lens.fisheye else "pinhole", 4)
        assert fit is not None
        away = fit.parameters - truth
        squares += float(away @ np.linalg.solve(fit.covariance, away))
    assert abs(squares - 120) < 3.3 * math.sqrt(240)


def test_profile_says_what_it_is_for() -> None:
    """Device, adapter, focus, range, views, coverage and field are in the profile; it is a valid one."""
    rng = np.random.default_rng(3)
    binding = Binding("p", "probe 1", "side view", "near", (10.0, 30.0), "first")
    found = calibrate_lens(views_of(rng, BORESCOPE, 10, SIGMA), SIZE, binding).profile
    assert (found.device, found.adapter, found.focus) == ("probe 1", "side view", "near")
    assert (found.distance_range, found.views, found.size) == ((10.0, 30.0), 10, SIZE)
    assert found.covered is not None
    assert found.covered > 0.6
    assert len(found.field) >= 4
    assert LensProfile.model_validate(found.model_dump()) == found


def test_views_show_what_is_wrong_with_them() -> None:
    """One blurred view has the largest residual by far; distances and tilts are those of the boards."""
    rng = np.random.default_rng(4)
    poses = [pose_of(rng, BORESCOPE) for _ in range(10)]
    images = [BORESCOPE.see(placed(grid(), *pose)) for pose in poses]
    noisy = [image + rng.normal(0, 1.2 if i == 6 else 0.1, image.shape) for i, image in enumerate(images)]
    views = views_of(rng, BORESCOPE, 10, 0.0)
    views = [BoardView(v.name, image, v.board_mm) for v, image in zip(views, noisy, strict=True)]
    found = calibrate_lens(views, SIZE, Binding("p"))
    assert max(found.views, key=lambda view: view.rms_px).name == "view 6"
    for view, (turned, middle) in zip(found.views, poses, strict=True):
        assert view.distance_mm == pytest.approx(abs(turned[:, 2] @ middle), rel=0.02)
        assert view.tilt_rad == pytest.approx(math.acos(abs(turned[2, 2])), abs=0.02)


def test_a_model_that_cannot_bend_enough_shows_as_model_error() -> None:
    """A smooth error of 0.5 px amplitude leaves about its RMS, 0.35 px, in `u_px`; noise leaves none."""
    rng = np.random.default_rng(5)
    views = views_of(rng, CAMERA, 14, 0.1)
    bent = [
        BoardView(v.name, v.image_px + 0.5 * np.sin(2 * np.pi * v.image_px / 160.0), v.board_mm)
        for v in views
    ]
    assert calibrate_lens(views, SIZE, Binding("p")).profile.u_px < 0.03
    assert 0.15 < calibrate_lens(bent, SIZE, Binding("p")).profile.u_px < 0.5


def test_too_few_views_are_refused() -> None:
    """Seven views make no profile, and the error says how many were found."""
    with pytest.raises(LensError, match=r"found in 7 photos; at least 8"):
        calibrated(BORESCOPE, count=7)


def test_boards_in_the_middle_only_are_refused_unless_allowed() -> None:
    """Boards over a third of the frame are refused with the share named; a partial profile keeps it."""
    rng = np.random.default_rng(6)
    near = []
    for i in range(9):
        middle = 70.0 * np.array([*rng.uniform(-0.1, 0.1, 2), 1.0])
        image = CAMERA.see(placed(grid(), turn(rng, rng.uniform(0.2, 0.6)), middle))
        near.append(BoardView(f"{i}", image + rng.normal(0, SIGMA, image.shape), grid()))
    with pytest.raises(LensError, match=r"covers \d\d% of the frame; 60%"):
        calibrate_lens(near, SIZE, Binding("p"))
    found = calibrate_lens(near, SIZE, Binding("p"), partial=True)
    assert found.profile.covered == pytest.approx(found.covered, abs=1e-4)
    assert found.covered < 0.6


def test_corners_that_fit_no_lens_are_refused() -> None:
    """Corners off by 1.5 px each way are above 1 px RMS, and the worst view is named."""
    rng = np.random.default_rng(7)
    with pytest.raises(LensError, match=r"px RMS; 1 px is the most\. view \d+ is worst"):
        calibrate_lens(views_of(rng, BORESCOPE, 9, 1.5), SIZE, Binding("p"))


@pytest.fixture(scope="module")
def pictures() -> list[np.ndarray]:
    rng = np.random.default_rng(8)
    return [rendered(BORESCOPE, *pose_of(rng, BORESCOPE, margin_px=30.0)) for _ in range(12)]


def test_rendered_borescope_pictures_give_the_true_rays(pictures: list[np.ndarray]) -> None:
    """From pictures alone, a ray's pixel is found to 0.5 px within the field that the boards covered."""
    views = [view for i, p in enumerate(pictures) if (view := find_board(p, BOARD, f"{i}")) is not None]
    assert len(views) >= 10
    found = calibrate_lens(views, SIZE, Binding("p"), partial=True).profile
    assert found.model == "fisheye"
    rays = pixel_rays(BORESCOPE, 0.0, 0.0).reshape(SIZE[1], SIZE[0], 3)
    at = np.array([[320, 240], [200, 150], [440, 330], [150, 300], [480, 160]])
    true = rays[at[:, 1], at[:, 0], :2]
    k = np.array(found.matrix)
    seen = distort(true * k[:2] + k[2:], found)
    # Two samples for each pixel leave edges a grain of half a pixel, which is all the error there is.
    assert np.abs(seen - at).max() < 0.5
