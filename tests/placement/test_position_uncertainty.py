"""Uncertainty of placed marks: against closed forms and against repeated noise."""

from __future__ import annotations

import math
from contextlib import suppress
from copy import deepcopy
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corrosion.errors import PlacementError
from corrosion.placement.checks import leave_one_out
from corrosion.placement.fits import fit
from corrosion.placement.pairs import Pairs, Rectifier
from tests.placement.cameras import FOCAL_PX, PinholeCamera, a_photo, place


@settings(max_examples=60, deadline=None)
@given(
    along=st.floats(-3.0, 4.0),
    sigma=st.floats(0.05, 3.0),
    u_layout=st.floats(0.01, 5.0),
    roll=st.floats(0.0, 360.0),
    hand=st.sampled_from([-1, 1]),
)
def test_two_points_give_the_closed_form(
    along: float, sigma: float, u_layout: float, roll: float, hand: int
) -> None:
    """On the line through both points, at share l, variance is ((1-l)^2 + l^2) of one point's.

    A similarity is linear in complex numbers, z = (1-l) z1 + l z2, so this is exact (JCGM 100:2008,
    5.1.2); the mark's own click and the drawing's own uncertainty add to it.
    """
    camera = PinholeCamera(roll_deg=roll, hand=hand)
    ends = np.array([(380.0, 150.0), (520.0, 260.0)])
    pairs = Pairs("photo f1", camera.sees(ends), ends, sigma, u_layout)
    mark = camera.sees(((1.0 - along) * ends[0] + along * ends[1])[None])[0]
    covariance = fit(pairs, Rectifier(None, None, pairs.image), "similarity", hand).covariance(mark, 0.5)
    mm_per_px = camera.distance / FOCAL_PX
    share = (1.0 - along) ** 2 + along**2
    variance = share * (u_layout**2 + (mm_per_px * sigma) ** 2) + (mm_per_px * 0.5) ** 2 + u_layout**2
    assert covariance == pytest.approx(variance * np.eye(2), rel=1e-9, abs=1e-9)


def _noisy(photo: dict[str, Any], rng: np.random.Generator, u_layout: float) -> dict[str, Any]:
    """Repeat a photo with every click and every layout coordinate off by its uncertainty."""
    again = deepcopy(photo)
    for part in ("scale", "placement"):
        if part in again:
            image = np.array(again[part]["image"])
            again[part]["image"] = (image + rng.normal(0.0, 0.5, image.shape)).tolist()
    layout = np.array(again["placement"]["layout"])
    again["placement"]["layout"] = (layout + rng.normal(0.0, u_layout, layout.shape)).tolist()
    ring = np.array(again["marks"][0]["shape"]["coordinates"][0])
    again["marks"][0]["shape"]["coordinates"] = [(ring + rng.normal(0.0, 0.5, 2)).tolist()]
    return again


@pytest.mark.parametrize(
    ("points", "scaled", "pit", "u_layout"),
    [
        ([(380.0, 150.0), (520.0, 260.0)], True, (480.0, 180.0), 0.5),
        # A layout this good leaves the scale's own four points as the largest source.
        ([(430.0, 190.0), (440.0, 210.0)], True, (510.0, 250.0), 0.005),
        ([(430.0, 190.0), (470.0, 215.0)], True, (520.0, 240.0), 0.5),
        ([(380.0, 150.0), (520.0, 150.0), (520.0, 260.0), (380.0, 260.0)], False, (520.0, 200.0), 0.5),
        (
            [(380.0, 150.0), (520.0, 150.0), (520.0, 260.0), (380.0, 260.0), (450.0, 200.0)],
            False,
            (400.0, 170.0),
            0.5,
        ),
    ],
)
def test_repeated_noise_spreads_as_stated(
    points: list[tuple[float, float]], scaled: bool, pit: tuple[float, float], u_layout: float
) -> None:
    """The spread of places over 250 noisy repeats is the stated uncertainty.

    A sample standard deviation of 250 normal values is good to 1 / sqrt(500) = 4.5 %; 4 times that
    is the tolerance. The drawing's uncertainty at the mark itself is added to the repeats.
    """
    camera = PinholeCamera(tilt_deg=25.0, roll_deg=15.0)
    photo = a_photo(camera, points, pit=pit, size=None, placement={"u_layout": u_layout})
    if not scaled:
        del photo["scale"]
    rng = np.random.default_rng(8)
    places = []
    for _ in range(250):
        # A test at 99 % refuses 1 % of good repeats.
        with suppress(PlacementError):
            places.append(place(_noisy(photo, rng, u_layout)).marks[0].position)
    # 2.5 are to be expected; 10 more are 4.8 standard deviations, sqrt(250 * 0.01 * 0.99).
    assert len(places) > 239
    spread = np.hypot(np.std(places, axis=0, ddof=1), u_layout)
    stated = place(photo).marks[0].u_position
    assert spread == pytest.approx(stated, rel=4.0 / math.sqrt(500.0))


@pytest.mark.parametrize("pit", [(450.0, 210.0), (500.0, 190.0)])
def test_what_a_fit_takes_up_is_not_in_its_doubt(pit: tuple[float, float]) -> None:
    """A similarity scales freely, so a bar 5 mm uncertain in 60 mm leaves every mark where it was.

    Only because control points and marks move together with the bar's length; were they taken as
    independent, or with the wrong sign, the doubt of a mark off the points would grow.
    """
    camera = PinholeCamera()
    ends = [(420.0, 180.0), (480.0, 180.0)]
    stated = []
    for u_length in (0.0, 5.0):
        bar = {"kind": "bar", "image": camera.sees(ends).tolist(), "length": 60.0, "u_length": u_length}
        photo = a_photo(camera, [(410.0, 200.0), (490.0, 220.0)], pit=pit, scale=bar)
        stated.append(place(photo).marks[0].u_position)
    assert stated[1] == pytest.approx(stated[0], rel=1e-9)


def test_exact_points_are_predicted_by_the_others() -> None:
    """With exact clicks every point lies where the others put it."""
    layout = np.array([(380, 150), (520, 150), (520, 260), (380, 260), (450, 170), (420, 240)], float)
    pairs = Pairs("photo f1", PinholeCamera(tilt_deg=30.0).sees(layout), layout, 0.5, 0.5)
    left_out = leave_one_out(pairs, Rectifier(None, None, pairs.image), "homography", -1)
    assert left_out.residuals == pytest.approx(np.zeros((6, 2)), abs=1e-6)


def test_a_left_out_point_shows_its_whole_error() -> None:
    """A point moved by (3, 4) mm is 5 mm from where the exact others put it, in its own direction."""
    layout = np.array([(380, 150), (520, 150), (520, 260), (380, 260), (450, 170), (420, 240)], float)
    image = PinholeCamera(tilt_deg=30.0).sees(layout)
    layout[4] += (3.0, 4.0)
    pairs = Pairs("photo f1", image, layout, 0.5, 0.5)
    left_out = leave_one_out(pairs, Rectifier(None, None, image), "homography", -1)
    assert left_out.residuals[4] == pytest.approx((3.0, 4.0), abs=1e-6)
    assert int(np.argmin(left_out.chi2)) == 4
