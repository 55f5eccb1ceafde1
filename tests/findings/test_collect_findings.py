"""Joining marks into findings, and cutting them to the member."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from corrosion.quantity import Measured
from corrosion.results import Finding
from corrosion.terms import Face, Flag, MarkKind
from tests.findings.builders import MEMBER, Scene, disc, square

INNER = {"face": "inner"}


def _sources(findings: list[Finding]) -> list[set[str]]:
    return [{f"{photo}/{mark}" for photo, mark in finding.sources} for finding in findings]


def test_one_name_in_two_photos_counts_once() -> None:
    """Marks with one feature name are one finding, wherever the photos put them."""
    scene = Scene()
    scene.mark("f1", "A", disc(100), depth=0.05, feature="B1")
    scene.mark("f2", "C", disc(500), depth=0.08, feature="B1")
    (finding,) = scene.find()
    assert finding.id == "B1"
    assert set(finding.sources) == {("f1", "A"), ("f2", "C")}


def test_two_names_never_join() -> None:
    """Marks that a person named apart stay apart even on one spot, without a flag."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05, feature="B1")
    scene.mark("f2", "A", disc(), depth=0.05, feature="B2")
    findings = scene.find()
    assert [f.id for f in findings] == ["B1", "B2"]
    assert not any(Flag.DOUBLE_COUNT in f.flags for f in findings)


@pytest.mark.parametrize("changes", [{"face": "inner"}, {"member": "SK2"}])
def test_one_name_on_two_faces_or_members_is_two_things(changes: dict[str, str]) -> None:
    """A name counts within one face of one member: metal is lost on each face of its own."""
    scene = Scene(members=[MEMBER, MEMBER | {"id": "SK2"}])
    scene.photo("f1").photo("f2", **changes)
    scene.mark("f1", "A", disc(), depth=0.05, feature="B1")
    scene.mark("f2", "A", disc(), depth=0.05, feature="B1")
    findings = scene.find()
    assert _sources(findings) == [{"f1/A"}, {"f2/A"}]
    assert [f.id for f in findings] == ["f1/A", "f2/A"]


@pytest.mark.parametrize(("shift", "joined"), [(5.38, True), (5.39, False)])
def test_overlap_joins_from_three_tenths(shift: float, joined: bool) -> None:
    """Squares of side 10 shifted by d overlap (10-d)/(10+d); 0.3 lies at d = 70/13 = 5.3846."""
    scene = Scene()
    scene.mark("f1", "A", square(400, 200, 10), depth=0.05)
    scene.mark("f2", "A", square(400 + shift, 200, 10), depth=0.05)
    assert len(scene.find()) == (1 if joined else 2)


def test_marks_of_one_photo_never_join() -> None:
    """Two overlapping marks in one photo are two marks: the person who drew them saw both."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05).mark("f1", "B", disc(), depth=0.05)
    findings = scene.find()
    assert len(findings) == 2
    assert not any(Flag.DOUBLE_COUNT in f.flags for f in findings)


def test_one_photo_is_never_bridged_through_another() -> None:
    """A mark that covers two of another photo joins one of them; the other is kept and flagged."""
    scene = Scene()
    scene.mark("f1", "A", square(400, 200, 10), kind="pit")
    scene.mark("f2", "A", square(399, 200, 10), kind="pit")
    scene.mark("f2", "B", square(404, 200, 10), kind="pit")
    findings = scene.find()
    assert _sources(findings) == [{"f1/A", "f2/A"}, {"f2/B"}]
    assert all(Flag.DOUBLE_COUNT in f.flags for f in findings)


def test_depths_from_the_surface_as_found_are_kept_apart() -> None:
    """Two unnamed overlapping depths from the current surface may be two passes: both stay, flagged."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05, measured_from="current")
    scene.mark("f2", "A", disc(), depth=0.05, measured_from="current")
    findings = scene.find()
    assert len(findings) == 2
    assert all(Flag.DOUBLE_COUNT in f.flags for f in findings)


def test_a_name_joins_depths_from_the_surface_as_found() -> None:
    """A name on both says that they are one pass."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05, measured_from="current", feature="B1")
    scene.mark("f2", "A", disc(), depth=0.05, measured_from="current", feature="B1")
    (finding,) = scene.find()
    assert Flag.DOUBLE_COUNT not in finding.flags


def test_passes_of_one_name_on_two_days_each_count() -> None:
    """One feature ground on two days, each depth from the surface as found, took metal off twice."""
    scene = Scene()
    for photo, day in (("f1", "2031-04-17"), ("f2", "2031-05-02")):
        scene.mark(photo, "A", disc(), depth=0.05, measured_from="current", feature="B1", date=day)
    findings = scene.find()
    assert len(findings) == 2
    assert not any(Flag.DOUBLE_COUNT in f.flags for f in findings)


def test_one_name_from_two_surfaces_on_one_day_is_flagged() -> None:
    """Depths from two surfaces without an order in time are both kept and marked doubtful."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.10, measured_from="original", feature="B1")
    scene.mark("f2", "A", disc(), depth=0.05, measured_from="current", feature="B1")
    findings = scene.find()
    assert len(findings) == 2
    assert all(Flag.DOUBLE_COUNT in f.flags for f in findings)


def test_a_date_left_out_is_the_survey_s() -> None:
    """A mark without a date was made on the day of the survey."""
    scene = Scene(date="2031-04-17")
    scene.mark("f1", "A", disc(), depth=0.05)
    scene.mark("f2", "A", disc(), depth=0.08, date="2031-04-17")
    assert len(scene.find()) == 1


def test_original_depths_on_different_days_are_kept_apart() -> None:
    """Unnamed blend-outs of different days do not join: time order decides what the sum becomes."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05, date="2031-04-17")
    scene.mark("f2", "A", disc(), depth=0.08, date="2031-05-02")
    assert len(scene.find()) == 2


def test_an_outline_without_a_depth_goes_with_one_that_has() -> None:
    """A second view of a blend-out without a depth does not leave the member undetermined."""
    scene = Scene()
    scene.mark("f1", "A", disc()).mark("f2", "A", disc(), depth=0.08)
    (finding,) = scene.find()
    assert finding.depth is not None
    assert finding.depth.value == pytest.approx(0.08)


def test_different_kinds_never_join() -> None:
    """A pit within a blend-out is not the blend-out."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05).mark("f2", "A", disc(), kind="pit")
    assert [f.kind for f in scene.find()] == [MarkKind.BLEND_OUT, MarkKind.PIT]


@pytest.mark.parametrize(("distance", "joined"), [(2.1, True), (2.2, False)])
def test_points_join_within_three_combined_uncertainties(distance: float, joined: bool) -> None:
    """Two points good to 0.5 mm each join up to 3 sqrt(0.5^2 + 0.5^2) = 2.12 mm."""
    scene = Scene()
    scene.mark("f1", "A", Point(400, 200), kind="pit").mark(
        "f2", "A", Point(400 + distance, 200), kind="pit"
    )
    assert len(scene.find()) == (1 if joined else 2)


def test_one_doubtful_place_does_not_widen_the_others() -> None:
    """Two well-placed points 2.2 mm apart stay two, whatever the doubt of a third far away."""
    scene = Scene()
    scene.mark("f1", "A", Point(400, 200), kind="pit").mark("f2", "A", Point(402.2, 200), kind="pit")
    scene.mark("f3", "A", Point(800, 200), kind="pit", u_position=50.0)
    findings = scene.find()
    assert len(findings) == 3
    assert not any(Flag.DOUBLE_COUNT in f.flags for f in findings)


def test_a_point_joins_the_outline_it_lies_in() -> None:
    """A pit marked by a point in one photo and outlined in another is one pit, with the outline."""
    scene = Scene()
    scene.mark("f1", "A", Point(400, 200), kind="pit").mark("f2", "A", disc(radius=3), kind="pit")
    (finding,) = scene.find()
    assert finding.outline is not None
    assert finding.outline.area > 0.0


def test_the_deepest_depth_governs_and_leads() -> None:
    """The deepest reading is the finding's, and its mark comes first: its profile is the one used."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05).mark("f2", "B", disc(), depth=0.09)
    scene.mark("f3", "C", disc(), depth=0.07)
    (finding,) = scene.find()
    assert finding.depth is not None
    assert finding.depth.value == pytest.approx(0.09)
    assert finding.sources == [("f2", "B"), ("f1", "A"), ("f3", "C")]


def test_a_reading_of_metal_outranks_light_in_another_photo() -> None:
    """Readings of joined marks count as those of one mark: a gauge outranks a deeper shadow."""
    scene = Scene()
    scene.mark("f1", "A", disc(), kind="pit", depth=0.5, reading={"method": "shadow"})
    scene.mark("f2", "A", disc(), kind="pit", depth=0.3)
    (finding,) = scene.find()
    assert finding.depth is not None
    assert finding.depth.value == pytest.approx(0.3)
    assert finding.sources[0] == ("f2", "A")
    assert Flag.INDICATIVE not in finding.flags


def test_the_best_known_area_is_the_finding_s() -> None:
    """Outline and area come from the photo with the smallest relative uncertainty of area."""
    scene = Scene()
    scene.mark("f1", "A", disc(radius=10), depth=0.05, relative_u=0.08)
    scene.mark("f2", "A", disc(radius=11), depth=0.03, relative_u=0.02)
    (finding,) = scene.find()
    assert finding.quantities["area"].value == pytest.approx(disc(radius=11).area)
    assert finding.outline is not None
    assert finding.outline.equals(disc(radius=11))


def test_an_area_of_unknown_uncertainty_is_not_the_best_known() -> None:
    """A photo without a stated tilt gives an area but no uncertainty; another photo's area is used."""
    scene = Scene()
    scene.mark("f1", "A", disc(radius=10), depth=0.05)
    scene.areas["f1", "A"] = Measured(314.0, "mm2", known=False)
    scene.mark("f2", "A", disc(radius=11), depth=0.03, relative_u=0.2)
    (finding,) = scene.find()
    assert finding.quantities["area"].value == pytest.approx(disc(radius=11).area)


def test_flags_of_all_sightings_stay() -> None:
    """A doubt about any sighting is a doubt about the finding."""
    scene = Scene()
    scene.mark("f1", "A", disc(), depth=0.05, flags=frozenset({Flag.SIDE_ASSUMED}))
    scene.mark("f2", "A", disc(), depth=0.06, reading={"relation": ">="})
    (finding,) = scene.find()
    assert {Flag.SIDE_ASSUMED, Flag.LOWER_BOUND} <= finding.flags


def test_an_outline_is_cut_to_the_member() -> None:
    """What a mark covers beside the metal is cut off and said so."""
    (finding,) = Scene().mark("f1", "A", square(-4, 100, 10), kind="pit").find()
    assert Flag.OUTSIDE_MEMBER in finding.flags
    assert finding.outline is not None
    assert finding.outline.area == pytest.approx(60.0)
    assert finding.position == pytest.approx((3.0, 105.0))


def test_a_mark_wholly_beside_the_member_is_not_lost() -> None:
    """A mark that lands off the member stays a finding, with an empty outline and its place."""
    (finding,) = Scene().mark("f1", "A", square(-40, 100, 10), depth=0.05).find()
    assert Flag.OUTSIDE_MEMBER in finding.flags
    assert finding.outline is not None
    assert finding.outline.is_empty
    assert finding.position == pytest.approx((-35.0, 105.0))


def test_a_line_is_cut_to_the_member() -> None:
    """A line keeps being a line when cut."""
    (finding,) = Scene().mark("f1", "A", LineString([(-5, 10), (5, 10)]), kind="pit").find()
    assert finding.outline is not None
    assert finding.outline.length == pytest.approx(5.0)


def test_an_unplaced_mark_is_a_finding_without_an_outline() -> None:
    """A mark nobody could place keeps its tags, its depth and its station as written."""
    scene = Scene().photo("f1", station="340B+10.25")
    (finding,) = scene.mark("f1", "A", None, depth=0.05).find()
    assert (finding.outline, finding.position, finding.zone) == (None, None, "334")
    assert (finding.member_id, finding.face) == ("SK1", Face.OUTER)
    assert finding.station_text == "340B+10.25"
    assert Flag.PLUG_UNKNOWN in finding.flags


def test_the_photo_s_zone_outranks_the_member_s() -> None:
    """A photo tagged with a zone of its own keeps it."""
    assert Scene().photo("f1", zone="335").mark("f1", "A", disc(), kind="pit").find()[0].zone == "335"


@pytest.mark.parametrize("kind", ["pit", "blend-out"])
def test_lost_metal_without_a_depth_says_so(kind: str) -> None:
    """A photo alone never gives a depth; the finding says that it has none."""
    assert Flag.NO_DEPTH in Scene().mark("f1", "A", disc(), kind=kind).find()[0].flags


def test_a_clear_area_needs_no_depth() -> None:
    """An area marked clear has lost nothing."""
    assert Flag.NO_DEPTH not in Scene().mark("f1", "A", disc(), kind="clear").find()[0].flags


@pytest.mark.parametrize(
    ("relation", "grade"), [("=", "moderate"), (">=", "at least moderate"), ("<=", "at most moderate")]
)
def test_a_bound_on_depth_is_a_bound_on_the_grade(relation: str, grade: str) -> None:
    """A depth of at least 0.1 mm is at least moderate, not moderate."""
    (finding,) = (
        Scene().mark("f1", "A", disc(), kind="pit", depth=0.1, reading={"relation": relation}).find()
    )
    assert finding.grade == grade


def test_a_blend_out_has_no_corrosion_grade() -> None:
    """Metal ground off says nothing about how deep the corrosion was."""
    assert Scene().mark("f1", "A", disc(), depth=0.1).find()[0].grade is None


Drawn = list[tuple[int, float, float, bool]]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.floats(20, 80), st.sampled_from([0.03, 0.07]), st.booleans()),
        max_size=12,
    )
)
def test_every_mark_is_in_exactly_one_finding(drawn: Drawn) -> None:
    """Whatever overlaps, no mark is lost or used twice, and no finding has two marks of one photo."""
    scene = Scene()
    for number, (photo, station, depth, current) in enumerate(drawn):
        surface = "current" if current else "original"
        scene.mark(f"f{photo}", f"M{number}", disc(station), depth=depth, measured_from=surface)
    findings = scene.find()
    every = sorted(source for finding in findings for source in finding.sources)
    assert every == sorted((f"f{photo}", f"M{n}") for n, (photo, *_) in enumerate(drawn))
    for finding in findings:
        photos = [photo for photo, _ in finding.sources]
        assert len(photos) == len(set(photos))
    assert len({finding.id for finding in findings}) == len(findings)


def test_joining_never_makes_the_deepest_shallower() -> None:
    """A joined finding is as deep as its deepest sighting, so a sum cannot shrink by joining."""
    scene = Scene()
    for number, depth in enumerate((0.02, 0.09, 0.05, 0.07)):
        scene.mark(f"f{number}", "A", disc(400 + number), depth=depth)
    (finding,) = scene.find()
    assert finding.depth is not None
    assert finding.depth.value == pytest.approx(0.09)
