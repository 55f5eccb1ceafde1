"""Draws of discs, rules and cylinders: closed forms of bent models, and whole refits by brute force."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from corrosion.measure._drawn import drawn_areas
from corrosion.measure._mapped import MappedMark, area_of
from corrosion.model import Photo, PolygonShape, SurveyFile
from corrosion.montecarlo import DRAWS, SEED, Drawn
from corrosion.scale import RulePlane, fit_scale
from tests.metrology.pinhole import SIZE, Pinhole, area, ngon, pairs, polygon_mark, survey_of
from tests.metrology.test_cylinder import AXIS, RADIUS, REFERENCE, TubeView
from tests.metrology.test_disc import LENS, D, disc_seen
from tests.metrology.test_drawn_areas import mapped
from tests.metrology.test_rule import ticks_seen

STILL = {"u_edge_px": 0.0, "sigma_px": 1e-6}
LOW, HIGH = norm.ppf([0.025, 0.975])
# Ends of a 95 % interval of M draws have a standard error of sqrt(0.025 x 0.975 / M) / pdf(1.96) = 0.0189 u
# of a normal; tests allow four of those, of the wider half.
END = 4.0 * math.sqrt(0.025 * 0.975 / DRAWS) / norm.pdf(HIGH)


def assert_ends(found: Drawn, ends: tuple[float, float]) -> None:
    assert found.symmetric == pytest.approx(sorted(ends), abs=END * (max(ends) - min(ends)) / 2.0)


def drawn(mark: MappedMark) -> Drawn:
    return Drawn.of(drawn_areas(mark, "mark"), seed=SEED)


def test_a_disc_of_doubtful_rim_has_its_closed_form() -> None:
    """Square on, a rim e px further out makes areas r^2 / (r + e)^2 of theirs, so quantiles follow e's.

    First order would put the ends alike far from the value: here 10 % of the interval off.
    """
    view = Pinhole(distance=600.0)
    radius_px = view.focal * D / 2 / view.distance
    photo, survey = survey_of(
        disc_seen(view, count=200) | {"u_edge_px": 0.07 * radius_px},
        [polygon_mark(view.see(ngon(24, 3.0)), **STILL)],
        lens=LENS,
    )
    mark = mapped(photo, survey)
    mark = replace(mark, alternatives=None)
    ends = tuple(area(ngon(24, 3.0)) / (1.0 + 0.07 * z) ** 2 for z in (LOW, HIGH))
    assert_ends(drawn(mark), ends)
    first = area_of(mark)
    assert abs(first.value + HIGH * first.u - max(ends)) > 2.0 * END * (max(ends) - min(ends)) / 2.0


def test_a_rule_of_doubtful_graduation_has_its_closed_form() -> None:
    """A graduation longer by a share s makes areas (1 + s)^2 of theirs: the ends are those of s."""
    view = Pinhole(tilt=math.radians(10), direction=0.6, distance=150)
    pit = ngon(24, 4.0, (5.0, 4.0))
    photo, survey = survey_of(
        ticks_seen(view) | {"u_scale": 0.12}, [polygon_mark(view.see(pit), **STILL)], lens=LENS
    )
    mark = exact_ticks(mapped(photo, survey))
    assert_ends(drawn(mark), tuple(area(pit) * (1.0 + 0.12 * z) ** 2 for z in (LOW, HIGH)))


def exact_ticks(mark: MappedMark) -> MappedMark:
    """Take the doubt of the ticks away: what is left is that of lens and graduation."""
    assert isinstance(mark.scale, RulePlane)
    rule = mark.scale.rule
    pencil = replace(rule.pencil, factor=np.zeros_like(rule.pencil.factor))
    return replace(mark, scale=replace(mark.scale, rule=replace(rule, pencil=pencil)))


def test_a_rule_without_a_lens_draws_what_whole_refits_give() -> None:
    """Lens unknown: the draws' u and mean are those of 200 refits with a lens profile drawn like it.

    The refits undistort picture and ticks by OpenCV's model, fit the ticks anew and measure. Focal length
    1.1 x the long side within e^0.35, middle within 1 % of the side, k1 within 0.02, as the scale says.
    Bounds: 4 standard errors of 200 refits: 4 / sqrt(400) = 20 % of u; of the mean 4 / sqrt(200) = 0.28 u.
    """
    view = Pinhole(tilt=math.radians(12), direction=0.6, distance=150 * 1.4, focal=1.1 * SIZE[0])
    pit = ngon(16, 4.0, (14.0, 9.0))
    outline = polygon_mark(view.see(pit), **STILL)
    found = drawn(exact_ticks(mapped(*survey_of(ticks_seen(view, count=41), [outline]))))
    rng = np.random.default_rng(11)
    refits = [_by_a_drawn_lens(rng, view, outline) for _ in range(200)]
    assert found.u == pytest.approx(np.std(refits, ddof=1), rel=0.20)
    assert found.mean == pytest.approx(np.mean(refits), abs=0.28 * found.u)


def _by_a_drawn_lens(rng: np.random.Generator, view: Pinhole, outline: dict[str, Any]) -> float:
    f = 1.1 * SIZE[0] * math.exp(0.35 * rng.standard_normal())
    cx, cy = (np.array(SIZE) - 1.0) / 2.0 + 0.01 * (SIZE[0] - 1.0) * rng.standard_normal(2)
    # Undistorting by -k1 moves points out by k1 r^2, to k1^2.
    lens = LENS | {"matrix": [f, f, cx, cy], "distortion": [-0.02 * rng.standard_normal(), 0.0, 0.0, 0.0]}
    photo, survey = survey_of(ticks_seen(view, count=41), [outline], lens=lens)
    return refitted(photo, survey)


def refitted(photo: Photo, survey: SurveyFile) -> float:
    """Area of a photo's one mark by a whole fit of its scale."""
    shape = photo.marks[0].shape
    assert isinstance(shape, PolygonShape)
    return area(fit_scale(photo, survey).to_plane(np.array(shape.coordinates[0])))


@pytest.mark.parametrize("inside", [False, True], ids=["outside", "inside"])
def test_a_doubtful_radius_has_its_closed_form(inside: bool) -> None:
    """From far and square on a strip at x1..x2 is R (asin(x2 / R) - asin(x1 / R)) wide: it falls with R.

    So the ends of the interval are the widths at the ends of R, 8 % off at 60 degrees of slope: bent.
    """
    view = TubeView(distance=5e4, inside=inside)
    seen = np.array([[24.0, -3.0], [32.0, -3.0], [32.0, 3.0], [24.0, 3.0]])
    tube = {
        "kind": "cylinder",
        "radius": RADIUS,
        "u_radius": 1.5,
        "axis": pairs(view.flat(AXIS)),
        "sigma_px": 1e-4,
        "seen_from": "inside" if inside else "outside",
    }
    scale = {"kind": "points", "image": pairs(view.flat(REFERENCE)), "plane": pairs(REFERENCE)}
    exact = scale | {"sigma_px": 1e-5, "u_plane": 0}
    photo, survey = survey_of(exact, [polygon_mark(view.flat(seen), **STILL)], surface=tube, lens=view.lens)
    mark = mapped(photo, survey)
    radii = RADIUS + 1.5 * np.array([LOW, HIGH])
    ends = tuple(6.0 * r * (math.asin(32.0 / r) - math.asin(24.0 / r)) for r in radii)
    # Perspective: the surface is up to R / D = 0.1 % nearer or farther.
    found = drawn(mark)
    assert_ends(found, ends)
    first = area_of(mark)
    assert abs(first.value - HIGH * first.u - min(ends)) > 2.0 * END * (max(ends) - min(ends)) / 2.0


def test_a_near_trough_draws_what_whole_refits_give() -> None:
    """Sheet, axis and radius all doubtful, near and oblique: the draws' u is that of 200 refits.

    Bounds: 4 standard errors, 4 / sqrt(400) = 20 % of u; of the mean 4 / sqrt(200) = 0.28 u.
    """
    view = TubeView(distance=120.0, lean=-0.2, pitch=0.2, inside=True)
    pit = ngon(12, 3.0, (19.0, 5.0))
    rng = np.random.default_rng(3)
    found = drawn(mapped(*_doubtful_tube(view, pit, 0.0, 0.0, 0.0)))
    refits = []
    for _ in range(200):
        noise, axis = rng.normal(0, 1.5, (4, 2)), rng.normal(0, 8.0, (2, 2))
        refits.append(refitted(*_doubtful_tube(view, pit, noise, axis, rng.normal(0, 2.0))))
    assert found.u == pytest.approx(np.std(refits, ddof=1), rel=0.20)
    assert found.mean == pytest.approx(np.mean(refits), abs=0.28 * found.u)


def _doubtful_tube(view: TubeView, pit: np.ndarray, noise: Any, axis: Any, radius: float) -> Any:
    scale = {
        "kind": "points",
        "image": pairs(view.flat(REFERENCE) + noise),
        "plane": pairs(REFERENCE),
        "sigma_px": 1.5,
        "u_plane": 0,
    }
    tube = {
        "kind": "cylinder",
        "radius": RADIUS + radius,
        "u_radius": 2.0,
        "axis": pairs(view.flat(AXIS) + axis),
        "sigma_px": 8.0,
        "seen_from": "inside" if view.inside else "outside",
    }
    return survey_of(scale, [polygon_mark(view.rolled(pit), **STILL)], surface=tube, lens=view.lens)


@pytest.mark.parametrize("kind", ["disc", "disc with its far side", "rule", "tube", "trough"])
def test_draws_are_first_order_where_all_is_small(kind: str) -> None:
    """Where every doubt is a percent or less, draws and first order have one u.

    Bound: 2 % for 20 000 draws (4 standard errors), 1 % for what is left of second order.
    """
    mark = mapped(*_ordinary(kind))
    first, found = area_of(mark), drawn(mark)
    assert first.u < 0.05 * first.value
    assert found.u == pytest.approx(first.u, rel=0.03)
    assert found == drawn(mark)


def _ordinary(kind: str) -> Any:
    own = {"u_edge_px": 0.1, "sigma_px": 0.2}
    if kind in {"tube", "trough"}:
        view = TubeView(distance=200.0, lean=0.2, pitch=0.1, inside=kind == "trough")
        tube = {
            "kind": "cylinder",
            "radius": RADIUS,
            "u_radius": 0.4,
            "axis": pairs(view.flat(AXIS)),
            "sigma_px": 2.0,
            "seen_from": "inside" if view.inside else "outside",
        }
        scale = {"kind": "points", "image": pairs(view.flat(REFERENCE)), "plane": pairs(REFERENCE)}
        mark = polygon_mark(view.rolled(ngon(16, 4.0, (15.0, 5.0))), **own)
        return survey_of(scale | {"sigma_px": 0.2}, [mark], surface=tube, lens=view.lens)
    camera = Pinhole(tilt=math.radians(12), direction=0.5, distance=150)
    mark = polygon_mark(camera.see(ngon(16, 4.0, (14.0, 3.0))), **own)
    if kind == "rule":
        return survey_of(ticks_seen(camera, 0.1) | {"u_scale": 1e-3}, [mark], lens=LENS)
    far = {"far": pairs(camera.see([[100.0, 60.0]]))[0]} if kind != "disc" else {}
    disc = disc_seen(camera, 0.3) | {"u_diameter": 0.05, "u_edge_px": 0.2}
    return survey_of(disc | far, [mark], lens=LENS)
