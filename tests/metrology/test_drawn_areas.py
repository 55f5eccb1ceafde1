"""Areas by Monte Carlo: when they are used, what they say, and how often they hold the truth."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.errors import CorrosionError
from corrosion.marks import outline_of
from corrosion.measure import measure_photo
from corrosion.measure._drawn import _drawn_matrices, drawn_areas, horizon_doubt
from corrosion.measure._mapped import MappedMark, area_of
from corrosion.model import Photo, SurveyFile
from corrosion.montecarlo import DRAWS, SEED, Drawn, DrawnMeasured
from corrosion.quantity import total
from corrosion.report import measures_json
from corrosion.scale import fit_scale
from corrosion.terms import Flag
from tests.metrology.pinhole import Pinhole, area, ngon, pairs, polygon_mark, rectangle, survey_of

REFERENCE = rectangle(60, 40)
Rng = np.random.Generator


def mapped(photo: Photo, survey: SurveyFile) -> MappedMark:
    scale = fit_scale(photo, survey, None)
    return MappedMark.of(outline_of(photo.marks[0], survey.settings, None, "mark"), scale, "mark")


def square_on(radius_px: float, u_edge: float, sigma: float = 1e-9) -> tuple[Photo, SurveyFile]:
    """Draw a 16-gon seen square on at 4 px/mm; nothing uncertain but its edge and its vertices."""
    view = Pinhole()
    scale = {
        "kind": "points",
        "image": pairs(view.see(REFERENCE)),
        "plane": pairs(REFERENCE),
        "sigma_px": 1e-6,
        "u_plane": 0,
    }
    mark = polygon_mark(ngon(16, radius_px, (800, 600)), u_edge_px=u_edge, sigma_px=sigma)
    return survey_of(scale, [mark])


def test_drawn_area_of_a_common_edge_has_its_closed_form() -> None:
    """A 16-gon moved out by d grows by P d + 16 tan(pi/16) d^2, so u^2 = (P u_e)^2 + 2 (c u_e^2)^2.

    Bound: 4 standard errors of a standard deviation of 20 000 draws, 4 / sqrt(2 M) = 2 %.
    """
    radius, u_edge = 5.0, 0.7
    photo, survey = square_on(radius, u_edge)
    drawn = Drawn.of(drawn_areas(mapped(photo, survey), "mark"), seed=SEED)
    perimeter = 32 * radius * math.sin(math.pi / 16)
    second = 16 * math.tan(math.pi / 16)
    u_px2 = math.hypot(perimeter * u_edge, math.sqrt(2) * second * u_edge**2)
    assert drawn.u == pytest.approx(u_px2 / 16, rel=0.02)
    # At 4 px/mm one mm2 is 16 px2; the draws lean to the larger side by c u_e^2.
    mean = area(ngon(16, radius)) / 16 + second * u_edge**2 / 16
    assert drawn.mean == pytest.approx(mean, abs=4 * drawn.u / math.sqrt(DRAWS))
    assert drawn.symmetric[1] - drawn.mean > drawn.mean - drawn.symmetric[0]


@pytest.mark.parametrize(("radius_px", "by_draws"), [(7.2, False), (6.6, True)])
def test_the_switch_is_at_fifteen_percent(radius_px: float, by_draws: bool) -> None:
    """Up to 15 % of the area first order is used; above, draws, with seed, number and interval."""
    photo, survey = square_on(radius_px, 0.5, sigma=0.5)
    quantities = measure_photo(photo, survey).marks[0].quantities
    for name in ("area", "equivalent_diameter"):
        assert isinstance(quantities[name], DrawnMeasured) is by_draws
    found = quantities["area"]
    assert (Flag.FIRST_ORDER_DOUBTFUL in found.flags) is by_draws
    if isinstance(found, DrawnMeasured):
        assert found.drawn is not None
        assert (found.drawn.seed, found.drawn.draws) == (SEED, DRAWS)
        assert found.u == pytest.approx(found.drawn.u, rel=1e-12)
        low, high = found.drawn.shortest
        assert low < found.value < high


def test_the_same_file_gives_the_same_numbers() -> None:
    """Measured twice, a drawn area has the same u and interval to the last digit."""
    first, again = (measure_photo(*square_on(5.0, 0.5)).marks[0].quantities["area"] for _ in range(2))
    assert isinstance(first, DrawnMeasured)
    assert isinstance(again, DrawnMeasured)
    assert first.drawn == again.drawn
    assert first.u == again.u


def test_sums_keep_the_shared_part_of_drawn_areas() -> None:
    """Two drawn areas with one common edge add their u linearly, and a sum has no stale interval."""
    found = measure_photo(*square_on(5.0, 0.5)).marks[0].quantities["area"]
    both = total([found, found], "mm2")
    assert both.u == pytest.approx(2 * found.u, rel=1e-3)
    assert not isinstance(both, DrawnMeasured)
    assert not isinstance(found.scaled(2.0), DrawnMeasured)
    assert found.scaled(2.0).u == pytest.approx(2 * found.u)


def test_bar_areas_are_drawn_with_their_tilt() -> None:
    """A bar's draws have first order's u where all is small, its rectangular tilt included."""
    view = Pinhole()
    bar = {
        "kind": "bar",
        "image": pairs(view.see([[-30, 0], [30, 0]])),
        "length": 60,
        "u_length": 0.3,
        "max_tilt_deg": 15,
    }
    photo, survey = survey_of(bar, [polygon_mark(view.see(ngon(16, 8)))])
    mark = mapped(photo, survey)
    assert Drawn.of(drawn_areas(mark, "mark"), seed=SEED).u == pytest.approx(area_of(mark).u, rel=0.03)
    assert horizon_doubt(mark) == 0.0


def hard_case(rng: Rng, reference_px: float, tilt_deg: float, off: float, sigma: float) -> dict[str, Any]:
    """One small, oblique reference with a pit far from it, both clicked with noise."""
    view = Pinhole(
        tilt=math.radians(tilt_deg),
        direction=rng.uniform(0, 2 * math.pi),
        roll=rng.uniform(0, 2 * math.pi),
        distance=60 * 1200 / reference_px,
        shift=(rng.uniform(-5, 5), rng.uniform(-5, 5)),
    )
    angle = rng.uniform(0, 2 * math.pi)
    pit = ngon(16, rng.uniform(5, 9), (30 * off * math.cos(angle), 30 * off * math.sin(angle)))
    scale = {
        "kind": "points",
        "image": pairs(view.see(REFERENCE) + rng.normal(0, sigma, REFERENCE.shape)),
        "plane": pairs(REFERENCE),
        "sigma_px": sigma,
        "u_plane": 0,
    }
    mark = polygon_mark(view.see(pit) + rng.normal(0, 0.5, pit.shape))
    photo, survey = survey_of(scale, [mark], size=None, settings={"edge_u_px": 0.0})
    return {"mark": mapped(photo, survey), "true": area(pit)}


@pytest.mark.parametrize(
    ("reference_px", "tilt_deg", "off", "sigma", "trials", "first_fails"),
    [(40, 60, 4, 0.5, 120, False), (40, 60, 2, 2.0, 250, True), (120, 30, 0, 2.0, 120, False)],
    ids=["far up the slope", "coarse clicks", "easy"],
)
def test_draws_hold_the_truth_where_first_order_breaks(
    reference_px: float, tilt_deg: float, off: float, sigma: float, trials: int, first_fails: bool
) -> None:
    """Symmetric 95 % intervals of the draws hold the truth in 95 % of cases, less 3.3 standard errors.

    The hard cases of the project's metrology tables, where first order covered 0.912 and 0.872; trials
    whose reference is refused outright do not count. Below 0.85 first order is seen to fail.
    """
    rng = np.random.default_rng(5)
    drawn_hits, first_hits = [], []
    for _ in range(trials):
        try:
            case = hard_case(rng, reference_px, tilt_deg, off, sigma)
            low, high = Drawn.of(drawn_areas(case["mark"], "mark", count=1000), seed=SEED).symmetric
        except CorrosionError:
            continue
        first = area_of(case["mark"])
        drawn_hits.append(low <= case["true"] <= high)
        first_hits.append(abs(first.value - case["true"]) <= 1.96 * first.u)
    assert len(drawn_hits) > 50
    assert np.mean(drawn_hits) >= 0.95 - 3.3 * math.sqrt(0.95 * 0.05 / len(drawn_hits))
    assert bool(np.mean(first_hits) < 0.85) is first_fails


@pytest.mark.parametrize("reference_px", [400, 40])
def test_horizon_doubt_is_the_spread_of_the_divisor(reference_px: float) -> None:
    """The stated u(q3) / q3 is what q3 scatters by over drawn homographies, where that is small.

    Bound: 4 / sqrt(2 M) = 5 % at 3000 draws, and another 5 % for what first order leaves out.
    """
    rng = np.random.default_rng(2)
    mark = hard_case(rng, reference_px, 60, 2, 0.5)["mark"]
    fit = mark.scale.homography
    inverse = np.linalg.inv(_drawn_matrices(fit, mark.scale.reference_plane, 3000, rng))
    seen = np.column_stack([fit.to_image(mark.outline.points_px), np.ones(16)])
    q3 = seen @ inverse[:, 2].T
    spread = (q3.std(axis=1) / (seen @ np.linalg.inv(fit.matrix)[2])).max()
    assert horizon_doubt(mark) == pytest.approx(spread, rel=0.1)
    assert (horizon_doubt(mark) > 0.03) is (reference_px == 40)


def test_the_json_form_has_interval_seed_and_draws() -> None:
    """A reader of the JSON finds what repeats a drawn area; a first-order one has null there."""
    drawn, plain = (
        measures_json([measure_photo(*square_on(radius, 0.5))], "mm", problems=[])["photos"][0]["marks"][0]
        for radius in (5.0, 50.0)
    )
    found = drawn["quantities"]["area"]
    assert (found["drawn"]["seed"], found["drawn"]["draws"], found["drawn"]["coverage"]) == (
        SEED,
        DRAWS,
        0.95,
    )
    for kind in ("shortest", "symmetric"):
        low, high = found["drawn"][kind]
        assert low < found["value"] < high
        assert 3.0 * found["u"] < high - low < 4.5 * found["u"]
    assert plain["quantities"]["area"]["drawn"] is None
