"""Scale references: closed forms, flags and refusals."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.errors import LensError, ScaleError
from corrosion.model import ID1_SIZE_MM
from corrosion.scale import SCALE_KINDS, PlaneScale, fit_scale
from corrosion.terms import Flag
from tests.metrology.pinhole import SIZE, Pinhole, area, ngon, pairs, rectangle, survey_of

LENS = {
    "id": "cam",
    "size": list(SIZE),
    "matrix": [1200, 1200, 799.5, 599.5],
    "distortion": [0.0, 0.0, 0.0, 0.0],
}
OBLIQUE = Pinhole(tilt=math.radians(40), direction=0.7, roll=0.4)
SQUARE_ON = Pinhole()
REFERENCE = rectangle(60, 40)


def fitted(scale: dict[str, Any], **more: Any) -> PlaneScale:
    photo, survey = survey_of(scale, [], **more)
    return fit_scale(photo, survey)


def points(image: np.ndarray, plane: np.ndarray = REFERENCE, **more: Any) -> dict[str, Any]:
    return {"kind": "points", "image": pairs(image), "plane": pairs(plane), **more}


def bar(image: np.ndarray, length: float, **more: Any) -> dict[str, Any]:
    return {"kind": "bar", "image": pairs(image), "length": length, **more}


def area_with(scale: PlaneScale, camera: Pinhole, outline_mm: np.ndarray) -> float:
    return area(scale.to_plane(camera.see(outline_mm)))


def test_every_kind_of_the_file_is_known() -> None:
    """Every scale kind the survey file allows has its fit."""
    assert {"bar", "points", "card"} <= set(SCALE_KINDS)


def test_identity_points_map_to_themselves() -> None:
    """Points that lie in the picture as on the plane, only larger, give exactly that scale."""
    scale = fitted(points(REFERENCE * 5 + 300))
    assert scale.to_plane(np.array([[300.0, 300], [350, 300]])) @ [1, 0] == pytest.approx([0, 10])
    assert scale.jacobian_points(np.array([[320.0, 310]]))[0] == pytest.approx(np.eye(2) / 5)


@pytest.mark.parametrize("tilt_deg", [0, 15, 30, 45, 60])
@pytest.mark.parametrize("plane", [REFERENCE, np.vstack([REFERENCE, [[0, 0], [10, 15], [-20, 5]]])])
def test_points_undo_any_tilt(tilt_deg: float, plane: np.ndarray) -> None:
    """A true pinhole view of the reference gives true areas, whatever the tilt."""
    camera = Pinhole(tilt=math.radians(tilt_deg), direction=2.0, roll=0.4)
    outline = ngon(24, 4, (12, -7))
    assert area_with(fitted(points(camera.see(plane), plane)), camera, outline) == pytest.approx(
        area(outline), rel=1e-9
    )


def test_plane_given_with_y_up_is_turned() -> None:
    """Plane points given with y up give the same areas, in a frame turned like the picture."""
    scale = fitted(points(OBLIQUE.see(REFERENCE), REFERENCE * [1, -1]))
    assert np.linalg.det(scale.jacobian_points(OBLIQUE.see([[1, 2]]))[0]) > 0
    outline = ngon(24, 4)
    assert area_with(scale, OBLIQUE, outline) == pytest.approx(area(outline), rel=1e-9)


@pytest.mark.parametrize("order", [[0, 1, 2, 3], [1, 0, 3, 2], [2, 3, 0, 1]])
def test_card_may_be_gone_round_either_way(order: list[int]) -> None:
    """The four corners of a card may be given clockwise or not, starting at either end of its side."""
    card = rectangle(*ID1_SIZE_MM)[order]
    scale = fitted({"kind": "card", "image": pairs(OBLIQUE.see(card))})
    assert area_with(scale, OBLIQUE, ngon(24, 4)) == pytest.approx(area(ngon(24, 4)), rel=1e-9)
    assert np.linalg.det(scale.jacobian_points(OBLIQUE.see([[1, 2]]))[0]) > 0


def test_card_edges_find_the_sharp_corners() -> None:
    """Edges of a card with rounded corners give the scale of its sharp rectangle."""
    card = rectangle(*ID1_SIZE_MM)
    sides = zip(card, np.roll(card, -1, axis=0), strict=True)
    edges = [OBLIQUE.see([a + t * (b - a) for t in (0.1, 0.4, 0.9)]) for a, b in sides]
    scale = fitted({"kind": "card", "edges": [pairs(edge) for edge in edges]})
    assert area_with(scale, OBLIQUE, ngon(24, 4)) == pytest.approx(area(ngon(24, 4)), rel=1e-9)
    assert scale.dof == 4


def test_bent_card_edge_is_flagged_and_widens() -> None:
    """Points on a card's edge that are not in line raise the misfit, the flag and the uncertainty."""
    card = rectangle(*ID1_SIZE_MM)
    sides = list(zip(card, np.roll(card, -1, axis=0), strict=True))

    def scale_with(bend_px: float) -> PlaneScale:
        edges = [OBLIQUE.see([a + t * (b - a) for t in (0.1, 0.3, 0.5, 0.7, 0.9)]) for a, b in sides]
        edges[0][2, 1] += bend_px
        return fitted({"kind": "card", "edges": [pairs(edge) for edge in edges]})

    straight, bent = scale_with(0.0), scale_with(3.0)
    assert Flag.RESIDUAL_HIGH in bent.flags - straight.flags
    name = "photo f1: reference points"
    here = OBLIQUE.see([[20, 10]])
    wide, narrow = (s.shared_sensitivities(here)[name] for s in (bent, straight))
    assert np.linalg.norm(wide) > 1.2 * np.linalg.norm(narrow)


@pytest.mark.parametrize(("along_deg", "ratio"), [(0.0, math.cos), (90.0, lambda t: 1 / math.cos(t))])
def test_bar_reads_area_by_the_cosine(along_deg: float, ratio: Any) -> None:
    """From far away a bar along the tilt axis reads cos t of the area, one down the slope 1 / cos t."""
    tilt = math.radians(25)
    # Tilted towards the picture's x: the tilt axis is its y, and the slope runs along x.
    far = Pinhole(tilt=tilt, direction=0.0, distance=3e5, focal=1.2e6)
    a = math.radians(along_deg)
    ends = far.see([[-20 * math.sin(a), -20 * math.cos(a)], [20 * math.sin(a), 20 * math.cos(a)]])
    scale = fitted(bar(ends, 40))
    assert area_with(scale, far, ngon(24, 4)) / area(ngon(24, 4)) == pytest.approx(ratio(tilt), rel=1e-3)


def test_bar_without_tilt_has_no_uncertainty() -> None:
    """Without a stated largest tilt a bar gives a value and no interval is invented."""
    scale = fitted(bar(SQUARE_ON.see([[-20, 0], [20, 0]]), 40))
    assert not scale.known
    assert Flag.TILT_NOT_STATED in scale.flags
    assert scale.alternatives(SQUARE_ON.see([[5, 5]])) is None


@pytest.mark.parametrize(
    ("change", "flag"),
    [
        ({"u_length": None}, Flag.TOLERANCE_NOT_STATED),
        ({"max_tilt_deg": 15}, Flag.TILT_ASSUMED),
        ({"height": 1.0}, Flag.REFERENCE_RAISED),
    ],
)
def test_bar_flags(change: dict[str, Any], flag: Flag) -> None:
    """What a bar leaves open is flagged, and only that."""
    plain = bar(SQUARE_ON.see([[-20, 0], [20, 0]]), 40, u_length=0.1)
    assert flag not in fitted(plain).flags
    assert flag in fitted(plain | change).flags


def test_borescope_without_lens_is_flagged() -> None:
    """A borescope picture without a lens profile says that its distortion is not corrected."""
    scale = points(SQUARE_ON.see(REFERENCE))
    assert Flag.LENS_UNKNOWN in fitted(scale, view="borescope").flags
    assert Flag.LENS_UNKNOWN not in fitted(scale, view="borescope", lens=LENS).flags
    assert Flag.LENS_UNKNOWN not in fitted(scale).flags


def test_four_points_leave_no_residual() -> None:
    """Four points carry the flag that a wrong one cannot be noticed; a fifth point takes it away."""
    five = np.vstack([REFERENCE, [[0, 0]]])
    assert Flag.NO_RESIDUAL in fitted(points(OBLIQUE.see(REFERENCE))).flags
    scale = fitted(points(OBLIQUE.see(five), five))
    assert Flag.NO_RESIDUAL not in scale.flags
    assert (scale.dof, Flag.RESIDUAL_HIGH in scale.flags) == (2, False)


def test_chi_squared_limit_is_the_table_value() -> None:
    """Five points are flagged just above chi2 = 5.99, the 95 % point for 2 degrees of freedom (tables)."""
    five = np.vstack([REFERENCE, [[0, 0]]])
    seen = SQUARE_ON.see(five)

    def scale_with(shift_px: float) -> PlaneScale:
        return fitted(points(_moved(seen, shift_px), five))

    per_px2 = scale_with(1.0).chi2
    below, above = math.sqrt(5.98 / per_px2), math.sqrt(6.00 / per_px2)
    assert Flag.RESIDUAL_HIGH not in scale_with(below).flags
    assert Flag.RESIDUAL_HIGH in scale_with(above).flags


def _moved(seen: np.ndarray, shift_px: float) -> np.ndarray:
    moved = seen.copy()
    moved[4, 0] += shift_px
    return moved


def test_misfit_widens_the_uncertainty() -> None:
    """Reference points that miss each other by more than their clicks explain widen the budget."""
    five = np.vstack([REFERENCE, [[0, 0]]])
    seen, here = SQUARE_ON.see(five), SQUARE_ON.see([[20, 10]])
    name = "photo f1: reference points"
    good, bad = (fitted(points(_moved(seen, shift), five)) for shift in (0.0, 3.0))
    grown = np.linalg.norm(bad.shared_sensitivities(here)[name])
    grown /= np.linalg.norm(good.shared_sensitivities(here)[name])
    assert grown == pytest.approx(math.sqrt(bad.chi2 / 2), rel=0.05)


def test_gross_misfit_names_the_worst_point() -> None:
    """A point far off is refused by its number in the list."""
    six = np.vstack([REFERENCE, [[0, 0], [10, 10]]])
    seen = SQUARE_ON.see(six)
    seen[5] += [40, 0]
    with pytest.raises(ScaleError, match=r"photo f1: .*point 6 is worst"):
        fitted(points(seen, six))


@pytest.mark.parametrize(
    ("image", "words"),
    [
        ([[100, 100], [300, 101], [500, 100], [300, 400]], "in line|triangle"),
        ([[100, 100], [300, 300], [500, 100], [300, 150]], "triangle"),
        ([[100, 100], [200, 200], [300, 300], [400, 400]], "one line"),
        ([[100, 100], [500, 100], [300, 400], [100, 100]], "only 3 of them are different"),
        ([[100, 100], [500, 400], [500, 100], [100, 400]], "order"),
        ([[100, 100], [500, 100], [100, 400], [500, 400]], "order"),
    ],
)
def test_unfit_points_are_refused(image: list[list[float]], words: str) -> None:
    """Points in line, within each other's triangle, or crossed over do not fix a plane."""
    with pytest.raises(ScaleError, match=words):
        fitted(points(np.array(image, dtype=float)))


def test_many_points_need_four_good_ones() -> None:
    """A fifth point in line with others does no harm; five points of which four are in line do."""
    harmless = np.vstack([REFERENCE, [[0, -20]]])
    assert fitted(points(OBLIQUE.see(harmless), harmless)).dof == 2
    in_line = np.array([[0.0, 0], [10, 0], [20, 0], [30, 0], [10, 20]])
    with pytest.raises(ScaleError, match=r"line|triangle"):
        fitted(points(OBLIQUE.see(in_line), in_line))


def test_crossed_card_is_refused() -> None:
    """A card whose corners are not in order round it is refused."""
    seen = OBLIQUE.see(rectangle(*ID1_SIZE_MM))[[0, 2, 1, 3]]
    with pytest.raises(ScaleError, match="order round the card"):
        fitted({"kind": "card", "image": pairs(seen)})


def test_steep_view_is_refused() -> None:
    """A view at more than 70 degrees from square is refused; at 60 it is not."""
    fitted(points(Pinhole(tilt=math.radians(60)).see(REFERENCE)))
    with pytest.raises(ScaleError, match=r"7\d deg from square"):
        fitted(points(Pinhole(tilt=math.radians(75), distance=600).see(REFERENCE)))


def test_reach_is_flagged_then_refused() -> None:
    """Within the reference no flag, outside a flag, past two of its widths a refusal with the distance."""
    scale = fitted(points(SQUARE_ON.see(REFERENCE)), size=None)

    def reach(x: float) -> frozenset[Flag]:
        return scale.check_reach(SQUARE_ON.see([[x, 0], [x - 1, 1]]), "mark P1")

    assert reach(29.9) == frozenset()
    assert reach(30.5) == {Flag.EXTRAPOLATED}
    assert reach(149.0) == {Flag.EXTRAPOLATED}
    with pytest.raises(ScaleError, match=r"mark P1: .*121\.0 mm.*2\.0 times"):
        reach(151.0)


def test_bar_reach() -> None:
    """A mark more than two bar lengths away is refused, more than one flagged."""
    scale = fitted(bar(SQUARE_ON.see([[-20, 0], [20, 0]]), 40, max_tilt_deg=5), size=None)
    assert scale.check_reach(SQUARE_ON.see([[0, 39]]), "") == frozenset()
    assert scale.check_reach(SQUARE_ON.see([[0, 79]]), "") == {Flag.EXTRAPOLATED}
    with pytest.raises(ScaleError, match="beyond the bar"):
        scale.check_reach(SQUARE_ON.see([[0, 81]]), "")


def test_marks_towards_the_horizon_are_refused() -> None:
    """Where perspective shrinks the surface to less than 0.3 of the reference, nothing is measured."""
    steep = Pinhole(tilt=math.radians(65), direction=math.pi / 2, distance=150, focal=1000)
    scale = fitted(points(steep.see(REFERENCE)), size=None)
    scale.check_reach(steep.see([[0, 30]]), "")
    with pytest.raises(ScaleError, match="horizon"):
        scale.check_reach(steep.see([[0, 400]]), "mark P1")


def test_short_bar_is_refused() -> None:
    """A bar under 50 px is refused with its length."""
    fitted(bar(np.array([[100.0, 100], [151, 100]]), 40))
    with pytest.raises(ScaleError, match=r"49\.0 px"):
        fitted(bar(np.array([[100.0, 100], [149, 100]]), 40))


def test_areas_need_a_small_tilt() -> None:
    """A bar stated to 30 degrees carries an area, to 31 degrees none."""
    ends = SQUARE_ON.see([[-20, 0], [20, 0]])
    fitted(bar(ends, 40, max_tilt_deg=30)).check_area("mark P1")
    with pytest.raises(ScaleError, match=r"mark P1: .*31 deg"):
        fitted(bar(ends, 40, max_tilt_deg=31)).check_area("mark P1")


def test_missing_scale_says_what_to_do() -> None:
    """A photo without a scale is refused by name, with the way out."""
    photo, survey = survey_of(None, [])
    with pytest.raises(ScaleError, match=r"photo f1: .*no scale reference.*Mark a bar"):
        fit_scale(photo, survey)


def test_layout_points_are_the_last_resort() -> None:
    """Four pairs that place the photo are its scale where there is no other, and are flagged as that."""
    placement = {"image": pairs(OBLIQUE.see(REFERENCE)), "layout": pairs(REFERENCE + 400), "u_layout": 0.5}
    photo, survey = survey_of(None, [], placement=placement)
    scale = fit_scale(photo, survey)
    assert (scale.kind, Flag.LAYOUT_SCALE in scale.flags) == ("layout", True)
    assert area_with(scale, OBLIQUE, ngon(24, 4)) == pytest.approx(area(ngon(24, 4)), rel=1e-9)


def test_lens_of_another_size_is_refused() -> None:
    """A picture whose size is not the profile's is refused by photo."""
    with pytest.raises(LensError, match=r"photo f1: .*1600 x 1200"):
        fitted(points(SQUARE_ON.see(REFERENCE)), size=(800, 600), lens=LENS)


# Parallax -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tilt_deg", [0, 35])
def test_raised_reference_is_corrected_exactly(tilt_deg: float) -> None:
    """With the distance stated, a reference raised by h gives true areas at any tilt: (D / (D - h))^2."""
    height, tilt = 6.0, math.radians(tilt_deg)
    camera = Pinhole(tilt=tilt, direction=0.3, distance=300)
    # The lens stands 300 cos t from the surface along its normal, and the raised plane is nearer.
    clear = 300 * math.cos(tilt)
    raised = Pinhole(tilt=tilt, direction=0.3, distance=300 * (clear - height) / clear)
    scale = points(raised.see(REFERENCE), height=height)
    outline = ngon(24, 4, (5, 5))
    measured = area_with(fitted(scale, distance=clear), camera, outline)
    assert measured == pytest.approx(area(outline), rel=1e-9)
    # The calibrated focal length gives the distance as well.
    assert area_with(fitted(scale, lens=LENS), camera, outline) == pytest.approx(area(outline), rel=1e-9)
    uncorrected = area_with(fitted(scale | {"height": 0}), camera, outline)
    assert uncorrected / area(outline) == pytest.approx(((clear - height) / clear) ** 2, rel=1e-9)


def test_unknown_distance_widens_instead() -> None:
    """Without a distance nothing is corrected: the half-width is h over the least distance of the lens."""
    least_focal = 0.7 * 1600
    mm_per_px = 300 / 1200
    scale = fitted(bar(SQUARE_ON.see([[-20, 0], [20, 0]]), 40, height=5.0, max_tilt_deg=0))
    relative = 5.0 / (mm_per_px * least_focal) / math.sqrt(3)
    here = SQUARE_ON.see([[20, 10]])
    moved = scale.shared_sensitivities(here)["photo f1: height and distance"]
    assert np.linalg.norm(moved) == pytest.approx(relative * math.hypot(20, 10), rel=1e-9)
    assert Flag.REFERENCE_RAISED in scale.flags


@pytest.mark.parametrize("camera", [SQUARE_ON, OBLIQUE])
def test_too_high_without_distance_is_refused(camera: Pinhole) -> None:
    """A reference so high that areas could be off by over 10 % is refused until the distance is stated."""
    scale = points(camera.see(REFERENCE), height=20.0)
    with pytest.raises(ScaleError, match=r"20 mm above.*'distance'"):
        fitted(scale)
    fitted(scale, distance=300)
    with pytest.raises(ScaleError, match="only 15 mm"):
        fitted(scale, distance=15)


# What a bar cannot see --------------------------------------------------------------------------------


def half_width(focal: float, tilt_deg: float, away_mm: float) -> float:
    """Relative half-width of a small area `away_mm` beside a 20 mm bar seen at 300 mm."""
    camera = Pinhole(distance=300, focal=focal, size=(40001, 40001))
    lens = LENS | {"size": [40001, 40001], "matrix": [focal, focal, 20000, 20000]}
    ends = camera.see([[-10, 0], [10, 0]])
    scale = fitted(bar(ends, 20, max_tilt_deg=tilt_deg), size=(40001, 40001), lens=lens)
    places = scale.alternatives(camera.see(ngon(24, 0.5, (0, away_mm))))
    assert places is not None
    areas = np.array([area(place) for place in places])
    return float(np.abs(areas / area(ngon(24, 0.5)) - 1).max())


@pytest.mark.parametrize("tilt_deg", [5, 15, 30])
def test_half_width_at_the_bar_is_the_cosine(tilt_deg: float) -> None:
    """Where perspective is nothing, an area's half-width is 1 / cos t - 1."""
    # The bar's own length, 10 mm at 300 mm, still leaves (10 / 300)^2 sin^2 t of perspective.
    expected = 1 / math.cos(math.radians(tilt_deg)) - 1
    assert half_width(1200, tilt_deg, 0.0) == pytest.approx(expected, rel=0.01, abs=2e-4)


@pytest.mark.parametrize("away_mm", [10.0, 20.0, 35.0])
def test_half_width_grows_with_the_distance_from_the_bar(away_mm: float) -> None:
    """Perspective over d adds 3 d sin t / Z to an area's half-width, as w^-3 does (first order)."""
    t = math.radians(10)
    expected = (1 + 3 * away_mm * math.sin(t) / 300) / math.cos(t) - 1
    found = half_width(1200, 10, away_mm)
    # Second order: 6 (d sin t / Z)^2, and the slope's own cosine on either side.
    assert found == pytest.approx(expected, abs=6 * (away_mm * math.sin(t) / 300) ** 2 + 0.003)
