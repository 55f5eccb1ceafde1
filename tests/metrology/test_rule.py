"""Rules: pitch, tilt and their doubt from ticks; finding the ticks in pictures."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corrosion.errors import ScaleError
from corrosion.find import find_reference
from corrosion.measure import measure_photo
from corrosion.model import RuleScale
from corrosion.photo import load_picture
from corrosion.quantity import Measured
from corrosion.scale import RulePlane, fit_scale
from corrosion.terms import Flag
from tests.metrology.pinhole import SIZE, Pinhole, area, ngon, pairs, polygon_mark, survey_of
from tests.metrology.scenes import Drawing, photograph, picture_of

SAMPLES = Path(__file__).parents[2] / "sample_images"
LENS = {
    "id": "known",
    "size": list(SIZE),
    "matrix": [1200.0, 1200.0, 799.5, 599.5],
    "distortion": [0.0, 0.0, 0.0, 0.0],
}


def ticks_seen(
    camera: Pinhole, sigma: float = 0.0, seed: int = 0, count: int = 81, tick: float = 1.0
) -> dict[str, Any]:
    """Three points on each tick of a rule along y = -10 mm, with noise, as a scale entry."""
    rng = np.random.default_rng(seed)
    ticks = []
    for k in range(count):
        x = (k - count // 2) * tick
        points = camera.see(np.array([[x, -10.0 - v] for v in (0.5, 1.5, 2.5)]))
        noise = rng.normal(0, sigma, points.shape)
        ticks.append({"number": k, "points": pairs(points + noise)})
    ends = camera.see(np.array([[-(count // 2) * tick, -10.0], [(count // 2) * tick, -10.0]]))
    return {"kind": "rule", "image": pairs(ends), "tick": tick, "u_scale": 0.0, "ticks": ticks}


def measured(scale: dict[str, Any], outline: np.ndarray, *, known: bool = True, **photo: Any) -> Measured:
    """Area of one outline without any doubt of its own."""
    mark = polygon_mark(outline, u_edge_px=0.0, sigma_px=1e-3)
    one, survey = survey_of(scale, [mark], lens=LENS if known else None, **photo)
    found = measure_photo(one, survey)
    assert found.problem is None, found.problem
    assert found.marks[0].problem is None, found.marks[0].problem
    return found.marks[0].quantities["area"]


@pytest.mark.parametrize("direction", [0.0, 1.0, math.pi / 2, 4.0])
def test_exact_ticks_give_the_exact_plane(direction: float) -> None:
    """With the lens known, ticks without noise fix tilt and scale: an area beside the rule is exact.

    The bound is what the loose expectation of a small tilt pulls at the stated 0.1 px per tick.
    """
    camera = Pinhole(tilt=math.radians(14), direction=direction, roll=0.2, distance=150)
    pit = ngon(24, 4.0, (12.0, 15.0))
    found = measured(ticks_seen(camera), camera.see(pit))
    assert found.value == pytest.approx(area(pit), rel=1e-3)


def test_two_points_alone_would_be_far_off() -> None:
    """The same pit by a bar along the same rule is off by the tilt: the ticks do see something."""
    camera = Pinhole(tilt=math.radians(14), direction=math.pi / 2, distance=150)
    pit = ngon(24, 4.0, (0.0, 15.0))
    bar = {"kind": "bar", "image": ticks_seen(camera)["image"], "length": 80.0, "max_tilt_deg": 15.0}
    # d sin t / Z with d = 25 mm: 3 x 25 x 0.242 / 150 = 12 %, and cos t itself 3 %.
    assert abs(measured(bar, camera.see(pit)).value / area(pit) - 1) > 0.10


@pytest.mark.parametrize("known", [True, False], ids=["lens known", "lens unknown"])
def test_the_truth_lies_within_u(known: bool) -> None:
    """Over random cameras, tilts to 15 deg and tick noise of 0.1 px, U (k = 2) holds in 93 % or more."""
    rng = np.random.default_rng(20310417)
    inside = []
    for seed in range(60):
        focal = 1200.0 if known else rng.uniform(1300, 2800)
        camera = Pinhole(
            tilt=math.radians(rng.uniform(0, 15)),
            direction=rng.uniform(0, 2 * math.pi),
            roll=rng.uniform(-0.3, 0.3),
            distance=150 * focal / 1200,
            focal=focal,
        )
        pit = ngon(16, rng.uniform(2, 5), (rng.uniform(-30, 30), rng.uniform(-5, 25)))
        found = measured(ticks_seen(camera, 0.1, seed), camera.see(pit), known=known)
        inside.append(abs(found.value - area(pit)) <= found.expanded)
    assert np.mean(inside) >= 0.93


def test_perspective_is_noticed_only_where_it_is() -> None:
    """The F-test flags a slope of 12 deg and leaves most square views alone (5 % level)."""

    def flagged(tilt_deg: float, seed: int) -> bool:
        camera = Pinhole(tilt=math.radians(tilt_deg), direction=0.5, distance=150)
        photo, survey = survey_of(ticks_seen(camera, 0.1, seed), [], lens=LENS)
        return Flag.PERSPECTIVE_FITTED in fit_scale(photo, survey).flags

    assert all(flagged(12, seed) for seed in range(5))
    # Two perspective terms, 5 % level: 5 or more of 20 would happen in 0.3 % of runs.
    assert sum(flagged(0, seed) for seed in range(20)) < 5


def test_labels_catch_a_wrong_tick() -> None:
    """Half-millimetre ticks taken as millimetres contradict the labelled ends, and are refused."""
    scale = ticks_seen(Pinhole(distance=150), tick=0.5, count=121)
    right = scale | {"labels": [10.0, 70.0]}
    photo, survey = survey_of(right, [], lens=LENS)
    assert Flag.RULE_UNCHECKED not in fit_scale(photo, survey).flags
    photo, survey = survey_of(right | {"tick": 1.0}, [], lens=LENS)
    with pytest.raises(ScaleError, match="labelled 60 mm apart"):
        fit_scale(photo, survey)
    unchecked = {name: value for name, value in scale.items() if name != "labels"}
    photo, survey = survey_of(unchecked, [], lens=LENS)
    assert Flag.RULE_UNCHECKED in fit_scale(photo, survey).flags


def test_what_a_rule_cannot_carry_is_refused() -> None:
    """No ticks yet, too few, too fine, or too oblique: each is refused with its number."""
    square = Pinhole(distance=150)
    found = ticks_seen(square)
    cases = [
        (found | {"ticks": []}, "not been found"),
        (found | {"ticks": found["ticks"][:7]}, "only 7 ticks"),
        (ticks_seen(Pinhole(distance=150), tick=0.4), r"3\.2 px apart"),
    ]
    for scale, words in cases:
        photo, survey = survey_of(scale, [], lens=LENS)
        with pytest.raises(ScaleError, match=words):
            fit_scale(photo, survey)
    oblique = Pinhole(tilt=math.radians(40), direction=1.2, distance=150)
    photo, survey = survey_of(ticks_seen(oblique), [polygon_mark(oblique.see(ngon(8, 3)))], lens=LENS)
    assert "tilt of 40 deg" in (measure_photo(photo, survey).marks[0].problem or "")


def test_a_line_that_leaves_the_picture_is_refused() -> None:
    """A rule's line from another picture, or with a wrong number in it, ends in an error that says so."""
    picture = picture_of(np.full((120, 200, 3), 128.0))
    scale = RuleScale(image=((10.0, 60.0), (-50_000.0, 60.0)), tick=1.0)
    with pytest.raises(ScaleError, match="leaves the picture of 200 x 120 px"):
        find_reference(picture, scale)


@pytest.mark.parametrize(
    "tick", [1.0, 0.5, 25.4 / 16, 25.4 / 32], ids=["mm", "half mm", "1/16 in", "1/32 in"]
)
def test_ticks_are_found_in_a_picture(tick: float) -> None:
    """Ticks of metric and inch graduations are found; an area beside them is within 2 % and within U."""
    rng = np.random.default_rng(7)
    camera = Pinhole(
        tilt=math.radians(10), direction=1.1, roll=0.1, focal=2000, distance=2000 / 12, size=(1400, 700)
    )
    drawing = Drawing.metal((130, 80), rng)
    drawing.rule(tick, int(100 / tick) + 1, -8.0)
    half = tick * math.floor(45 / tick)
    ends = camera.see(np.array([[-half, -8.6], [half, -8.6]]))
    line = ((float(ends[0][0]), float(ends[0][1])), (float(ends[1][0]), float(ends[1][1])))
    picture = picture_of(photograph(drawing, camera, rng))
    found = find_reference(picture, RuleScale(image=line, tick=tick, u_scale=3e-4))
    pit = ngon(24, 4.0, (10.0, 12.0))
    entry = found.model_dump(mode="json")
    area_found = measured(entry, camera.see(pit), known=False, size=(1400, 700))
    assert area_found.value == pytest.approx(area(pit), rel=0.02)
    assert abs(area_found.value - area(pit)) <= area_found.expanded


def test_a_line_without_ticks_is_a_miss() -> None:
    """Where there is no graduation the finder says so; it never makes one up."""
    rng = np.random.default_rng(3)
    picture = picture_of(photograph(Drawing.metal((130, 80), rng), Pinhole(distance=100), rng))
    with pytest.raises(ScaleError, match="no regular ticks"):
        find_reference(
            picture, RuleScale(image=((100.0, 300.0), (1500.0, 320.0)), tick=1.0), place="photo f1"
        )


@pytest.mark.parametrize(
    "name", ["01_sk1_outer_rule", "07_sp1_outer_row_rule", "09_rb1_outer_rule_portrait"]
)
def test_rendered_rules(name: str) -> None:
    """On the rendered pictures every whole dent's area is within 2 % and U by its exact outline."""
    truth = json.loads((SAMPLES / "truth" / f"{name}.json").read_text(encoding="utf-8"))
    points = {p["name"]: p["px"] for p in truth["references"][0]["points"] if p["in_picture"]}
    labels = sorted(int(point.split()[0]) for point in points)
    first, last = labels[0], labels[-1]
    ends = [points[f"{k} mm at lower edge"] for k in (first, last)]
    line = ((ends[0][0], ends[0][1]), (ends[1][0], ends[1][1]))
    entry = RuleScale(image=line, tick=1.0, labels=(first, last), u_scale=5e-4, height=0.5, u_height=0.02)
    found = find_reference(load_picture(SAMPLES / "photos" / f"{name}.jpg"), entry)
    size = tuple(truth["camera"]["size_px"])
    dents = [d for d in truth["dents"] if d["share_in_picture"] >= 1 and d["share_covered"] <= 0]
    assert dents
    distance = {"value": truth["camera"]["distance_along_normal_mm"], "u": 6.0}
    for dent in dents:
        area_found = measured(
            found.model_dump(mode="json"),
            np.array(dent["outline_px"]),
            known=False,
            size=size,
            distance=distance,
        )
        assert area_found.value == pytest.approx(dent["area_mm2"], rel=0.02), dent["id"]
        assert abs(area_found.value - dent["area_mm2"]) <= area_found.expanded, dent["id"]


def test_the_rule_knows_its_tilt() -> None:
    """The tilt read from the ticks is the camera's, to half a degree at 0.05 px of noise."""
    camera = Pinhole(tilt=math.radians(11), direction=2.0, distance=150)
    photo, survey = survey_of(ticks_seen(camera, 0.05), [], lens=LENS)
    scale = fit_scale(photo, survey)
    assert isinstance(scale, RulePlane)
    assert math.degrees(scale.tilt_rad) == pytest.approx(11, abs=0.5)
