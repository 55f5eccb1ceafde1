"""Depth from shadow and focus: closed forms of plane geometry, Monte Carlo, refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.errors import MetrologyError
from corrosion.light import (
    FocusPoint,
    Gnomon,
    Lamp,
    ShadowEnd,
    Sight,
    fitted_focus,
    focus_depth,
    judged_focus,
    shadow_depth,
)
from corrosion.quantity import Measured
from corrosion.terms import INDICATIVE_METHODS, DepthMethod, Flag, Relation


def mm(value: float, u: float = 0.0) -> Measured:
    """Length with one contribution of its own."""
    return Measured(value, "mm", own={"mark": u})


def lamp(degrees: float, u_degrees: float = 0.0) -> Lamp:
    """Lamp by degrees."""
    return Lamp(math.radians(degrees), math.radians(u_degrees))


# Plane trigonometry: a right triangle's opposite side is its adjacent side times the tangent.
@pytest.mark.parametrize(
    ("run", "degrees", "depth"),
    [(10.0, 45.0, 10.0), (math.sqrt(3.0), 30.0, 1.0), (2.0, math.degrees(math.atan(0.25)), 0.5)],
)
def test_depth_is_run_times_tangent(run: float, degrees: float, depth: float) -> None:
    """A shadow of known run under a known light gives the right triangle's height."""
    result = shadow_depth(mm(run), lamp(degrees), length_px=50)
    assert result.depth.value == pytest.approx(depth, rel=1e-12)
    assert result.relation is Relation.EQUAL


@pytest.mark.parametrize(("degrees", "u", "share"), [(20, 2, 0.1086), (10, 2, 0.2041)])
def test_light_angle_governs_at_grazing_light(degrees: float, u: float, share: float) -> None:
    """Relative uncertainty by the elevation alone is 2 u_e / sin 2e (derivative of the tangent)."""
    depth = shadow_depth(mm(3.0), lamp(degrees, u), length_px=50).depth
    assert depth.u / depth.value == pytest.approx(share, abs=5e-5)
    assert (Flag.FIRST_ORDER_DOUBTFUL in depth.flags) is (share > 0.15)


@given(
    depth=st.floats(0.05, 3.0), degrees=st.floats(6, 44), tilt=st.floats(0, 35), turn=st.floats(-180, 180)
)
def test_a_tilted_view_is_undone(depth: float, degrees: float, tilt: float, turn: float) -> None:
    """The projected tip, built in three dimensions and followed to the surface, gives the depth back."""
    e, v, d = (math.radians(a) for a in (degrees, tilt, turn))
    if 1 / math.tan(e) + math.tan(v) * math.cos(d) < 0.25 / math.tan(e):
        return
    tip = np.array([depth / math.tan(e), 0.0, -depth])
    to_camera = np.array([math.sin(v) * math.cos(d), math.sin(v) * math.sin(d), math.cos(v)])
    seen = tip + to_camera * (depth / to_camera[2])
    # Only the part along the light is the length of the shadow.
    result = shadow_depth(mm(float(seen[0])), lamp(degrees), length_px=50, sight=Sight(v, 0.0, d))
    assert seen[2] == pytest.approx(0.0, abs=1e-12)
    assert result.depth.value == pytest.approx(depth, rel=1e-9)


def test_first_order_agrees_with_monte_carlo() -> None:
    """Propagating distributions (JCGM 101:2008, clause 7) gives the same standard uncertainty."""
    rng = np.random.default_rng(7)
    n = 400_000
    length, e, v = rng.normal(4.0, 0.1, n), rng.normal(0.45, 0.012, n), rng.normal(0.2, 0.03, n)
    drawn = length / (1 / np.tan(e) + np.tan(v) * math.cos(0.6))
    depth = shadow_depth(mm(4.0, 0.1), Lamp(0.45, 0.012), length_px=80, sight=Sight(0.2, 0.03, 0.6)).depth
    # The sample's own relative uncertainty is 1 / sqrt(2 n) = 0.11 %; second order adds below 1 %.
    assert depth.u == pytest.approx(float(drawn.std()), rel=0.015)
    assert depth.value == pytest.approx(float(drawn.mean()), rel=0.005)


def test_gnomon_agrees_with_monte_carlo() -> None:
    """With a post of known height the relative variances of both shadows and the height add."""
    rng = np.random.default_rng(8)
    n = 400_000
    drawn = rng.normal(2.0, 0.02, n) * rng.normal(1.5, 0.05, n) / rng.normal(5.0, 0.1, n)
    depth = shadow_depth(mm(1.5, 0.05), Gnomon(mm(2.0, 0.02), mm(5.0, 0.1)), length_px=40).depth
    assert depth.value == pytest.approx(0.6, rel=1e-12)
    assert depth.u / depth.value == pytest.approx(math.sqrt(0.01**2 + (1 / 30) ** 2 + 0.02**2), rel=1e-12)
    assert depth.u == pytest.approx(float(drawn.std()), rel=0.015)


def test_an_error_of_scale_cancels_between_the_two_shadows() -> None:
    """Pit and post in one photo share its scale: their ratio does not feel it."""
    scale = {"photo f1: scale": np.array([0.05])}
    pit = Measured(1.5, "mm", shared={"photo f1: scale": np.array([0.015])})
    post = Measured(5.0, "mm", shared=scale)
    depth = shadow_depth(pit, Gnomon(mm(2.0), post), length_px=40).depth
    assert depth.u == pytest.approx(0.0, abs=1e-12)


def test_a_broad_lamp_blurs_the_tip() -> None:
    """The half-shadow, h a / sin^2 e wide (geometry of a small source), goes into the length."""
    bare = shadow_depth(mm(2.0), lamp(30), length_px=50).depth
    blurred = shadow_depth(mm(2.0), lamp(30), length_px=50, source_rad=0.05).depth
    width = bare.value * 0.05 / math.sin(math.radians(30)) ** 2
    assert blurred.u == pytest.approx(width / math.sqrt(12) * math.tan(math.radians(30)), rel=1e-12)
    # From rays: edges of the lamp half of a away either side.
    near, far = (bare.value / math.tan(math.radians(30) + s * 0.025) for s in (1, -1))
    assert far - near == pytest.approx(width, rel=0.01)


@pytest.mark.parametrize(
    ("end", "relation", "flag"),
    [
        (ShadowEnd.FAR_WALL, Relation.AT_LEAST, Flag.LOWER_BOUND),
        (ShadowEnd.NONE, Relation.AT_MOST, Flag.UPPER_BOUND),
    ],
)
def test_a_shadow_that_ends_nowhere_gives_a_bound(end: ShadowEnd, relation: Relation, flag: Flag) -> None:
    """Filled with shadow a pit of width W is deeper than W tan e; without any it is shallower."""
    result = shadow_depth(mm(2.0, 0.05), lamp(20, 1), length_px=40, end=end)
    assert result.relation is relation
    assert flag in result.depth.flags
    assert result.depth.value == pytest.approx(2.0 * math.tan(math.radians(20)), rel=1e-12)


def test_every_depth_from_light_says_it_is_indicative() -> None:
    """Neither method may prove a depth, and both say so in flag, method and words."""
    shadow = shadow_depth(mm(2.0), lamp(20), length_px=40)
    focus = focus_depth(judged_focus([1.0], 0.05), judged_focus([1.4], 0.05))
    for result in (shadow, focus):
        assert Flag.INDICATIVE in result.depth.flags
        assert result.method in INDICATIVE_METHODS
        assert "ndicative" in result.caution


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"light": None}, "height of the light"),
        ({"light": lamp(46)}, "46.0 deg"),
        ({"light": lamp(4)}, "4.0 deg"),
        ({"light": lamp(135)}, "135.0 deg"),
        ({"light": lamp(-20)}, "not a positive"),
        ({"light": Gnomon(mm(2.0), mm(1.0))}, "63.4 deg"),
        ({"light": Gnomon(mm(0.0), mm(1.0))}, "gnomon height"),
        ({"length_px": 4.9}, "4.9 px"),
        ({"length_px": math.nan}, "too short"),
        ({"specular_floor": True}, "mirrors"),
        ({"length": mm(0.0)}, "shadow length"),
        ({"sight": Sight(math.radians(80), 0.0, math.pi)}, "80 deg"),
    ],
)
def test_a_shadow_that_proves_nothing_is_refused(changes: dict[str, object], word: str) -> None:
    """Each refusal names the value that made it."""
    settings: dict[str, object] = {"length": mm(2.0), "light": lamp(20), "length_px": 40.0} | changes
    with pytest.raises(MetrologyError, match=word):
        shadow_depth(settings.pop("length"), settings.pop("light"), **settings)  # type: ignore[arg-type]


def test_focus_travel_is_a_difference_times_the_scale() -> None:
    """Depth is travel times scale; the budget adds both judgements, scale and backlash in quadrature."""
    rim, floor = judged_focus([2.0, 2.0, 2.0], 0.06), judged_focus([2.5, 2.5, 2.5], 0.06)
    result = focus_depth(rim, floor, scale=1.02, u_scale=0.01, backlash=0.004)
    judged = 1.02 * 0.06 / (2 * math.sqrt(3))
    assert result.depth.value == pytest.approx(0.51, rel=1e-12)
    expected = math.sqrt(2 * judged**2 + (0.5 * 0.01) ** 2 + 0.004**2)
    assert result.depth.u == pytest.approx(expected, rel=1e-12)
    assert result.method is DepthMethod.FOCUS_TRAVEL


def test_scatter_counts_from_three_readings_on() -> None:
    """Type A: standard deviation of the mean (JCGM 100:2008, 4.2.3); two readings give none."""
    three = judged_focus([1.00, 1.02, 1.04], 0.02)
    assert three.contributions["scatter"] == pytest.approx(0.02 / math.sqrt(3), rel=1e-12)
    assert "scatter" not in judged_focus([1.00, 1.04], 0.02).contributions


def test_a_parabola_of_sharpness_peaks_where_it_was_put() -> None:
    """An exact parabola gives its vertex back, with the sampling floor step / sqrt 12 for uncertainty."""
    z = 0.1 * np.arange(7)
    point = fitted_focus(z.tolist(), (5.0 - (z - 0.33) ** 2).tolist())
    assert point.position == pytest.approx(0.33, abs=1e-9)
    assert point.contributions["focus curve"] == pytest.approx(0.1 / math.sqrt(12), rel=1e-6)


def test_a_noisy_curve_is_as_uncertain_as_it_scatters() -> None:
    """Over many noisy curves the spread of the peak is within its stated uncertainty."""
    rng = np.random.default_rng(3)
    z = 0.1 * np.arange(9)
    clean = 5.0 - 40.0 * (z - 0.41) ** 2
    points = [fitted_focus(z.tolist(), (clean + rng.normal(0, 0.3, 9)).tolist()) for _ in range(400)]
    spread = float(np.std([p.position for p in points]))
    stated = float(np.sqrt(np.mean([p.contributions["focus curve"] ** 2 for p in points])))
    assert spread <= 1.1 * stated
    assert abs(float(np.mean([p.position for p in points])) - 0.41) < 3 * spread / 20 + 0.003


def test_focus_that_proves_nothing_is_refused() -> None:
    """Depth of field, direction of travel, too few steps and a curve without a peak are refused."""
    rim = judged_focus([1.0], 0.5)
    with pytest.raises(MetrologyError, match="depth of field"):
        focus_depth(rim, judged_focus([1.4], 0.5))
    down = replace(judged_focus([1.9], 0.5), upwards=False)
    with pytest.raises(MetrologyError, match="different directions"):
        focus_depth(rim, down)
    assert focus_depth(rim, down, backlash=0.01).depth.value == pytest.approx(0.9)
    with pytest.raises(MetrologyError, match="4 steps"):
        fitted_focus([0, 1, 2, 3], [1, 2, 2, 1])
    with pytest.raises(MetrologyError, match="does not peak"):
        fitted_focus([0, 1, 2, 3, 4], [1, 2, 3, 4, 5])
    with pytest.raises(MetrologyError, match="travel scale"):
        focus_depth(rim, judged_focus([2.0], 0.5), scale=0.0)
    with pytest.raises(MetrologyError, match="readings"):
        judged_focus([], 0.5)
    both = FocusPoint(1.0, {}, 0.1, None)
    with pytest.raises(MetrologyError, match="different directions"):
        focus_depth(both, both)
