"""The blend plan against closed forms: depth, footprint, sum after the blend, verdict, stop depth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.stats import norm
from shapely.geometry import Polygon

from corrosion.blend import ratio_words
from corrosion.model import RunOut
from corrosion.removal import EntryList, MemberRemoval
from corrosion.terms import Face, Flag, MeasuredFrom, Origin, ProfileKind, Verdict
from tests.blend.workshop import SOURCE, Workshop

Z95 = float(norm.ppf(0.95))


def test_depth_is_reading_plus_u_plus_allowance(shop: Workshop) -> None:
    """Pit depth + U (k = 2) + allowance: 0.030 + 2 x 0.005 + 0.020 = 0.060 mm (design.md section 5)."""
    (blend,) = shop.pit(depth=0.03, u=0.005).plan().blends
    assert blend.depth == pytest.approx(0.060)
    assert blend.removal.depth.value == pytest.approx(0.060)


def test_planned_removal_is_a_faired_one_of_origin_planned(shop: Workshop) -> None:
    """The plan is kept as an ordinary removal, told apart by its origin."""
    (blend,) = shop.pit().plan().blends
    assert blend.removal.origin is Origin.PLANNED
    assert blend.removal.profile is ProfileKind.FAIRED


@pytest.mark.parametrize("lacks", ["allowance", "run_out"])
def test_without_allowance_or_ratio_nothing_is_planned(shop: Workshop, lacks: str) -> None:
    """There is no default allowance and no default ratio: the pit is not determined, with the reason."""
    del shop.planning[lacks]
    plan = shop.pit().plan()
    assert plan.blends == []
    ((finding, reason),) = plan.undetermined
    assert finding.id == "P1"
    assert "source" in reason


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"depth": None}, "no depth"),
        ({"flags": frozenset({Flag.LOWER_BOUND})}, "lower bound"),
        ({"outline": None}, "not placed"),
        ({"face": None}, "which face"),
    ],
    ids=["no depth", "lower bound", "not placed", "no face"],
)
def test_what_cannot_be_planned_says_why(shop: Workshop, changes: dict[str, object], word: str) -> None:
    """Missing data never make a plan."""
    shop.pit(**changes)  # type: ignore[arg-type]
    plan = shop.plan()
    assert plan.blends == []
    assert word in plan.undetermined[0][1]


def test_ratio_is_stated_both_ways() -> None:
    """20:1 in total length is 10:1 on each side, the same dish (closed form)."""
    for run_out in (RunOut(total=20), RunOut(per_side=10)):
        assert ratio_words(run_out) == "20:1 total length to depth, which is 10:1 on each side"


@pytest.mark.parametrize("ratio", [{"total": 20}, {"per_side": 10}])
def test_footprint_is_the_outline_grown_by_the_run_out(shop: Workshop, ratio: dict[str, float]) -> None:
    """A round pit of 2 mm radius planned 0.05 mm deep: radius 2 + 10 x 0.05 = 2.5 mm.

    The polygon of the grown outline reaches at most 0.3 % of the run-out further, and its chords as much
    less.
    """
    shop.planning["run_out"]["ratio"] = ratio
    (blend,) = shop.pit(depth=0.03).plan().blends
    reach = blend.footprint.exterior.hausdorff_distance(blend.footprint.centroid)
    assert reach == pytest.approx(2.5, abs=0.003 * 0.5 + 2.0 * (1 - math.cos(math.pi / 64)))


def test_volume_of_a_round_dish(shop: Workshop) -> None:
    """Floor radius a, run-out r, depth d: a frustum, V = pi d (a^2 + a r + r^2 / 3)."""
    (blend,) = shop.pit(depth=0.08, radius=3.0).plan().blends
    a, r, d = 3.0, 1.0, 0.1
    # Polygons of 64 corners hold 0.16 % less than their circle, the slack adds 0.3 % of the run-out.
    assert blend.volume_mm3 == pytest.approx(math.pi * d * (a * a + a * r + r * r / 3.0), rel=0.004)


def test_pit_in_sound_metal_counts_from_the_original(shop: Workshop) -> None:
    """Nothing was removed here: the depth is below the original contour and the sum is the depth."""
    (blend,) = shop.pit().plan().blends
    assert blend.removal.measured_from is MeasuredFrom.ORIGINAL
    assert blend.after.removed.value == pytest.approx(0.05)
    assert blend.verdict is Verdict.WITHIN


def test_pit_in_an_earlier_blend_adds(shop: Workshop) -> None:
    """A pit read from the bottom of an earlier dish lies below it: 0.060 + 0.050 = 0.110 > 0.100 mm."""
    shop.remove(0.06)
    (blend,) = shop.pit().plan().blends
    assert blend.removal.measured_from is MeasuredFrom.CURRENT
    assert blend.after.removed.value == pytest.approx(0.110)
    assert blend.verdict is Verdict.OVER
    assert blend.stop_depth == pytest.approx(0.040)
    assert not blend.reaches_depth


def test_the_other_face_counts(shop: Workshop) -> None:
    """0.04 gone on the inner face and 0.05 planned on the outer make 0.09 of 0.10; 0.06 is the stop."""
    shop.remove(0.04, face="inner")
    (blend,) = shop.pit().plan().blends
    assert blend.removal.measured_from is MeasuredFrom.ORIGINAL
    assert blend.after.removed.value == pytest.approx(0.09)
    assert blend.stop_depth == pytest.approx(0.06)


def test_plans_on_both_faces_add(shop: Workshop) -> None:
    """Two pits back to back, 0.05 and 0.06 planned: 0.11 over 0.10; each may go to the other's rest."""
    outer, inner = shop.pit().pit(depth=0.04, face=Face.INNER).plan().blends
    assert outer.verdict is inner.verdict is Verdict.OVER
    assert outer.stop_depth == pytest.approx(0.04)
    assert inner.stop_depth == pytest.approx(0.05)


def test_stop_depth_leaves_five_percent(shop: Workshop) -> None:
    """Limit 0.100, gauge u 0.004 alone: stop = 0.100 - 1.645 x 0.004 (one-sided normal, 95 %)."""
    (blend,) = shop.pit(depth=0.03, u=0.004).plan().blends
    assert blend.stop_depth == pytest.approx(0.1 - Z95 * 0.004, abs=1e-9)


def test_stop_depth_adds_one_gauge_linearly(shop: Workshop) -> None:
    """Earlier dish and pit read with one gauge: systematic parts add, random ones in quadrature.

    Stop = 0.1 - 0.04 - z sqrt((s + s)^2 + u1^2 + u2^2) with s 0.003, u1 0.002, u2 0.004.
    """
    shop.instruments = [{"id": "DG", "u_systematic": 0.003}]
    shop.remove(0.04)
    shop.removals[0]["depth"] = {"value": 0.04, "u": 0.002, "instrument": "DG"}
    shop.pit(depth=0.01, u=0.004, instrument="DG", u_systematic=0.003)
    (blend,) = shop.plan().blends
    spread = math.sqrt(0.006**2 + 0.002**2 + 0.004**2)
    assert blend.stop_depth == pytest.approx(0.06 - Z95 * spread, abs=1e-9)


def test_nothing_left_to_give(shop: Workshop) -> None:
    """Where the limit is already passed the bench may not begin: stop depth 0."""
    shop.remove(0.12)
    (blend,) = shop.pit().plan().blends
    assert blend.stop_depth == 0.0
    assert blend.verdict is Verdict.OVER


def test_without_a_limit_nothing_is_within(shop: Workshop) -> None:
    """No limit set: the verdict is not determined and there is no stop depth."""
    del shop.member["limit"]
    (blend,) = shop.pit().plan().blends
    assert blend.verdict is Verdict.NOT_DETERMINED
    assert blend.stop_depth is None


def test_a_limit_zone_under_the_run_out_sets_the_stop(shop: Workshop) -> None:
    """A zone with limit 0.02 begins where the run-out still takes half: the bench may go to 0.04.

    Pit radius 2 at 450, planned 0.05 deep, run-out 0.5; the zone begins 2.25 from the middle, half-way.
    The slack of 0.3 % of the run-out moves that by 0.006 of the depth.
    """
    zone = [[452.25, 150], [500, 150], [500, 250], [452.25, 250]]
    shop.member["limit_zones"] = [
        {"id": "Z", "outline": zone, "limit": {"depth": 0.02, "source": "invented manual, 9"}}
    ]
    (blend,) = shop.pit(depth=0.03).plan().blends
    assert blend.stop_depth == pytest.approx(0.04, rel=0.015)
    assert blend.verdict is Verdict.OVER
    assert any(conflict.source == "invented manual, 9" for conflict in blend.conflicts)


def test_a_thin_limit_zone_is_not_missed(shop: Workshop) -> None:
    """A zone 0.02 mm wide, a tenth of the grid, in the floor's full depth: 0.05 over its limit of 0.02."""
    zone = [[451.11, 150], [451.13, 150], [451.13, 250], [451.11, 250]]
    shop.member["limit_zones"] = [
        {"id": "Z", "outline": zone, "limit": {"depth": 0.02, "source": "invented manual, 9"}}
    ]
    (blend,) = shop.pit().plan().blends
    assert blend.verdict is Verdict.OVER
    assert blend.stop_depth == pytest.approx(0.02)


def test_a_reading_that_shows_more_removed_counts(shop: Workshop) -> None:
    """A thickness reading of 0.93 under the pit shows 0.07 gone that no entry knows: 0.07 + 0.05 = 0.12."""
    shop.read((450, 200), 0.93, 0.001)
    (blend,) = shop.pit().plan().blends
    assert blend.after.removed.value == pytest.approx(0.12)
    assert blend.verdict is Verdict.OVER


def test_indicative_depths_prove_nothing(shop: Workshop) -> None:
    """A depth read from light cannot prove the sum after its blend within the limit."""
    (blend,) = shop.pit(flags=frozenset({Flag.INDICATIVE})).plan().blends
    assert blend.verdict is Verdict.TOO_CLOSE


def test_a_blend_out_without_depth_leaves_the_plan_undetermined(shop: Workshop) -> None:
    """What a blend-out of unknown depth took under the pit is not known, so neither is the sum."""
    shop.blend_out(None, id="B1").pit()
    (blend,) = shop.plan().blends
    assert blend.verdict is Verdict.NOT_DETERMINED
    assert "B1" in " ".join(blend.notes)


def test_margin_between_an_earlier_dish_and_the_floor_is_found(shop: Workshop) -> None:
    """The sum peaks between floor and dish, not at either's deepest point: found to 1 % of the depth.

    Dish of 0.06, radius 10, centre 4 from the pit: on the line between them the run-out falls as
    0.05 (1 - x / 0.5) beyond the floor's edge while the dish rises as 0.06 (1 - ((2 - x)/10)^2); a fine
    scan of that closed form gives the peak.
    """
    shop.remove(
        0.06,
        profile="dished",
        face="inner",
        footprint={"type": "Circle", "center": [454, 200], "radius": 10},
    )
    (blend,) = shop.pit().plan().blends
    x = np.linspace(0.0, 0.5, 10_001)
    peak = float(np.max(0.05 * (1 - x / 0.5) + 0.06 * (1 - ((2 - x) / 10) ** 2)))
    assert blend.after.removed.value == pytest.approx(peak, abs=0.0005)


def test_moving_the_allowance_moves_the_plan(shop: Workshop) -> None:
    """The plan is a function of the survey: 0.03 mm more allowance is 0.03 mm more depth."""
    before = shop.pit().plan().blends[0].depth
    shop.planning["allowance"] = {"depth": 0.05, "source": SOURCE}
    assert shop.plan().blends[0].depth == pytest.approx(before + 0.03)


def crowd(seed: int) -> Workshop:
    """Scatter earlier dishes and two pits, back to back, over a few millimetres."""
    rng = np.random.default_rng(seed)
    shop = Workshop()
    for number in range(4):
        shop.remove(
            float(rng.uniform(0.01, 0.05)),
            u=float(rng.uniform(0, 0.004)),
            profile=("dished", "faired", "flat")[number % 3],
            run_out={"total": 80} if number % 3 == 1 else None,
            face=("outer", "inner")[int(rng.integers(2))],
            measured_from=("original", "current")[int(rng.integers(2))],
            footprint={
                "type": "Circle",
                "center": [450 + float(rng.uniform(-4, 4)), 200 + float(rng.uniform(-4, 4))],
                "radius": float(rng.uniform(1.5, 5)),
            },
        )
    shop.planning["run_out"]["ratio"] = {"total": 60}
    shop.pit(u=0.003).pit((452, 201), 0.02, u=0.002, face=Face.INNER)
    return shop


def brute(shop: Workshop, removal: MemberRemoval, footprint: Polygon) -> float:
    """Largest T + 1.645 u - L over a fine grid of the footprint, mm."""
    x0, y0, x1, y1 = footprint.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 101), np.linspace(y0, y1, 101)), axis=-1)
    points = grid.reshape(-1, 2)
    seen = removal.field(points[shapely.intersects_xy(footprint, points[:, 0], points[:, 1])])
    return float((seen.removed + Z95 * seen.u - seen.limit).max())


@pytest.mark.parametrize("seed", range(6))
def test_no_place_is_worse_than_the_one_found(seed: int) -> None:
    """A grid of 101 x 101 points finds no sum further beyond the limit, but for half a micrometre."""
    shop = crowd(seed)
    plan = shop.plan()
    for blend in plan.blends:
        found = blend.after.removed.value + Z95 * blend.after.removed.u - (blend.after.limit or 0.0)
        assert found >= brute(shop, plan.after, blend.footprint) - 0.0005


@pytest.mark.parametrize("seed", range(6))
def test_the_stop_depth_is_the_last_allowed(seed: int) -> None:
    """Ground to the stop depth the sum just keeps 5 %, ground 1 % deeper it does not, or nothing is left.

    Checked by summing anew with that depth on a grid of 101 x 101 points, to half a micrometre.
    """
    shop = crowd(seed)
    plan = shop.plan()
    for blend in plan.blends:
        assert blend.stop_depth is not None
        for factor, holds in ((1.0, True), (1.01, False)):
            entries = [
                replace(e, depth=blend.stop_depth * factor) if e is blend.entry else e
                for e in plan.after.entries
            ]
            ground = MemberRemoval(shop.layout, EntryList(entries, []), 0.05)
            beyond = brute(shop, ground, blend.footprint)
            if holds and blend.stop_depth > 0.0:
                assert beyond <= 0.0005
            if not holds and blend.stop_depth > 0.0:
                spot = ground.spot(blend.stop_at or blend.after.at)
                assert (spot.probability_over or 0.0) > 0.05
