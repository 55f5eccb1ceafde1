"""Discs: the area scale of an ellipse, its two poses, its refusals; finding rims in pictures."""

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
from corrosion.model import DiscScale
from corrosion.photo import load_picture
from corrosion.quantity import Measured
from corrosion.reference_sizes import COINS, coin_named
from corrosion.scale import fit_scale
from corrosion.scale.ellipse import fit_ellipse
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
D = 24.0


def disc_seen(camera: Pinhole, sigma: float = 0.0, seed: int = 0, count: int = 90) -> dict[str, Any]:
    """Rim points of a disc about (0, 0), with noise, as a scale entry."""
    noise = np.random.default_rng(seed).normal(0, sigma, (count, 2))
    image = pairs(camera.see(ngon(count, D / 2)) + noise)
    return {
        "kind": "disc",
        "image": image,
        "diameter": D,
        "u_diameter": 0.0,
        "u_edge_px": 0.0,
        "sigma_px": max(sigma, 1e-3),
    }


def result(scale: dict[str, Any], outline: np.ndarray, *, lens: bool = True, **photo: Any) -> Any:
    mark = polygon_mark(outline, u_edge_px=0.0, sigma_px=1e-3)
    one, survey = survey_of(scale, [mark], lens=LENS if lens else None, **photo)
    return measure_photo(one, survey)


def measured(scale: dict[str, Any], outline: np.ndarray, **more: Any) -> Measured:
    found = result(scale, outline, **more)
    assert found.problem is None, found.problem
    assert found.marks[0].problem is None, found.marks[0].problem
    return found.marks[0].quantities["area"]


def test_area_scale_is_d_squared_over_ab() -> None:
    """From very far (an affine view) any area at any place is D^2/(4ab) times its pixels: closed form."""
    camera = Pinhole(tilt=math.radians(35), direction=0.7, distance=1e6, focal=4e6)
    pit = ngon(30, 5.0, (30.0, -10.0))
    found = measured(disc_seen(camera), camera.see(pit), lens=False, distance=1e6)
    rim = fit_ellipse(camera.see(ngon(90, D / 2)))
    assert rim is not None
    a, b = rim.semi_axes
    # Semi-axes, so D^2 / (4 a b).
    assert found.value == pytest.approx(area(camera.see(pit)) * D**2 / (4 * a * b), rel=1e-6)
    assert found.value == pytest.approx(area(pit), rel=1e-4)


def test_the_side_doubt_is_three_d_sin_t_over_z() -> None:
    """The pose on the other side changes a small area d away by 3 d sin t / Z, to second order."""
    t, z, d = math.radians(12), 600.0, 16.0
    camera = Pinhole(tilt=t, direction=0.0, distance=z)
    found = measured(disc_seen(camera), camera.see(ngon(24, 0.5, (d, 0.0))))
    assert Flag.TILT_DIRECTION_UNKNOWN in found.flags
    half_width = found.budget()["photo f1: tilt"] * math.sqrt(3.0) / found.value
    closed = 3 * d * math.sin(t) / z
    # Second order: 6 (d sin t / Z)^2 of either pose, and as much again of the affine middle (D/2 wide).
    assert half_width == pytest.approx(closed, abs=2 * closed**2)


def test_the_farther_side_settles_the_pose() -> None:
    """With the lens known and a point on the farther side named, perspective is right as well."""
    camera = Pinhole(tilt=math.radians(25), direction=0.4, distance=200)
    away = np.array([math.cos(0.4), math.sin(0.4)])
    far = pairs(camera.see(80.0 * away[None]))[0]
    pit = ngon(24, 3.0, (15.0, 8.0))
    scale = disc_seen(camera)
    found = measured(scale | {"far": far}, camera.see(pit))
    assert found.value == pytest.approx(area(pit), rel=2e-3)
    assert Flag.TILT_DIRECTION_UNKNOWN not in found.flags
    assert found.u < 0.3 * abs(measured(disc_seen(camera), camera.see(ngon(24, 1.0))).value)


def test_the_largest_tilt_may_settle_the_pose() -> None:
    """Off the middle of the picture the other pose is far more oblique; a largest tilt rules it out."""
    camera = Pinhole(tilt=math.radians(12), direction=-math.pi / 2, distance=200, shift=(0.0, 60.0))
    pit = ngon(24, 3.0, (0.0, -18.0))
    scale = disc_seen(camera)
    blind = measured(scale, camera.see(pit)) if result(scale, camera.see(pit)).marks[0].quantities else None
    told = measured(scale | {"max_tilt_deg": 15.0}, camera.see(pit))
    assert told.value == pytest.approx(area(pit), rel=5e-3)
    assert Flag.TILT_DIRECTION_UNKNOWN not in told.flags
    assert blind is None or told.u < blind.u


def test_the_truth_lies_within_u() -> None:
    """Over random tilts to 25 deg and rim noise, U (k = 2) near the disc holds in 93 % or more."""
    rng = np.random.default_rng(20310417)
    inside = []
    for seed in range(60):
        camera = Pinhole(
            tilt=math.radians(rng.uniform(0, 25)),
            direction=rng.uniform(0, 2 * math.pi),
            distance=500,
            shift=(rng.uniform(-20, 20), rng.uniform(-20, 20)),
        )
        angle = rng.uniform(0, 2 * math.pi)
        pit = ngon(16, 3.0, (16 * math.cos(angle), 16 * math.sin(angle)))
        found = result(disc_seen(camera, 0.3, seed), camera.see(pit)).marks[0]
        if found.quantities:
            value = found.quantities["area"]
            inside.append(abs(value.value - area(pit)) <= value.expanded)
    assert len(inside) >= 45
    assert np.mean(inside) >= 0.93


def test_what_a_disc_cannot_carry_is_refused() -> None:
    """Not found, too small, half hidden, too oblique, no circle: each is refused with its number."""
    square = Pinhole(distance=300)
    good = disc_seen(square)
    rim = ngon(60, D / 2)
    half = rim[rim @ [1.0, 0.3] > 2.0]
    bumpy = camera_bumps(square)
    cases = [
        (good | {"image": [], "seed": [800.0, 600.0]}, "not been found"),
        (disc_seen(Pinhole(distance=1200)), "24 px wide"),
        (good | {"image": pairs(square.see(half))}, "are not seen"),
        (disc_seen(Pinhole(tilt=math.radians(65), distance=300)), "60 deg is the most"),
        (good | {"image": bumpy}, "off an ellipse"),
    ]
    for scale, words in cases:
        photo, survey = survey_of(scale, [], lens=LENS)
        with pytest.raises(ScaleError, match=words):
            fit_scale(photo, survey)


def camera_bumps(camera: Pinhole) -> list[list[float]]:
    """Rim of a seven-lobed coin, like the one that must not serve as a disc."""
    t = np.arange(70) * 2 * math.pi / 70
    radius = D / 2 * (1 + 0.05 * np.cos(7 * t))
    return pairs(camera.see(radius[:, None] * np.column_stack([np.cos(t), np.sin(t)])))


def test_a_far_mark_on_a_steep_disc_is_refused() -> None:
    """Where 3 d sin t / Z exceeds 10 % the mark is refused, and the way out is named."""
    camera = Pinhole(tilt=math.radians(25), direction=0.0, distance=200)
    problem = result(disc_seen(camera), camera.see(ngon(16, 2.0, (25.0, 0.0)))).marks[0].problem
    assert "cannot tell which side" in problem
    assert "'far'" in problem


def test_coins_have_their_published_sizes_and_stand_on_their_thickness() -> None:
    """A named coin (United States Mint, Coin Specifications: quarter 24.26 x 1.75 mm) is the reference."""
    quarter = coin_named("us  QUARTER")
    assert (quarter.diameter_mm, quarter.thickness_mm) == (24.26, 1.75)
    assert all(coin.source for coin in COINS)
    upper = Pinhole(distance=300 - 1.75)
    lower = Pinhole(distance=300)
    image = pairs(upper.see(ngon(60, quarter.diameter_mm / 2)))
    pit = ngon(24, 3.0, (18.0, 0.0))
    found = measured({"kind": "disc", "coin": "US quarter", "image": image}, lower.see(pit), distance=300.0)
    assert found.value == pytest.approx(area(pit), rel=1e-3)
    assert Flag.REFERENCE_RAISED in found.flags
    with pytest.raises(ScaleError, match="20 euro cent"):
        coin_named("20 euro cent")


@pytest.mark.parametrize(("tilt_deg", "shade"), [(0, 0.7), (12, 0.12), (20, 0.6), (30, 0.15)])
def test_rims_are_found_in_a_picture(tilt_deg: float, shade: float) -> None:
    """The rim is found from a seed off the middle; an area beside it is within 5 % across the slope."""
    rng = np.random.default_rng(5)
    camera = Pinhole(tilt=math.radians(tilt_deg), direction=0.9, focal=1000, distance=200, size=(800, 600))
    drawing = Drawing.metal((150, 120), rng)
    drawing.disc(0.0, 0.0, D, shade)
    seed = camera.see(np.array([[4.0, -3.0]]))[0]
    entry = DiscScale(seed=(float(seed[0]), float(seed[1])), diameter=D, u_diameter=0.02)
    found = find_reference(picture_of(photograph(drawing, camera, rng)), entry)
    assert len(found.model_dump()["image"]) >= 200
    across = 16.0 * np.array([-math.sin(0.9), math.cos(0.9)])
    pit = ngon(24, 3.0, (float(across[0]), float(across[1])))
    value = measured(
        found.model_dump(mode="json"),
        camera.see(pit),
        lens=False,
        size=(800, 600),
        distance=200.0 * math.cos(math.radians(tilt_deg)),
    )
    assert value.value == pytest.approx(area(pit), rel=0.05)
    assert abs(value.value - area(pit)) <= value.expanded


def test_bare_metal_is_a_miss() -> None:
    """A seed where there is no disc gives a refusal, never a rim."""
    rng = np.random.default_rng(5)
    camera = Pinhole(focal=1000, distance=200, size=(800, 600))
    picture = picture_of(photograph(Drawing.metal((150, 120), rng), camera, rng))
    with pytest.raises(ScaleError, match="no disc was found"):
        find_reference(picture, DiscScale(seed=(400.0, 300.0), diameter=D), place="photo f1")


@pytest.mark.parametrize("name", ["04_sk1_inner_blends_disc", "06_sk2_inner_blend_disc"])
def test_rendered_discs(name: str) -> None:
    """On the rendered pictures, a bevelled disc in its own shadow, every dent is within U and 10 %."""
    truth = json.loads((SAMPLES / "truth" / f"{name}.json").read_text(encoding="utf-8"))
    rim = np.array([p["px"] for p in truth["references"][0]["points"]])
    seed = rim.mean(axis=0) + np.array([25.0, -20.0])
    entry = DiscScale(
        seed=(float(seed[0]), float(seed[1])),
        diameter=22.0,
        u_diameter=0.02,
        height=1.75,
        u_height=0.02,
        max_tilt_deg=15.0,
    )
    found = find_reference(load_picture(SAMPLES / "photos" / f"{name}.jpg"), entry).model_dump(mode="json")
    distance = {"value": truth["camera"]["distance_along_normal_mm"], "u": 6.0}
    for dent in truth["dents"]:
        if dent["share_in_picture"] < 1:
            continue
        value = measured(found, np.array(dent["outline_px"]), lens=False, distance=distance)
        assert abs(value.value - dent["area_mm2"]) <= value.expanded, dent["id"]
        assert value.value == pytest.approx(dent["area_mm2"], rel=0.10), dent["id"]
