"""After the work, and before it: the actual blend-out against the plan; together against separately."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.blend import compare_alternatives, compare_done
from corrosion.blend.done import DoneBlend, SlopeCheck, check_slopes
from corrosion.model import RunOut
from corrosion.terms import MeasuredFrom, Verdict
from tests.blend.workshop import Workshop

RATIO = RunOut(total=20)


def keep_plan(shop: Workshop) -> None:
    """Keep the plan of the workshop's pits in its survey."""
    kept = [blend.removal.model_dump(mode="json", exclude_none=True) for blend in shop.plan().blends]
    shop.removals.extend(kept)


def done(shop: Workshop) -> DoneBlend:
    """Compare the only planned removal."""
    (found,) = compare_done(shop.layout, shop.survey(), shop.findings)
    return found


def test_a_plan_survives_the_survey_file(shop: Workshop) -> None:
    """A planned removal is an ordinary record: it leaves and re-enters, and does not count as gone."""
    keep_plan(shop.pit())
    (blend,) = shop.plan().blends
    assert blend.after.removed.value == pytest.approx(0.05)
    assert shop.assess().summary.removed_volume_mm3.value == 0.0


def test_not_done_yet(shop: Workshop) -> None:
    """While nothing was ground the plan stands, without differences."""
    keep_plan(shop.pit())
    assert done(shop).actual == []
    assert done(shop).depth_difference is None


def test_the_actual_blend_out_replaces_the_plan(shop: Workshop) -> None:
    """Planned 0.05 and radius 2.5, made 0.07 and 4: 0.02 deeper, the area larger by pi (16 - 6.25)."""
    keep_plan(shop.pit())
    found = done(shop.blend_out(0.07, radius=4.0))
    assert len(found.actual) == 1
    assert found.depth_difference == pytest.approx(0.02)
    assert found.area_difference == pytest.approx(math.pi * (16 - 6.25), rel=0.01)
    assert found.uncovered_mm2 == pytest.approx(0.0, abs=1e-9)
    assert found.after is not None
    assert found.after.removed.value == pytest.approx(0.07)


def test_what_the_work_left_uncovered_shows(shop: Workshop) -> None:
    """A blend-out of radius 2 inside the planned 2.5 leaves the ring pi (6.25 - 4)."""
    keep_plan(shop.pit())
    assert done(shop.blend_out(0.05, radius=2.0)).uncovered_mm2 == pytest.approx(math.pi * 2.25, rel=0.02)


def test_a_blend_out_elsewhere_is_not_its_work(shop: Workshop) -> None:
    """A blend-out beside the plan leaves the plan open."""
    keep_plan(shop.pit())
    assert done(shop.blend_out(0.05, at=(470, 200))).actual == []


def slope(shop: Workshop, depth: float, *, radius: float, u: float = 0.0, **mark: Any) -> SlopeCheck:
    """Check the run-out of one blend-out against 20:1 in total."""
    shop.blend_out(depth, radius=radius, u=u, mark=mark)
    (found,) = check_slopes(shop.plan().now.entries, RATIO)
    return found


@pytest.mark.parametrize(
    ("radius", "stands"), [(1.1, Verdict.WITHIN), (0.9, Verdict.OVER)], ids=["flatter", "steeper"]
)
def test_steeper_than_the_ratio_is_flagged(shop: Workshop, radius: float, stands: Verdict) -> None:
    """0.1 mm deep at 20:1 needs 1 mm on each side: a dish of 1.1 mm has it, one of 0.9 mm has not."""
    assert slope(shop, 0.1, radius=radius).stands is stands


def test_a_doubtful_depth_leaves_the_slope_open(shop: Workshop) -> None:
    """0.1 +- 0.02 mm (k = 2) may need 1.2 mm where there are 1.1: too close to call."""
    assert slope(shop, 0.1, radius=1.1, u=0.01).stands is Verdict.TOO_CLOSE


def test_a_flat_profile_says_nothing_of_the_run_out(shop: Workshop) -> None:
    """An outline marked flat may end in a step."""
    assert slope(shop, 0.1, radius=5.0, profile="flat").stands is Verdict.NOT_DETERMINED


def test_a_stated_shorter_run_out_is_steeper(shop: Workshop) -> None:
    """Faired at 10:1 in total is steeper than 20:1 however wide the outline."""
    found = slope(shop, 0.1, radius=5.0, profile="faired", run_out={"total": 10})
    assert found.stands is Verdict.OVER


@pytest.mark.parametrize(
    ("pit", "blended"),
    [
        ({"feature": "X"}, {"feature": "X"}),
        ({"date": "2031-05-01"}, {"date": "2031-05-02"}),
    ],
    ids=["same feature", "later date"],
)
def test_a_pit_taken_out_is_not_planned_again(
    shop: Workshop, pit: dict[str, Any], blended: dict[str, Any]
) -> None:
    """One feature name on both, or a later date, says that the blend-out took the pit out."""
    shop.named_pit(pit).blend_out(0.05, mark=blended)
    plan = shop.plan()
    assert plan.blends == []
    assert [finding.id for finding, _ in plan.blended] == ["P1"]


def test_without_word_the_pit_counts_as_still_there(shop: Workshop) -> None:
    """A covering blend-out of unknown order is taken for the older one: the planned depth adds."""
    shop.named_pit({}).blend_out(0.03)
    (blend,) = shop.plan().blends
    assert blend.removal.measured_from is MeasuredFrom.CURRENT
    assert blend.after.removed.value == pytest.approx(0.08)


def test_a_blend_out_shallower_than_its_pit_is_not_believed(shop: Workshop) -> None:
    """0.02 mm of blending cannot have taken out a pit of 0.03 mm."""
    shop.named_pit({"feature": "X"}).blend_out(0.02, mark={"feature": "X"})
    plan = shop.plan()
    assert plan.blends == plan.blended == []
    assert "re-measure" in plan.undetermined[0][1]


def test_one_pit_has_no_alternative(shop: Workshop) -> None:
    """Together and separately are the same for a single pit."""
    plan = shop.pit().plan()
    assert compare_alternatives(plan, plan.blends[0]) == []


def test_together_takes_more_and_leaves_less_of_the_shallow_pit(shop: Workshop) -> None:
    """Pits 0.05 and 0.09 planned, 4.6 apart; volumes from closed forms and a fine scan.

    Separately: two frustums, less their overlap (the smaller depth there). Together: a stadium's floor
    2 x 2 x 4.6 + pi 4, at 0.09 all over. Both leave 0.01 mm at the deep pit.
    """
    plan = shop.pit(depth=0.03).pit((454.6, 200), 0.07).plan()
    (blend,) = plan.blends
    together, apart = compare_alternatives(plan, blend)
    assert (together.name, together.planned, apart.name, apart.planned) == (
        "together",
        True,
        "separately",
        False,
    )
    x, y = np.meshgrid(np.arange(-4, 9, 0.01), np.arange(-4, 4, 0.01))
    one = 0.05 * np.clip((2.5 - np.hypot(x, y)) / 0.5, 0, 1)
    two = 0.09 * np.clip((2.9 - np.hypot(x - 4.6, y)) / 0.9, 0, 1)
    line = np.hypot(x - np.clip(x, 0, 4.6), y)
    both = 0.09 * np.clip((2.9 - line) / 0.9, 0, 1)
    assert apart.removed_mm3 == pytest.approx(float(np.maximum(one, two).sum()) * 1e-4, rel=0.02)
    assert together.removed_mm3 == pytest.approx(float(both.sum()) * 1e-4, rel=0.02)
    assert together.margin_mm == pytest.approx(0.01)
    assert apart.margin_mm == pytest.approx(0.01)


def test_what_is_gone_is_not_taken_again(shop: Workshop) -> None:
    """Where an earlier rework on the face went deeper, a blend from the original takes nothing."""
    shop.pit(depth=0.03).pit((454.6, 200), 0.03)
    alone = compare_alternatives(shop.plan(), shop.plan().blends[0])[0].removed_mm3
    shop.remove(0.06, footprint={"type": "Circle", "center": [452.3, 202.2], "radius": 0.15})
    plan = shop.plan()
    less = compare_alternatives(plan, plan.blends[0])[0].removed_mm3
    assert plan.blends[0].removal.measured_from is MeasuredFrom.ORIGINAL
    assert less < alone


def test_alternatives_on_the_verdict(shop: Workshop) -> None:
    """Where a thin limit zone lies between the pits, separately may be within and together not."""
    zone = [[452.55, 190], [452.65, 190], [452.65, 210], [452.55, 210]]
    shop.member["limit_zones"] = [
        {"id": "Z", "outline": zone, "limit": {"depth": 0.03, "source": "invented manual, 9"}}
    ]
    plan = shop.pit((450, 200)).pit((455, 200)).plan()
    together, apart = compare_alternatives(plan, plan.blends[0])
    assert together.verdict is Verdict.OVER
    assert apart.verdict is Verdict.WITHIN
