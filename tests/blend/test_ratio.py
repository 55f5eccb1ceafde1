"""The 20:1 dish: AC 43.13-1B (9/8/98), para 6-115c, "a ratio of 20:1, length to depth".

Computed from it: 0.010 in deep is at least 0.200 in long; a spherical dish of that size holds
1.57603e-4 in3 and is 0.50167 of its depth deep on average, h (3 a^2 + h^2) / (6 a^2).
"""

from __future__ import annotations

import math

import pytest

from corrosion.blend import plan_member
from corrosion.layout import MemberLayout
from corrosion.removal.entries import shape_on_layout
from corrosion.removal.profiles import make_profile
from corrosion.terms import ProfileKind
from tests.blend.workshop import Workshop

INCH = 25.4
SLACK = 0.0023  # the footprint's stated surplus of the run-out, dish.REACH_SLACK


def planned_length_in(shop: Workshop, ratio: dict[str, float]) -> float:
    """Length, in, of the dish planned for a point pit 0.010 in deep with no allowance."""
    shop.planning["allowance"]["depth"] = 0.0
    shop.planning["run_out"]["ratio"] = ratio
    (blend,) = plan_member(
        shop.pit(depth=0.010 * INCH, radius=0.0).layout, shop.survey(), shop.findings
    ).blends
    x0, _, x1, _ = blend.footprint.bounds
    return (x1 - x0) / INCH


@pytest.mark.parametrize("ratio", [{"total": 20.0}, {"per_side": 10.0}])
def test_a_mil_needs_twenty(shop: Workshop, ratio: dict[str, float]) -> None:
    """0.010 in deep at 20:1 in total, or 10:1 on each side, is 0.200 in long and no shorter."""
    length = planned_length_in(shop, ratio)
    assert 0.200 <= length <= 0.200 * (1 + SLACK)


def test_ten_to_one_in_total_is_another_dish(shop: Workshop) -> None:
    """10:1 in total is half as long: 0.100 in. Taking one statement for the other halves the run-out."""
    assert planned_length_in(shop, {"total": 10.0}) == pytest.approx(0.100, rel=SLACK)


def test_mean_depth_of_the_dish(shop: Workshop) -> None:
    """The paraboloid is h/2 deep on average, the sphere 0.50167 h: they differ by h^2 / 3 a^2 = 1/300."""
    footprint = (
        shop.remove(0.254, footprint={"type": "Circle", "center": [450, 200], "radius": 2.54})
        .survey()
        .removals[0]
        .footprint
    )
    outline = shape_on_layout(footprint, place="dish")
    profile, _ = make_profile(ProfileKind.DISHED, outline, depth_mm=0.254, run_out_side=None, place="dish")
    mean = profile.integral_mm2 / outline.area
    assert mean * (1 + 1 / 300) == pytest.approx(0.50167, abs=5e-6)
    volume_in3 = profile.integral_mm2 * 0.254 * (1 + 1 / 300) / INCH**3
    assert volume_in3 == pytest.approx(1.57603e-4, rel=5e-6)


def test_a_straight_run_out_takes_no_more_than_a_sphere(shop: Workshop) -> None:
    """The planned cone of a point pit, pi r^2 h / 3, is two thirds of the paraboloid (closed form)."""
    shop.planning["allowance"]["depth"] = 0.0
    (blend,) = shop.pit(depth=0.254, radius=0.0).plan().blends
    cone = math.pi * 2.54**2 * 0.254 / 3.0
    assert blend.volume_mm3 == pytest.approx(cone, rel=2 * SLACK + 0.002)
    assert blend.volume_mm3 / INCH**3 < 1.57603e-4


def test_layout_is_checked_in_millimetres(shop: Workshop) -> None:
    """An inch survey plans the same dish: 0.02 in allowance arrives as 0.508 mm."""
    shop.units = "in"
    shop.member |= {"thickness": 0.5}
    shop.planning["allowance"]["depth"] = 0.02
    survey = shop.pit(depth=0.1).survey()
    layout = MemberLayout.of(survey.structure.members[0], survey.structure)
    (blend,) = plan_member(layout, survey, shop.findings).blends
    assert blend.depth == pytest.approx(0.1 + 0.508)
