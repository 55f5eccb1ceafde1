"""Profiles: closed forms for dishes, flats and faired floors, and bounds that hold."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from corrosion.errors import RemovalError
from corrosion.model import CircleShape, EllipseShape, PolygonShape
from corrosion.removal.entries import shape_on_layout
from corrosion.removal.profiles import FlatProfile, Profile, make_profile
from corrosion.terms import Flag, ProfileKind


def disc(radius: float) -> Polygon:
    return shape_on_layout(CircleShape(center=(0.0, 0.0), radius=radius), place="test")


def profile(kind: ProfileKind, outline: Polygon, depth: float = 0.1, side: float | None = 10.0) -> Profile:
    return make_profile(kind, outline, depth_mm=depth, run_out_side=side, place="test")[0]


def test_circle_has_its_area() -> None:
    """A circle's polygon encloses exactly pi r^2, an ellipse's pi a b."""
    assert disc(7.0).area == pytest.approx(math.pi * 49.0, rel=1e-12)
    ellipse = EllipseShape(center=(3.0, 4.0), semi_axes=(5.0, 2.0), angle_deg=33.0)
    assert shape_on_layout(ellipse, place="test").area == pytest.approx(math.pi * 10.0, rel=1e-12)


def test_round_dish_is_a_paraboloid() -> None:
    """In a circular dish the share is 1 - (r/R)^2, to the 128-gon's error of the radius."""
    dish = profile(ProfileKind.DISHED, disc(10.0))
    r = np.array([0.0, 2.5, 5.0, 9.0, 9.99, 11.0])
    points = np.column_stack([r * math.cos(0.7), r * math.sin(0.7)])
    expected = np.maximum(0.0, 1.0 - (r / 10.0) ** 2)
    # Half the outline's radial error of pi^2/(2 n^2) doubles in r^2: below 1.3e-3.
    assert dish.weights(points) == pytest.approx(expected, abs=1.3e-3)


@pytest.mark.parametrize(
    "outline",
    [disc(10.0), box(0, 0, 30, 10), Polygon([(0, 0), (20, 2), (24, 11), (9, 15), (-3, 7)])],
    ids=["circle", "rectangle", "pentagon"],
)
def test_dish_volume_is_half_depth_times_area(outline: Polygon) -> None:
    """The cell sum of a dish approaches half of its area: the closed form for a paraboloid.

    Source: mean depth of a paraboloid is h/2 exactly (published-values section 4).
    """
    dish = profile(ProfileKind.DISHED, outline)
    assert dish.integral_mm2 == pytest.approx(outline.area / 2.0, rel=1e-12)
    x0, y0, x1, y1 = outline.bounds
    x, y = (np.linspace(a, b, 401)[:-1] + (b - a) / 800 for a, b in ((x0, x1), (y0, y1)))
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    cells = dish.weights(grid).sum() * (x1 - x0) * (y1 - y0) / 400**2
    assert cells == pytest.approx(outline.area / 2.0, rel=1e-3)


def test_faired_square_has_the_frustum_volume() -> None:
    """A faired square hole is a frustum of a pyramid: V = h/3 (A + sqrt(A a) + a)."""
    side, depth, ratio = 40.0, 0.5, 10.0
    faired = profile(ProfileKind.FAIRED, box(0, 0, side, side), depth, ratio)
    floor = side - 2 * ratio * depth
    frustum = depth / 3.0 * (side**2 + side * floor + floor**2)
    assert depth * faired.integral_mm2 == pytest.approx(frustum, rel=1e-9)


def test_faired_run_out_is_one_in_ten_per_side() -> None:
    """At 20:1 total a 0.5 mm floor is reached 5 mm in from the outline, halfway at 2.5 mm.

    Source: AC 43.13-1B para 6-115c, 20:1 length to depth.
    """
    faired = profile(ProfileKind.FAIRED, box(0, 0, 40, 40), 0.5, 20.0 / 2.0)
    points = np.array([[0.0, 20.0], [2.5, 20.0], [5.0, 20.0], [20.0, 20.0], [-1.0, 20.0]])
    assert faired.weights(points) == pytest.approx([0.0, 0.5, 1.0, 1.0, 0.0], abs=1e-12)


def test_run_out_that_does_not_fit_is_flagged() -> None:
    """Where the outline has no room for the ratio the deepest depth stays and a flag says so."""
    faired, flags = make_profile(
        ProfileKind.FAIRED, disc(3.0), depth_mm=0.5, run_out_side=10.0, place="test"
    )
    assert Flag.RUN_OUT_DOES_NOT_FIT in flags
    assert faired.weights(np.zeros((1, 2)))[0] == pytest.approx(1.0, abs=1e-3)


def test_horseshoe_cannot_be_a_dish() -> None:
    """An outline no point of which sees all of it counts at full depth, which hides nothing."""
    horseshoe = Polygon([(0, 0), (30, 0), (30, 30), (20, 30), (20, 5), (10, 5), (10, 30), (0, 30)])
    got, flags = make_profile(ProfileKind.DISHED, horseshoe, depth_mm=0.1, run_out_side=None, place="test")
    assert isinstance(got, FlatProfile)
    assert flags == {Flag.NOT_STAR_SHAPED}


def test_ring_cannot_be_a_dish() -> None:
    """A footprint with a hole has no deepest middle."""
    ring = Point(0, 0).buffer(10).difference(Point(0, 0).buffer(3))
    assert isinstance(profile(ProfileKind.DISHED, ring), FlatProfile)


@given(
    st.sampled_from([ProfileKind.DISHED, ProfileKind.FAIRED]),
    st.floats(-15, 15),
    st.floats(-15, 15),
    st.floats(0.01, 3.0),
    st.floats(0, 2 * math.pi),
)
def test_upper_bound_holds(kind: ProfileKind, x: float, y: float, radius: float, bearing: float) -> None:
    """Nowhere within the radius is the share above the bound."""
    shape = profile(kind, Polygon([(-9, -5), (8, -7), (11, 3), (2, 9), (-10, 6)]))
    centre = np.array([[x, y]])
    near = centre + radius * np.array([[math.cos(bearing), math.sin(bearing)]])
    assert shape.weights(near)[0] <= shape.bounded(centre, radius)[1][0] + 1e-9


@given(st.floats(-15, 15), st.floats(-15, 15))
def test_share_is_between_nothing_and_all(x: float, y: float) -> None:
    """A share lies in [0, 1], and outside the outline it is 0."""
    outline = Polygon([(-9, -5), (8, -7), (11, 3), (2, 9), (-10, 6)])
    for kind in ProfileKind:
        share = profile(kind, outline).weights(np.array([[x, y]]))[0]
        assert 0.0 <= share <= 1.0
        if outline.distance(Point(x, y)) > 1e-9:
            assert share == 0.0


def test_crossing_footprint_is_refused() -> None:
    """A footprint that crosses itself names the entry and the way out."""
    bow = PolygonShape(coordinates=[[(0, 0), (10, 10), (10, 0), (0, 10)]])
    with pytest.raises(RemovalError, match=r"removal 'R7'.*does not cross itself"):
        shape_on_layout(bow, place="removal 'R7'")
