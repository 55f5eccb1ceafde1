"""A rough profile from one straight edge."""

from __future__ import annotations

import math

import numpy as np
import pytest

from corrosion.calibrate import straighten
from corrosion.errors import LensError
from corrosion.lens import undistort
from corrosion.measure import measure_photo
from corrosion.terms import Flag
from tests.calibrate.boards import SIZE, TrueLens
from tests.metrology.pinhole import ngon, pairs, polygon_mark, rectangle, survey_of

FOCAL = 533.0
MIDDLE = (319.5, 239.5)


def edge_seen(k1: float, points: int = 15, height: float = 0.35, noise: float = 0.0) -> np.ndarray:
    """Points of a straight edge that runs across the picture above its middle, by the lens itself."""
    lens = TrueLens(fisheye=False, matrix=(FOCAL, FOCAL, *MIDDLE), k=(k1, 0.0, 0.0, 0.0))
    x = np.linspace(-0.5, 0.5, points)
    seen = lens.see(np.column_stack([x, np.full(points, -height), np.ones(points)]))
    return seen + np.random.default_rng(3).normal(0, noise, seen.shape)


@pytest.mark.parametrize("k1", [-0.28, -0.1, 0.15])
def test_bending_is_found_whatever_the_focal_length(k1: float) -> None:
    """What acts on the picture, k1 / f^2, is found to 1 % though the profile does not know f."""
    found = straighten(edge_seen(k1), SIZE, name="edge")
    assert not found.focal_known
    assert found.distortion[0] / found.matrix[0] ** 2 == pytest.approx(k1 / FOCAL**2, rel=0.01)
    line = undistort(edge_seen(k1), found)[0]
    assert np.ptp(line[:, 1]) < 0.05


def test_uncertainty_of_k1_is_that_of_the_clicks() -> None:
    """Over 60 noisy edges k1 scatters by its stated standard uncertainty, to 4 / sqrt(120) of it."""
    rng = np.random.default_rng(5)
    clean = edge_seen(-0.2)
    found, stated = [], []
    for _ in range(60):
        lens = straighten(clean + rng.normal(0, 0.3, clean.shape), SIZE, name="edge", sigma_px=0.3)
        found.append(lens.distortion[0])
        stated.append(math.sqrt(lens.covariance[4][4]))
    assert np.std(found) == pytest.approx(np.mean(stated), rel=0.37)


def test_a_nearly_straight_edge_bounds_what_the_lens_can_do() -> None:
    """With under 1 px of sagitta k1 is 0, and an area's doubt is 4 |k1| r^2 / sqrt 3 for the k1 of 1 px.

    The sagitta of an edge at d with half length l is k1 d l^2, so k1 = 1 px / (d l^2). The reference lies
    about the middle of the picture, its corners at r_c = 100 px, and errs by 2 k1 r_c^2 itself, which the
    pit's area at r = 200 px then does not: 4 r^2 - 2 r_c^2 is left, to 3 % for the pit's own extent.
    """
    edge = edge_seen(-0.008)
    found = straighten(edge, SIZE, name="edge")
    assert found.distortion[0] == 0.0
    half, away = np.ptp(edge[:, 0]) / 2.0, abs(edge[:, 1].mean() - MIDDLE[1])
    most = 1.0 / (away * half**2)
    reference, middle = rectangle(160, 120), np.array(MIDDLE)
    pit = ngon(24, 10.0, (200.0, 0.0))
    scale = {
        "kind": "points",
        "image": pairs(reference + middle),
        "plane": pairs(reference),
        "sigma_px": 1e-6,
        "u_plane": 0,
    }
    mark = polygon_mark(pit + middle, sigma_px=1e-6, u_edge_px=0.0)
    photo, survey = survey_of(scale, [mark], size=SIZE, lens=found.model_dump(mode="json"))
    area = measure_photo(photo, survey).marks[0].quantities["area"]
    assert Flag.LENS_FROM_EDGE in area.flags
    # Only k1: an offset of the centre moves nothing while k1 is 0.
    relative = area.budget()["lens edge: calibration"] / area.value
    left = most * (4 * 200.0**2 - 2 * 100.0**2) / math.sqrt(3)
    assert relative == pytest.approx(left, rel=0.03)


@pytest.mark.parametrize(
    ("edge", "said"),
    [
        (edge_seen(-0.2)[:4], "4 points"),
        (edge_seen(-0.2)[5:10], r"over \d+ px of edge"),
        (edge_seen(-0.2, height=0.02), "from the middle"),
        (edge_seen(-0.2) + [0.0, 9.0] * (np.arange(15) % 2)[:, None], "miss a straight line"),
    ],
    ids=["few points", "short", "through the middle", "not straight"],
)
def test_edges_that_cannot_tell_are_refused(edge: np.ndarray, said: str) -> None:
    """Too few points, a short edge, one through the middle, and one that is bent are refused."""
    with pytest.raises(LensError, match=said):
        straighten(edge, SIZE, name="edge")


@pytest.mark.parametrize("away", [1e4, 1e200, -1e308])
def test_an_edge_outside_the_picture_is_refused(away: float) -> None:
    """Points more than a picture's width outside it are an error of their own, never an overflow."""
    edge = edge_seen(-0.1)
    edge[3, 1] = away
    with pytest.raises(LensError, match="outside the picture"):
        straighten(edge, SIZE, name="edge")
