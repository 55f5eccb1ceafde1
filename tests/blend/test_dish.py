"""Floors, footprints and merging: no pit keeps metal it should lose, nothing outside loses too much."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.blend.dish import REACH_SLACK, Dish, DishRule, make_dishes
from corrosion.quantity import FloatArray
from corrosion.removal.profiles import make_profile
from corrosion.terms import ProfileKind

RULE = DishRule(side=10.0)


def depths_at(dishes: list[Dish], rule: DishRule, points: FloatArray) -> FloatArray:
    """Depth below the original contour at each point, by the profiles that `corrosion.removal` sums."""
    taken = np.zeros(len(points))
    for dish in dishes:
        profile, _ = make_profile(
            ProfileKind.FAIRED,
            dish.footprint,
            depth_mm=dish.depth,
            run_out_side=rule.side,
            place="test",
        )
        taken = np.maximum(taken, dish.depth * profile.weights(points))
    return taken


# To a millionth: sides shorter than 1e-150 mm make GEOS divide by zero, and no outline has such.
corners = st.floats(-1, 1).map(lambda part: round(part, 6))
blobs = st.builds(
    lambda x, y, size, turn, points: (
        shapely.affinity.rotate(
            shapely.convex_hull(shapely.multipoints(np.array(points) * size + (x, y))), turn
        )
        if points
        else Point(x, y)
    ),
    st.floats(0, 60),
    st.floats(0, 60),
    st.floats(0.2, 8),
    st.floats(0, 360),
    st.lists(st.tuples(corners, corners), max_size=8),
)
rules = st.builds(
    DishRule,
    side=st.floats(2, 20),
    gap_mm=st.sampled_from([0.0, 1.0]),
    elongation=st.sampled_from([1.0, 2.0]),
    along=st.sampled_from(["station", "offset"]),
    merge=st.booleans(),
)
pits = st.lists(st.tuples(blobs, st.floats(0.02, 0.5)), min_size=1, max_size=8)


def points_of(shape: BaseGeometry) -> FloatArray:
    """Corners of a shape and points well inside it."""
    corners = shapely.get_coordinates(shape)
    inner = shapely.get_coordinates(shapely.point_on_surface(shape))
    return np.concatenate([corners, (corners + inner) / 2.0, inner])


# Stretched along one direction, the outline of a long skew scratch leaves its ends outside.
SKEW = LineString([(0.0, 0.0), (1.0, 1.0)])
# A corner so blunt that a single chord stands for its whole arc.
BLUNT = Polygon([(0.90625, -0.34375), (0.234375, 0.046875), (-0.375, 0.53125)])


@settings(max_examples=60, deadline=None)
@example([(BLUNT, 0.5)], DishRule(side=2.0, merge=False))
@example([(SKEW, 0.03125)], DishRule(side=2.0, elongation=2.0, along="station", merge=False))
@given(pits, rules)
def test_every_pit_is_taken_out_in_full(found: list[tuple[BaseGeometry, float]], rule: DishRule) -> None:
    """Anywhere inside a pit the plan takes at least the depth planned for it."""
    outlines, depths = [p for p, _ in found], np.array([d for _, d in found])
    dishes = make_dishes(outlines, depths, rule)
    for outline, depth in found:
        assert depths_at(dishes, rule, points_of(outline)).min() >= depth * (1 - 1e-9)


@settings(max_examples=60, deadline=None)
@given(pits, rules, st.lists(st.tuples(st.floats(-20, 80), st.floats(-20, 80)), min_size=20, max_size=60))
def test_outside_no_more_than_the_profile_says(
    found: list[tuple[BaseGeometry, float]], rule: DishRule, places: list[tuple[float, float]]
) -> None:
    """At distance x from the floor a dish takes at most d (1 - x / run-out), but for the stated slack.

    Closed form of a straight run-out. An elongated dish is wider on purpose and is held by its ratio
    test instead.
    """
    rule = DishRule(side=rule.side, gap_mm=rule.gap_mm, merge=rule.merge)
    dishes = make_dishes([p for p, _ in found], np.array([d for _, d in found]), rule)
    points = np.array(places)
    for dish in dishes:
        away = shapely.distance(dish.floor, shapely.points(points))
        most = dish.depth * np.clip(1.0 - away / (rule.side * dish.depth) + REACH_SLACK, 0.0, 1.0)
        assert np.all(depths_at([dish], rule, points) <= most + 1e-9)


@settings(max_examples=30, deadline=None)
@given(pits, rules)
def test_nowhere_steeper_than_the_ratio(found: list[tuple[BaseGeometry, float]], rule: DishRule) -> None:
    """Between any two places a small step apart a dish's depth changes by at most step / side."""
    dishes = make_dishes([p for p, _ in found], np.array([d for _, d in found]), rule)
    for dish in dishes:
        x0, y0, x1, y1 = dish.footprint.bounds
        line = np.linspace([x0, y0], [x1, y1], 200)
        taken = depths_at([dish], rule, line)
        step = math.hypot(x1 - x0, y1 - y0) / 199
        assert np.all(np.abs(np.diff(taken)) <= step / rule.side * (1 + 1e-6) + 1e-9)


@settings(max_examples=40, deadline=None)
@given(pits, rules)
def test_merged_footprints_do_not_meet(found: list[tuple[BaseGeometry, float]], rule: DishRule) -> None:
    """After merging every pit is in exactly one blend, and no two blends meet."""
    rule = DishRule(side=rule.side, gap_mm=rule.gap_mm, elongation=rule.elongation, along=rule.along)
    dishes = make_dishes([p for p, _ in found], np.array([d for _, d in found]), rule)
    assert sorted(i for dish in dishes for i in dish.pits) == list(range(len(found)))
    for one, other in combinations(dishes, 2):
        assert one.footprint.distance(other.footprint) > rule.gap_mm


def test_pits_merge_when_their_footprints_meet() -> None:
    """Radius 2, run-out 1 each: centres 5.9 apart meet (2 x 3 > 5.9), 6.1 apart do not (closed form)."""
    depths = np.array([0.1, 0.1])
    near = make_dishes([Point(0, 0).buffer(2), Point(5.9, 0).buffer(2)], depths, RULE)
    far = make_dishes([Point(0, 0).buffer(2), Point(6.1, 0).buffer(2)], depths, RULE)
    assert [dish.pits for dish in near] == [(0, 1)]
    assert [dish.pits for dish in far] == [(0,), (1,)]


def test_the_metal_between_merged_pits_goes() -> None:
    """The floor of two merged pits holds the point half-way between them (AC 43.13-1B, Fig 6-16)."""
    (dish,) = make_dishes([Point(0, 0).buffer(2), Point(5, 0).buffer(2)], np.array([0.1, 0.1]), RULE)
    assert dish.floor.contains(Point(2.5, 0))
    assert depths_at([dish], RULE, np.array([[2.5, 0.0]]))[0] == pytest.approx(0.1)


def test_a_merged_blend_is_as_deep_as_its_deepest_pit_needs() -> None:
    """A shallow pit beside a deep one is planned at the deep one's depth, and its run-out widens."""
    (dish,) = make_dishes([Point(0, 0).buffer(2), Point(7, 0).buffer(2)], np.array([0.1, 0.4]), RULE)
    assert dish.depth == 0.4
    assert dish.footprint.contains(Point(-5.9, 0))


def test_merging_goes_on_until_nothing_meets() -> None:
    """A third pit that only the widened blend reaches joins it (radius 2; run-outs 1, then 4).

    0 and 1 meet (2 + 1 + 4 + 2 > 8.5); 2 stands 6.5 from 0 and meets it only when 0 is planned as deep
    as 1: 2 + 1 + 1 + 2 < 6.5 < 2 + 4 + 1 + 2.
    """
    outlines = [Point(0, 0).buffer(2), Point(8.5, 0).buffer(2), Point(-6.5, 0).buffer(2)]
    dishes = make_dishes(outlines, np.array([0.1, 0.4, 0.1]), RULE)
    assert [dish.pits for dish in dishes] == [(0, 1, 2)]


def test_spacing_merges_what_does_not_meet() -> None:
    """Blends 0.1 mm apart merge where 0.2 mm are asked between them."""
    outlines = [Point(0, 0).buffer(2), Point(6.1, 0).buffer(2)]
    dishes = make_dishes(outlines, np.array([0.1, 0.1]), DishRule(side=10.0, gap_mm=0.2))
    assert [dish.pits for dish in dishes] == [(0, 1)]


def test_unmerged_blends_keep_their_own_depth() -> None:
    """With merging off, every pit has its own dish."""
    outlines = [Point(0, 0).buffer(2), Point(5, 0).buffer(2)]
    dishes = make_dishes(outlines, np.array([0.1, 0.2]), DishRule(side=10.0, merge=False))
    assert [dish.depth for dish in dishes] == [0.1, 0.2]


@pytest.mark.parametrize(("along", "axis"), [("station", 0), ("offset", 1)])
def test_elongation_runs_along_the_main_direction(along: str, axis: int) -> None:
    """A dish twice as long as wide, the long way along the member (AC 43.13-1B, para 6-115a)."""
    rule = DishRule(side=10.0, elongation=2.0, along=along)  # type: ignore[arg-type]
    (dish,) = make_dishes([Point(0, 0).buffer(2)], np.array([0.1]), rule)
    x0, y0, x1, y1 = dish.footprint.bounds
    size = (x1 - x0, y1 - y0)
    assert size[axis] / size[1 - axis] == pytest.approx(2.0)
    assert size[1 - axis] == pytest.approx(6.0, rel=0.003)


def test_a_long_groove_is_not_stretched_further() -> None:
    """A groove that is long enough along the member already stays as it is."""
    rule = DishRule(side=10.0, elongation=2.0)
    (dish,) = make_dishes([LineString([(0, 0), (40, 0)])], np.array([0.1]), rule)
    x0, _, x1, _ = dish.footprint.bounds
    assert x1 - x0 == pytest.approx(42.0, rel=0.003)


def test_an_island_in_a_pit_goes_with_it() -> None:
    """A ring-shaped pit is taken out with the metal inside it."""
    ring = Polygon(Point(0, 0).buffer(5).exterior, [Point(0, 0).buffer(3).exterior.coords])
    (dish,) = make_dishes([ring], np.array([0.1]), RULE)
    assert depths_at([dish], RULE, np.zeros((1, 2)))[0] == pytest.approx(0.1)


def test_no_pits_no_blends() -> None:
    """Nothing to blend is an empty plan, not an error."""
    assert make_dishes([], np.zeros(0), RULE) == []
