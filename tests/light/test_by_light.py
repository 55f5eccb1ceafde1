"""Depths by light in the survey file: evidence on the photo, its reading, and what it may prove."""

from __future__ import annotations

import math
from typing import Any

import pytest

from corrosion.measure import measure_photo
from corrosion.model import SurveyFile, in_millimetres, parse_survey
from corrosion.results import MarkMeasures
from corrosion.survey import assess
from corrosion.terms import DepthMethod, Flag, Relation, Verdict
from tests.metrology.pinhole import SIZE, Pinhole, ngon, pairs, polygon_mark, rectangle, survey_of

CAMERA = Pinhole(distance=60.0)
SCALE = {"kind": "card", "size": [50.0, 30.0], "image": pairs(CAMERA.see(rectangle(50.0, 30.0)))}
# Its tilt is not stated, so nothing measured by it has an uncertainty.
BARE_BAR = {"kind": "bar", "image": pairs(CAMERA.see([[-25.0, -12.0], [25.0, -12.0]])), "length": 50.0}
MIDDLE = [(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2]


def seen(x_mm: float, depth_mm: float = 0.0) -> list[float]:
    """Where a point beside the axis and below the surface is seen by the camera straight above."""
    return [MIDDLE[0] + CAMERA.focal * x_mm / (CAMERA.distance + depth_mm), MIDDLE[1]]


def shadow(depth: float, elevation_deg: float, light: dict[str, Any], **more: Any) -> dict[str, Any]:
    run = depth / math.tan(math.radians(elevation_deg))
    return {"kind": "shadow", "image": [seen(0.0), seen(run, depth)], "light": light, **more}


def pit(*light: dict[str, Any], **more: Any) -> dict[str, Any]:
    return polygon_mark(CAMERA.see(ngon(24, 8.0)), light=list(light), **more)


def measured(mark: dict[str, Any], scale: dict[str, Any] | None = SCALE) -> MarkMeasures:
    photo, survey = survey_of(scale, [mark])
    return measure_photo(photo, survey).marks[0]


def lamp(elevation_deg: float) -> dict[str, Any]:
    return {"kind": "lamp", "elevation_deg": elevation_deg, "u_elevation_deg": 1.0}


@pytest.mark.parametrize("elevation", [10.0, 20.0, 40.0])
def test_shadow_seen_by_a_camera_gives_its_depth(elevation: float) -> None:
    """A pinhole picture of a 0.5 mm pit's shadow gives 0.5 mm; off by no more than depth / distance.

    Closed form: run = depth cot(elevation); the floor lies depth further from the camera than the plane.
    """
    found = measured(pit(shadow(0.5, elevation, lamp(elevation))))
    assert found.depth is not None
    assert found.problem is None
    assert found.depth.value == pytest.approx(0.5, rel=1.05 * 0.5 / CAMERA.distance)
    assert Flag.INDICATIVE in found.depth.flags
    assert found.mark.depths[-1].method is DepthMethod.SHADOW


def test_a_post_in_the_same_light_needs_no_angle() -> None:
    """A 5 mm post that throws 10 mm of shadow says cot e = 2, so a run of 1 mm is 0.5 mm deep."""
    post = {"kind": "post", "height": 5.0, "u_height": 0.05, "image": [seen(-22.0), seen(-12.0)]}
    found = measured(pit({"kind": "shadow", "image": [seen(0.0), seen(1.0)], "light": post}))
    assert found.depth is not None
    assert found.depth.value == pytest.approx(0.5, rel=1e-9)


def test_a_shadow_to_the_far_wall_is_a_bound() -> None:
    """Where the shadow fills the pit the depth is at least the width times tan e, and stays a bound."""
    found = measured(pit(shadow(0.5, 20.0, lamp(20.0), ends_on="far wall")))
    assert found.mark.depths[-1].relation is Relation.AT_LEAST
    assert found.depth is not None
    assert Flag.LOWER_BOUND in found.depth.flags


FOCUS = {
    "kind": "focus",
    "rim": {"readings": [0.0], "depth_of_field": 0.02},
    "floor": {"readings": [0.4], "depth_of_field": 0.02},
}


def test_focus_travel_needs_no_scale() -> None:
    """Travel 0.4 mm is a depth of 0.4 mm with u = 0.02 / sqrt(12) of each end, in a photo without scale."""
    found = measured(pit(FOCUS), scale=None)
    assert found.depth is not None
    assert found.depth.value == pytest.approx(0.4)
    assert found.depth.u == pytest.approx(math.sqrt(2.0) * 0.02 / math.sqrt(12.0))
    assert found.mark.depths[-1].method is DepthMethod.FOCUS_TRAVEL


@pytest.mark.parametrize(
    ("light", "scale", "words"),
    [
        (shadow(0.5, 60.0, lamp(60.0)), SCALE, "5 to 45 deg"),
        (shadow(0.5, 20.0, lamp(20.0)), None, "without the photo's scale"),
        (shadow(0.5, 20.0, lamp(20.0)), BARE_BAR, "no uncertainty"),
        (shadow(0.5, 20.0, lamp(20.0), floor_mirrors=True), SCALE, "mirrors"),
        (shadow(0.1, 45.0, lamp(45.0)), SCALE, "too short"),
        (
            FOCUS | {"floor": {"readings": [0.4], "depth_of_field": 0.02, "approached": "down"}},
            SCALE,
            "backlash",
        ),
    ],
)
def test_what_light_cannot_say_is_said(
    light: dict[str, Any], scale: dict[str, Any] | None, words: str
) -> None:
    """Evidence outside its range gives no depth, and the mark says which evidence and why."""
    found = measured(pit(light), scale)
    assert found.depth is None
    assert found.problem is not None
    assert words in found.problem
    assert "photo f1, mark P1, light 1" in found.problem
    assert bool(found.quantities) is (scale is not None)


def blend_out(settings: dict[str, Any]) -> SurveyFile:
    """Survey a blend-out 0.05 mm deep by focus travel, far within a limit of 0.5 mm."""
    light = [
        {
            "kind": "focus",
            "rim": {"readings": [0.0], "depth_of_field": 0.01},
            "floor": {"readings": [0.05], "depth_of_field": 0.01},
        }
    ]
    square = CAMERA.see(rectangle(20.0, 20.0))
    mark = polygon_mark(
        square, kind="blend-out", light=light, measured_from="original", profile="flat", date="2031-04-17"
    )
    _, survey = survey_of(SCALE, [mark], settings=settings)
    body = survey.model_dump(mode="json")
    body["photos"][0] |= {
        "member": "S1",
        "face": "outer",
        "placement": {
            "image": pairs(CAMERA.see([[-30.0, 0.0], [30.0, 0.0]])),
            "layout": [[70.0, 50.0], [130.0, 50.0]],
        },
    }
    body["structure"]["members"] = [
        {
            "id": "S1",
            "kind": "skin",
            "zone": "334",
            "material": "2024-T3 clad",
            "thickness": 2.0,
            "outline": [[0, 0], [200, 0], [200, 100], [0, 100]],
            "limit": {"depth": 0.5, "source": "invented, for this test"},
        }
    ]
    return parse_survey(body)


def test_light_proves_within_only_by_the_users_rule() -> None:
    """0.05 mm by focus under a 0.5 mm limit is too close to call; with a sourced rule it is within."""
    barred = assess(blend_out({}))
    allowed = assess(blend_out({"light_rule": {"source": "invented order 7, para 2"}}))
    assert barred.members[0].verdict is Verdict.TOO_CLOSE
    assert allowed.members[0].verdict is Verdict.WITHIN
    (finding,) = allowed.findings
    assert Flag.BY_LIGHT_RULE in finding.flags


def test_a_rule_without_a_source_is_refused() -> None:
    """A blank source is no source."""
    with pytest.raises(Exception, match=r"settings\.light_rule\.source"):
        blend_out({"light_rule": {"source": "  "}})


def test_inches_arrive_as_millimetres() -> None:
    """Travel of 0.02 in is 0.508 mm; focus readings and posts are in the file's unit."""
    _, survey = survey_of(None, [pit(FOCUS | {"floor": {"readings": [0.02], "depth_of_field": 0.001}})])
    inches = parse_survey(survey.model_dump(mode="json") | {"units": "in"})
    in_mm = in_millimetres(inches)
    found = measure_photo(in_mm.photos[0], in_mm).marks[0]
    assert found.depth is not None
    assert found.depth.value == pytest.approx(0.508)
