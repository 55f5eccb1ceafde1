"""Placing photos: against a pinhole camera in closed form."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from corrosion.errors import PlacementError
from corrosion.layout import MemberLayout
from corrosion.lens import distort
from corrosion.model import LensProfile
from corrosion.placement import place_photo
from corrosion.placement.checks import LeftOut, check_residuals
from corrosion.placement.fits import fit
from corrosion.placement.pairs import Pairs, Rectifier
from corrosion.results import PlacedPhoto
from corrosion.terms import Flag
from tests.placement.cameras import (
    FOCAL_PX,
    SIZE,
    PinholeCamera,
    a_photo,
    a_survey,
    centre_of,
    place,
    ring_centre,
)

TWO = [(380.0, 150.0), (520.0, 260.0)]
THREE = [(380.0, 150.0), (520.0, 160.0), (430.0, 260.0)]
FOUR = [(380.0, 150.0), (520.0, 150.0), (520.0, 260.0), (380.0, 260.0)]
SIX = [*FOUR, (450.0, 170.0), (420.0, 240.0)]

VIEWS = [
    PinholeCamera(),
    PinholeCamera(roll_deg=90.0),
    PinholeCamera(tilt_deg=25.0, roll_deg=-35.0),
    PinholeCamera(tilt_deg=40.0, roll_deg=170.0, at=(440.0, 190.0)),
]


@pytest.mark.parametrize("camera", VIEWS)
@pytest.mark.parametrize("points", [TWO, THREE, FOUR, SIX])
def test_exact_points_give_exact_places(camera: PinholeCamera, points: list[tuple[float, float]]) -> None:
    """With exact clicks a mark lands where the camera's closed form says, at any roll and tilt."""
    placed = place(a_photo(camera, points))
    assert centre_of(placed) == pytest.approx(ring_centre(), abs=1e-6)
    assert placed.problem is None


@pytest.mark.parametrize(
    ("face", "outer_view", "mirrored", "hand"),
    [
        ("outer", "offset-up", None, -1),
        ("outer", "offset-down", None, 1),
        ("inner", "offset-up", None, 1),
        ("inner", "offset-down", None, -1),
        ("outer", "offset-up", True, 1),
        ("inner", "offset-up", False, -1),
    ],
)
@pytest.mark.parametrize("points", [TWO, THREE, FOUR])
def test_face_and_outer_view_decide_the_hand(
    points: list[tuple[float, float]], face: str, outer_view: str, mirrored: bool | None, hand: int
) -> None:
    """Offsets grow up or down in an outer view as the member says, and an inner view is its mirror."""
    camera = PinholeCamera(roll_deg=20.0, tilt_deg=10.0, hand=hand)
    photo = a_photo(camera, points, face=face, placement={"mirrored": mirrored})
    placed = place(photo, outer_view=outer_view)
    assert centre_of(placed) == pytest.approx(ring_centre(), abs=1e-6)
    assert Flag.SIDE_ASSUMED not in placed.flags


@pytest.mark.parametrize("points", [THREE, FOUR, SIX])
def test_points_from_the_other_side_are_refused(points: list[tuple[float, float]]) -> None:
    """Three or more points that show the mirror image of the tagged face are refused, not flipped."""
    photo = a_photo(PinholeCamera(hand=1), points, face="outer")
    with pytest.raises(PlacementError, match="other side"):
        place(photo)


def test_two_points_take_the_side_that_has_metal() -> None:
    """Two points along an edge: where the face puts the mark off the member, the other side is flagged."""
    edge = [(400.0, 0.0), (500.0, 0.0)]
    camera = PinholeCamera(at=(450.0, 20.0), hand=1)
    placed = place(a_photo(camera, edge, pit=(450.0, 40.0), face="outer"))
    assert Flag.SIDE_ASSUMED in placed.flags
    assert Flag.SIDE_ASSUMED in placed.marks[0].flags
    assert centre_of(placed) == pytest.approx(ring_centre((450.0, 40.0)), abs=1e-6)


def test_a_stated_side_is_never_overruled() -> None:
    """With `mirrored` stated the mark stays where it was put, off the member or not."""
    edge = [(400.0, 0.0), (500.0, 0.0)]
    camera = PinholeCamera(at=(450.0, 20.0), hand=1)
    placed = place(a_photo(camera, edge, pit=(450.0, 40.0), placement={"mirrored": False}))
    assert Flag.SIDE_ASSUMED not in placed.flags
    assert placed.marks[0].position[1] < 0.0


def test_marks_on_the_metal_leave_the_face_in_charge() -> None:
    """Where the face's side has the marks on the member, the mirror side is not even considered."""
    placed = place(a_photo(PinholeCamera(hand=-1), TWO))
    assert Flag.SIDE_ASSUMED not in placed.flags


def _stretched(points: list[tuple[float, float]], by: float) -> list[list[float]]:
    middle = np.mean(points, axis=0)
    return (middle + by * (np.array(points) - middle)).tolist()


def test_a_small_disagreement_of_scales_is_flagged() -> None:
    """A layout 6 % longer than the photo's scale, far beyond both uncertainties, is flagged."""
    layout = _stretched(TWO, 1.06)
    placed = place(a_photo(PinholeCamera(), TWO, placement={"layout": layout}))
    assert Flag.SCALE_DISAGREES in placed.flags


@pytest.mark.parametrize(("by", "flagged"), [(1.019, False), (1.021, True)])
def test_a_disagreement_below_two_percent_is_not_flagged(by: float, flagged: bool) -> None:
    """Drawings shrink and lenses stretch: below 2 % nobody is told, however good the points are."""
    placement = {"layout": _stretched(TWO, by), "u_layout": 0.01, "sigma_px": 0.01}
    settings = {"reference_sigma_px": 0.01}
    placed = place(a_photo(PinholeCamera(), TWO, placement=placement), settings=settings)
    assert (Flag.SCALE_DISAGREES in placed.flags) is flagged


def test_a_disagreement_within_the_uncertainty_is_not_flagged() -> None:
    """The same 6 % with a layout good to 5 mm is within 3 combined uncertainties."""
    layout = _stretched(TWO, 1.06)
    placed = place(a_photo(PinholeCamera(), TWO, placement={"layout": layout, "u_layout": 5.0}))
    assert Flag.SCALE_DISAGREES not in placed.flags


def test_a_large_disagreement_of_scales_is_refused_with_both_distances() -> None:
    """Beyond 15 % the message names the distance on the layout and the distance by the scale."""
    drawn = float(np.hypot(140.0, 110.0))
    layout = _stretched(TWO, 1.3)
    expected = re.escape(f"{1.3 * drawn:.1f} mm apart on the layout but {drawn:.1f} mm")
    with pytest.raises(PlacementError, match=expected):
        place(a_photo(PinholeCamera(), TWO, placement={"layout": layout}))


def test_without_a_scale_the_layout_is_the_scale() -> None:
    """A square photo without a scale is placed by two points, and says what its scale is."""
    placed = place(a_photo(PinholeCamera(roll_deg=30.0), TWO, scale=None))
    assert centre_of(placed) == pytest.approx(ring_centre(), abs=1e-6)
    assert {Flag.LAYOUT_SCALE, Flag.NO_RESIDUAL} <= placed.flags
    assert placed.rms_mm is None


def test_three_points_without_a_scale_fit_an_affine_view() -> None:
    """Three points without a scale have no residual and say so."""
    placed = place(a_photo(PinholeCamera(), THREE, scale=None))
    assert centre_of(placed) == pytest.approx(ring_centre(), abs=1e-6)
    assert {Flag.LAYOUT_SCALE, Flag.NO_RESIDUAL} <= placed.flags


def test_four_points_have_no_residual() -> None:
    """A homography through four points is exact by construction: no residual is shown, a flag is."""
    placed = place(a_photo(PinholeCamera(tilt_deg=20.0), FOUR))
    assert Flag.NO_RESIDUAL in placed.flags
    assert placed.residuals_mm == []
    assert placed.rms_mm is None


def test_more_points_have_residuals_over_their_degrees_of_freedom() -> None:
    """Residuals are in mm per point and their RMS is over 2 n - 8 degrees of freedom."""
    rng = np.random.default_rng(20310417)
    layout = (np.array(SIX) + rng.normal(0.0, 0.3, (6, 2))).tolist()
    placed = place(a_photo(PinholeCamera(tilt_deg=20.0), SIX, placement={"layout": layout}))
    squares = sum(s**2 + o**2 for s, o in placed.residuals_mm)
    assert len(placed.residuals_mm) == 6
    assert placed.rms_mm == pytest.approx((squares / (2 * 6 - 8)) ** 0.5, rel=1e-12)


@pytest.mark.parametrize(("points", "wrong"), [(SIX, 4), (SIX, 1), (THREE, 2)])
def test_a_wrong_point_is_refused(points: list[tuple[float, float]], wrong: int) -> None:
    """A point 10 mm off its place, 20 times its uncertainty, is refused."""
    layout = [list(p) for p in points]
    layout[wrong][1] += 10.0
    with pytest.raises(PlacementError, match="do not fit"):
        place(a_photo(PinholeCamera(tilt_deg=20.0), points, placement={"layout": layout}))


@pytest.mark.parametrize("points", [THREE, [*FOUR, (450.0, 170.0)]])
def test_too_few_points_name_no_culprit(points: list[tuple[float, float]]) -> None:
    """Where leaving any one point out leaves an exact fit, the message asks for one point more."""
    layout = [list(p) for p in points]
    layout[1][1] += 10.0
    with pytest.raises(PlacementError, match="one point more"):
        place(a_photo(PinholeCamera(), points, placement={"layout": layout}))


def test_the_wrong_point_is_named() -> None:
    """Leaving points out one by one finds the wrong one, with where the others put it."""
    layout = [list(p) for p in [*SIX, (500.0, 200.0)]]
    layout[4][1] += 10.0
    points = [*SIX, (500.0, 200.0)]
    with pytest.raises(PlacementError, match=r"point 5 at \(450, 180\) mm is 10\.0 mm"):
        place(a_photo(PinholeCamera(tilt_deg=20.0), points, placement={"layout": layout}))


def test_a_doubtful_point_is_flagged() -> None:
    """A point about 4 uncertainties off is within the 99 % fence of the whole fit, but flagged."""
    points = [*SIX, (500.0, 200.0), (400.0, 200.0), (450.0, 230.0)]
    layout = [list(p) for p in points]
    layout[4][1] += 2.3
    placed = place(a_photo(PinholeCamera(), points, placement={"layout": layout}))
    assert Flag.RESIDUAL_HIGH in placed.flags


ROW = [(400.0, 200.0), (430.0, 200.0), (450.0, 200.0), (480.0, 200.0), (500.0, 200.0)]


@pytest.mark.parametrize("points", [ROW, [*ROW, (450.0, 250.0)]])
@pytest.mark.parametrize("face", ["outer", "inner"])
def test_a_row_of_fasteners_places_a_scaled_photo(points: list[tuple[float, float]], face: str) -> None:
    """Points in one line, or all but one, fix no plane but do turn and shift a photo that has a scale."""
    camera = PinholeCamera(tilt_deg=25.0, roll_deg=10.0, hand=-1 if face == "outer" else 1)
    placed = place(a_photo(camera, points, face=face))
    assert centre_of(placed) == pytest.approx(ring_centre(), abs=1e-6)
    assert len(placed.residuals_mm) == len(points)


def test_a_wrong_point_in_a_row_is_named() -> None:
    """A row has residuals: a point 8 mm along the row from its place is found."""
    layout = [list(p) for p in ROW]
    layout[3][0] += 8.0
    with pytest.raises(PlacementError, match=r"point 4 at \(488, 200\) mm is 8\.0 mm"):
        place(a_photo(PinholeCamera(), ROW, placement={"layout": layout}))


def test_a_row_does_not_tell_the_side() -> None:
    """Points in one line show no mirror view: where the face puts marks off the metal, it is flagged."""
    edge = [(s, 0.0) for s, _ in ROW]
    camera = PinholeCamera(at=(450.0, 20.0), hand=1)
    placed = place(a_photo(camera, edge, pit=(450.0, 40.0), face="outer"))
    assert Flag.SIDE_ASSUMED in placed.flags


def _bar(camera: PinholeCamera, max_tilt_deg: float | None) -> dict[str, Any]:
    """Give a bar on two layout points."""
    ends = [(420.0, 180.0), (480.0, 180.0)]
    bar = {"kind": "bar", "image": camera.sees(ends).tolist(), "length": 60.0, "u_length": 0.0}
    return bar if max_tilt_deg is None else bar | {"max_tilt_deg": max_tilt_deg}


@pytest.mark.parametrize("tilt", [5.0, 15.0, 25.0])
@pytest.mark.parametrize("roll", [0.0, 45.0, 90.0])
def test_a_bar_s_unseen_tilt_is_in_the_uncertainty(tilt: float, roll: float) -> None:
    """A tilted photo scaled by a bar puts a mark beside its two points wrongly, within 3 of its u.

    The stated largest tilt is the true one, so this is the worst the statement allows.
    """
    camera = PinholeCamera(tilt_deg=tilt, roll_deg=roll)
    points = [(410.0, 200.0), (490.0, 200.0)]
    pit = (450.0, 240.0)
    photo = a_photo(camera, points, pit=pit, scale=_bar(camera, tilt), placement={"u_layout": 0.01})
    placed = place(photo)
    off = np.abs(centre_of(placed) - ring_centre(pit))
    assert (off <= 3.0 * np.array(placed.marks[0].u_position)).all()
    assert Flag.TILT_ASSUMED in placed.marks[0].flags


def test_a_bar_without_a_stated_tilt_says_so() -> None:
    """Where nobody stated the largest tilt the place carries that doubt as a flag."""
    camera = PinholeCamera()
    placed = place(a_photo(camera, TWO, scale=_bar(camera, None)))
    assert Flag.TILT_NOT_STATED in placed.marks[0].flags


def test_a_point_given_twice_is_refused() -> None:
    """One place given twice carries no direction."""
    with pytest.raises(PlacementError, match="same place"):
        place(a_photo(PinholeCamera(), [(400.0, 200.0), (400.0, 200.0)]))


def test_a_point_outside_the_picture_is_refused() -> None:
    """A point beyond the picture's border belongs to another picture."""
    photo = a_photo(PinholeCamera(), TWO)
    photo["placement"]["image"][0] = [1600.0, 20.0]
    with pytest.raises(PlacementError, match="outside the picture"):
        place(photo)


def test_a_photo_without_a_face_is_refused() -> None:
    """Removal adds up per face, so a photo must say which it shows."""
    with pytest.raises(PlacementError, match="face"):
        place(a_photo(PinholeCamera(), TWO, face=None))


def test_a_mark_far_from_the_points_is_flagged() -> None:
    """A mark beyond the points' hull by more than half its width is an extrapolation."""
    near = place(a_photo(PinholeCamera(), FOUR))
    far = place(a_photo(PinholeCamera(), [(s / 4 + 300, o / 4 + 120) for s, o in FOUR], pit=(460.0, 230.0)))
    assert Flag.EXTRAPOLATED not in near.marks[0].flags
    assert Flag.EXTRAPOLATED in far.marks[0].flags


@pytest.mark.parametrize(("chi2", "flagged"), [(9.48, False), (9.50, True), (13.27, True), (13.28, None)])
def test_the_misfit_is_judged_by_chi_squared(chi2: float, flagged: bool | None) -> None:
    """With 4 degrees of freedom chi squared is 9.49 at 95 % and 13.28 at 99 % (table, from memory)."""
    layout = np.array(SIX)
    pairs = Pairs("photo f1", PinholeCamera().sees(layout), layout, 0.5, 0.5)
    exact = fit(pairs, Rectifier(None, None, pairs.image), "homography", -1)
    fitted = replace(exact, chi2=chi2)
    assert fitted.dof == 4
    if flagged is None:
        with pytest.raises(PlacementError, match="do not fit"):
            check_residuals(fitted, LeftOut.empty(6))
    else:
        assert (Flag.RESIDUAL_HIGH in check_residuals(fitted, LeftOut.empty(6))) is flagged


@pytest.mark.parametrize("points", [TWO, SIX])
def test_a_lens_is_undone_without_a_scale_too(points: list[tuple[float, float]]) -> None:
    """Points and marks of a photo with a strong barrel lens land as if there were none."""
    lens = LensProfile(
        id="wide", size=SIZE, matrix=(FOCAL_PX, FOCAL_PX, 799.5, 599.5), distortion=[-0.25, 0.05, 0, 0, 0]
    )
    photo = a_photo(PinholeCamera(roll_deg=20.0), points, scale=None)
    for part in (photo["placement"], photo["marks"][0]["shape"]):
        name = "image" if "image" in part else "coordinates"
        ideal = np.array(part[name]).reshape(-1, 2)
        seen = distort(ideal, lens).tolist()
        part[name] = seen if name == "image" else [seen]
    survey = a_survey(photo)
    layout = MemberLayout.of(survey.structure.members[0], survey.structure)
    placed = place_photo(survey.photos[0], None, layout, survey.settings, SIZE, lens=lens)
    assert centre_of(placed) == pytest.approx(ring_centre(), abs=1e-3)


def test_a_lens_that_was_not_handed_over_is_flagged() -> None:
    """A photo that names a lens but is placed without it is distorted, and says so."""
    survey = a_survey(a_photo(PinholeCamera(), TWO, scale=None))
    photo = survey.photos[0].model_copy(update={"lens": "wide"})
    layout = MemberLayout.of(survey.structure.members[0], survey.structure)
    assert Flag.LENS_UNKNOWN in place_photo(photo, None, layout, survey.settings, SIZE).flags


def _corners(camera: PinholeCamera, placed: PlacedPhoto) -> Any:
    assert placed.footprint is not None
    return camera.sees(np.asarray(placed.footprint.exterior.coords))


@pytest.mark.parametrize("points", [TWO, FOUR])
def test_the_footprint_is_the_picture(points: list[tuple[float, float]]) -> None:
    """Seen back through the camera the footprint's corners lie on the picture's border and fill it."""
    camera = PinholeCamera(tilt_deg=30.0, roll_deg=25.0)
    outline = [[-900, -900], [1800, -900], [1800, 1300], [-900, 1300]]
    placed = place(a_photo(camera, points), outline=outline)
    seen = Polygon(_corners(camera, placed))
    assert seen.area == pytest.approx(SIZE[0] * SIZE[1], rel=1e-9)
    assert seen.bounds == pytest.approx((-0.5, -0.5, SIZE[0] - 0.5, SIZE[1] - 0.5), abs=1e-6)


def test_the_footprint_ends_at_the_member() -> None:
    """What the picture shows beside the member is not part of it."""
    camera = PinholeCamera(at=(450.0, 380.0))
    points = [(380.0, 300.0), (520.0, 390.0)]
    photo = a_photo(camera, points, scale=None, pit=(450.0, 350.0))
    placed = place(photo)
    assert placed.footprint is not None
    assert placed.footprint.bounds[3] == pytest.approx(400.0)


def test_the_footprint_stops_short_of_the_horizon() -> None:
    """Every place in the footprint of a steep view lies before the camera and within the picture.

    At 75 deg of tilt the camera's own level is 300 / sin 75 = 310 mm behind the middle of the picture.
    """
    camera = PinholeCamera(tilt_deg=75.0)
    points = [(430.0, 190.0), (470.0, 190.0), (470.0, 210.0), (430.0, 210.0)]
    wide = [[-3000, -3000], [4000, -3000], [4000, 4000], [-3000, 4000]]
    placed = place(a_photo(camera, points, scale=None, pit=(450.0, 200.0)), outline=wide)
    assert placed.footprint is not None
    assert placed.footprint.is_valid
    everywhere = np.stack(np.meshgrid(np.arange(-3000, 4000, 25), np.arange(-3000, 4000, 25)), -1).reshape(
        -1, 2
    )
    inside = everywhere[shapely.intersects_xy(placed.footprint, *everywhere.T)]
    assert len(inside) > 50
    assert (camera.distance - (inside[:, 1] - 200.0) * np.sin(np.radians(75.0)) > 0.0).all()
    seen = camera.sees(inside)
    assert ((seen > -1.0) & (seen < np.array(SIZE))).all()


def test_a_crossed_mark_is_named_and_the_rest_stays() -> None:
    """One bad outline does not lose the photo's other marks."""
    photo = a_photo(PinholeCamera(), TWO)
    crossed = [[700, 500], [800, 600], [800, 500], [700, 600]]
    photo["marks"].append(
        {"id": "P2", "kind": "pit", "shape": {"type": "Polygon", "coordinates": [crossed]}}
    )
    placed = place(photo)
    assert [mark.mark.id for mark in placed.marks] == ["P1"]
    assert "mark P2: the outline crosses" in str(placed.problem)


def test_without_a_size_nothing_counts_as_seen() -> None:
    """A photo of unknown size has no footprint."""
    assert place(a_photo(PinholeCamera(), TWO, size=None)).footprint is None
