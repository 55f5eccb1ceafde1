"""Lens profiles: undistortion inverts the published models."""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.errors import LensError
from corrosion.lens import check_lens, distort, undistort
from corrosion.model import LensProfile

MATRIX = (533.0, 530.0, 342.0, 234.0)
PINHOLE = LensProfile(
    id="a", size=(640, 480), matrix=MATRIX, distortion=[-0.28, 0.03, 0.0012, -0.00014, 0.15]
)
FISHEYE = LensProfile(
    id="b", model="fisheye", size=(640, 480), matrix=MATRIX, distortion=[-0.02, 0.01, 0, 0]
)


def spread_points() -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, 639, 9), np.linspace(0, 479, 7))
    return np.column_stack([x.ravel(), y.ravel()])


def test_pinhole_undistortion_inverts_the_polynomial() -> None:
    """Undistorted points, put through the polynomial written out here, land on the clicks."""
    points = spread_points()
    ideal, _ = undistort(points, PINHOLE)
    k1, k2, p1, p2, k3 = PINHOLE.distortion
    fx, fy, cx, cy = MATRIX
    x, y = (ideal[:, 0] - cx) / fx, (ideal[:, 1] - cy) / fy
    r2 = x * x + y * y
    radial = 1 + k1 * r2 + k2 * r2**2 + k3 * r2**3
    seen_x = fx * (x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + cx
    seen_y = fy * (y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + cy
    assert np.column_stack([seen_x, seen_y]) == pytest.approx(points, abs=1e-9)


def test_fisheye_undistortion_inverts_the_equidistant_model() -> None:
    """A fisheye point lies at theta (1 + k1 theta^2 + k2 theta^4) focal lengths from the centre."""
    points = spread_points()
    ideal, _ = undistort(points, FISHEYE)
    k1, k2, _, _ = FISHEYE.distortion
    fx, fy, cx, cy = MATRIX
    slopes = np.column_stack([(ideal[:, 0] - cx) / fx, (ideal[:, 1] - cy) / fy])
    r = np.linalg.norm(slopes, axis=1)
    theta = np.arctan(r)
    bent = theta * (1 + k1 * theta**2 + k2 * theta**4) / r
    assert slopes * bent[:, None] * [fx, fy] + [cx, cy] == pytest.approx(points, abs=1e-9)


@pytest.mark.parametrize("lens", [PINHOLE, FISHEYE])
def test_jacobian_is_the_derivative(lens: LensProfile) -> None:
    """The returned Jacobian predicts how undistorted points move with the clicks."""
    points = spread_points()
    _, jacobian = undistort(points, lens)
    step = 1e-3
    for axis in (0, 1):
        shift = step * np.eye(2)[axis]
        change = (undistort(points + shift, lens)[0] - undistort(points - shift, lens)[0]) / (2 * step)
        assert jacobian[:, :, axis] == pytest.approx(change, abs=1e-4)


@pytest.mark.parametrize("lens", [PINHOLE, FISHEYE])
def test_distort_goes_back(lens: LensProfile) -> None:
    """`distort` is the inverse of `undistort`."""
    points = spread_points()
    assert distort(undistort(points, lens)[0], lens) == pytest.approx(points, abs=1e-9)


def test_other_picture_size_is_refused() -> None:
    """A profile made for one picture size is not used on another, and the error names both."""
    check_lens(PINHOLE, (640, 480))
    check_lens(PINHOLE, None)
    with pytest.raises(LensError, match=r"photo f1.*1280 x 960.*640 x 480"):
        check_lens(PINHOLE, (1280, 960), place="photo f1")


def test_point_beyond_the_fold_is_refused() -> None:
    """Where the polynomial folds back there is no ideal point, and the error names the click."""
    folding = PINHOLE.model_copy(update={"distortion": [-0.9, 0.0, 0.0, 0.0]})
    with pytest.raises(LensError, match=r"\(0\.0, 0\.0\)"):
        undistort(np.array([[0.0, 0.0]]), folding)


def test_six_coefficients_are_padded() -> None:
    """A coefficient count OpenCV does not take is padded with zeros, not refused."""
    longer = PINHOLE.model_copy(update={"distortion": [*PINHOLE.distortion, 0.0]})
    assert undistort(spread_points(), longer)[0] == pytest.approx(undistort(spread_points(), PINHOLE)[0])
