"""Marks on a cylinder, unrolled: closed forms, a ray tracer written apart, and honest intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.cylinder import unroll
from corrosion.measure import measure_photo
from corrosion.quantity import Measured
from corrosion.results import MarkMeasures, PhotoMeasures
from corrosion.scale import CylinderScale, fit_scale
from corrosion.terms import Flag
from tests.metrology.pinhole import SIZE, area, ngon, pairs, polygon_mark, rectangle, survey_of

RADIUS = 40.0
FOCAL = 1200.0
MIDDLE = (np.array(SIZE) - 1.0) / 2.0
REFERENCE = rectangle(20, 30)
Rng = np.random.Generator


@dataclass(frozen=True)
class TubeView:
    """A camera over a tube whose axis runs along y below the touching plane z = 0, axis at z = -RADIUS.

    With `inside` it looks into a trough: the axis runs above that plane, at z = RADIUS. `lean` turns the
    camera about the tube (rad), `pitch` along it, `roll` about its own axis; it looks at the point `aim` of
    the touching plane from `distance`.
    """

    distance: float = 250.0
    lean: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    aim: tuple[float, float] = (0.0, 0.0)
    radius: float = RADIUS
    inside: bool = False

    @property
    def focal(self) -> float:
        """4 px per mm at the aim, but not shorter than the ordinary lens."""
        return max(FOCAL, 4.0 * self.distance)

    @property
    def lens(self) -> dict[str, Any]:
        """The profile of this camera."""
        matrix = [self.focal, self.focal, *MIDDLE]
        return {"id": "cam", "size": list(SIZE), "matrix": matrix, "distortion": [0.0] * 4}

    def see(self, solid: np.ndarray) -> np.ndarray:
        """Project points (n, 3) of the tube's frame to pixels; the picture's y runs against the tube's."""
        c, s = np.cos, np.sin
        forward = -np.array([s(self.lean) * c(self.pitch), s(self.pitch), c(self.lean) * c(self.pitch)])
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        right, down = (
            c(self.roll) * right + s(self.roll) * down,
            -s(self.roll) * right + c(self.roll) * down,
        )
        centre = np.array([*self.aim, 0.0]) - self.distance * forward
        local = (solid - centre) @ np.column_stack([right, down, forward])
        return self.focal * local[:, :2] / local[:, 2:] + MIDDLE

    def flat(self, points: np.ndarray) -> np.ndarray:
        """See points of the touching plane."""
        return self.see(np.column_stack([points, np.zeros(len(points))]))

    def rolled(self, points: np.ndarray) -> np.ndarray:
        """See points (arc, y) of the surface itself."""
        angle = points[:, 0] / self.radius
        height = (-1.0 if self.inside else 1.0) * self.radius * (np.cos(angle) - 1.0)
        return self.see(np.column_stack([self.radius * np.sin(angle), points[:, 1], height]))


def tube_photo(
    view: TubeView, pits: list[np.ndarray], *, surface: dict[str, Any] | None = None, **more: Any
) -> PhotoMeasures:
    """Measure pits (arc, y) on the tube by a sheet in the touching plane."""
    scale = more.pop("scale", None) or {
        "kind": "points",
        "image": pairs(view.flat(REFERENCE)),
        "plane": pairs(REFERENCE),
        "sigma_px": 1e-4,
        "u_plane": 0,
    }
    marks = more.pop("marks", None) or [
        polygon_mark(view.rolled(pit), f"P{i}", sigma_px=1e-4, u_edge_px=0.0) for i, pit in enumerate(pits)
    ]
    tube = {
        "kind": "cylinder",
        "radius": RADIUS,
        "u_radius": 0.0,
        "axis": pairs(view.flat(AXIS)),
        "sigma_px": 1e-4,
        "seen_from": "inside" if view.inside else "outside",
    }
    more.setdefault("lens", view.lens)
    photo, survey = survey_of(scale, marks, surface=tube | (surface or {}), **more)
    return measure_photo(photo, survey)


AXIS = np.array([[0.0, -12.0], [0.0, 12.0]])


FAR = np.array([3.0, -2.0, 1e10])


def test_half_a_radius_across_is_a_sixth_of_half_a_turn() -> None:
    """Square on from far, x = R / 2 unrolls to R asin(1/2) = 0.523599 R, at an incidence of 30 degrees."""
    found, cosine = unroll(np.array([[RADIUS / 2, 7.0]]), RADIUS, FAR)
    assert found[0] == pytest.approx([0.523599 * RADIUS, 7.0], abs=1e-6 * RADIUS)
    assert cosine[0] == pytest.approx(math.cos(math.pi / 6))


def test_from_far_points_unroll_to_their_arc() -> None:
    """Square on from far, x unrolls to R asin(x / R) at an incidence whose sine is x / R."""
    points = np.array([[x, y] for x in (-39.9, -30.0, -5.0, 0.0, 12.0, 34.0) for y in (-9.0, 4.0)])
    found, cosine = unroll(points, RADIUS, FAR)
    assert found[:, 0] == pytest.approx(RADIUS * np.arcsin(points[:, 0] / RADIUS), abs=1e-5)
    assert found[:, 1] == pytest.approx(points[:, 1])
    assert cosine == pytest.approx(np.sqrt(1 - (points[:, 0] / RADIUS) ** 2), abs=1e-6)


@given(
    st.booleans(),
    st.floats(-0.9, 0.9),
    st.floats(-20, 20),
    st.floats(-60, 60),
    st.floats(-60, 60),
    st.floats(30, 1e4),
)
def test_a_point_of_the_surface_unrolls_to_itself(
    inside: bool, angle: float, y: float, cx: float, cy: float, height: float
) -> None:
    """Wherever the camera, a visible point seen through the touching plane unrolls to (R phi, y).

    From inside also where the camera stands within the tube.
    """
    side = -1.0 if inside else 1.0
    solid = np.array([RADIUS * math.sin(angle), y, side * RADIUS * (math.cos(angle) - 1.0)])
    camera = np.array([cx, cy, height])
    towards = (camera - solid) / np.linalg.norm(camera - solid)
    incidence = float(towards @ [side * math.sin(angle), 0.0, math.cos(angle)])
    if incidence < 0.05 or camera[2] < solid[2] + 1.0:
        return
    through = camera + (solid - camera) * camera[2] / (camera[2] - solid[2])
    found, cosine = unroll(through[None, :2], RADIUS, camera, inside=inside)
    assert found[0] == pytest.approx([RADIUS * angle, y], abs=1e-6)
    assert cosine[0] == pytest.approx(incidence, abs=1e-9)


def test_rays_beside_the_cylinder_meet_nothing() -> None:
    """Beyond the silhouette there is no surface: not a number, from near and from far."""
    beside = np.array([[1.01 * RADIUS, 0.0]])
    for camera in (FAR, np.array([0.0, 0.0, 200.0])):
        assert np.isnan(unroll(beside, RADIUS, camera)[0][0, 0])


PITS = [ngon(24, 4.0, (0.0, 0.0)), ngon(24, 4.0, (18.0, 6.0)), ngon(24, 4.0, (-15.0, -8.0))]


@pytest.mark.parametrize(
    "view",
    [
        TubeView(),
        TubeView(distance=90.0, aim=(4.0, -3.0)),
        TubeView(lean=0.3, pitch=-0.25, roll=0.8),
        TubeView(distance=150.0, lean=-0.2, pitch=0.35, roll=-2.0),
        TubeView(inside=True),
        TubeView(distance=65.0, aim=(4.0, -3.0), inside=True),
        TubeView(distance=150.0, lean=-0.2, pitch=0.35, roll=-2.0, inside=True),
    ],
    ids=["square on", "near", "oblique", "near and oblique", "trough", "in the tube", "trough, oblique"],
)
def test_areas_and_spacing_are_those_of_the_surface(view: TubeView) -> None:
    """With the lens known, pits drawn on the tube have their true areas and spacing, from anywhere."""
    found = tube_photo(view, PITS)
    assert found.problem is None
    for mark, pit in zip(found.marks, PITS, strict=True):
        assert mark.problem is None
        assert mark.quantities["area"].value == pytest.approx(area(pit), rel=1e-4)
    # Nearest corners of the 24-gons at (0, 0) and (-15, -8): their centres are 17 mm apart.
    assert found.marks[2].quantities["spacing"].value == pytest.approx(17.0 - 8.0, abs=0.1)


def test_the_flat_assumption_is_wrong_by_the_published_amount() -> None:
    """Taken as flat, a pit square on from far is short by x0^2 / (2 R^2) + w^2 / (6 R^2), the rest by sign.

    Series of the strip integral for half-width w at x0, to its next term: (x0 / R)^4.
    """
    view = TubeView(distance=4e4)
    x0, w = 12.0, 3.0
    arc = RADIUS * np.arcsin(np.array([x0 - w, x0 + w]) / RADIUS)
    strip = np.array([[arc[0], -3], [arc[1], -3], [arc[1], 3], [arc[0], 3]])
    sheet = {
        "kind": "points",
        "image": pairs(view.flat(REFERENCE)),
        "plane": pairs(REFERENCE),
        "sigma_px": 1e-6,
        "u_plane": 0,
    }
    marks = [polygon_mark(view.rolled(strip), sigma_px=1e-6, u_edge_px=0.0)]
    flat = measure_photo(*survey_of(sheet, marks, lens=view.lens)).marks[0].quantities["area"].value
    rolled = tube_photo(view, [], scale=sheet, marks=marks).marks[0].quantities["area"].value
    expected = x0**2 / (2 * RADIUS**2) + w**2 / (6 * RADIUS**2)
    assert rolled / flat - 1 == pytest.approx(expected, abs=1.5 * (x0 / RADIUS) ** 4)
    assert rolled == pytest.approx(area(strip), rel=1e-3)


def relative(found: MarkMeasures, source: str) -> float:
    quantity = found.quantities["area"]
    return quantity.budget()[f"photo f1: {source}"] / quantity.value


def test_radius_and_axis_offset_enter_as_the_closed_forms_say() -> None:
    """Square on, u(A)/A is x0^2 u_R / R^3 from the radius and x0 u_x0 / R^2 from the line of contact.

    First terms in x0 / R = 0.2: exact to (x0 / R)^2 = 4 %, and to R / D = 0.4 % of perspective.
    """
    view = TubeView(distance=1e4)
    x0, u_r, u_px = 8.0, 2.0, 0.1
    pit = ngon(24, 1.0, (RADIUS * math.asin(x0 / RADIUS), 0.0))
    found = tube_photo(view, [pit], surface={"u_radius": u_r, "sigma_px": u_px}).marks[0]
    assert relative(found, "radius") == pytest.approx(x0**2 * u_r / RADIUS**3, rel=0.06)
    # Two clicks of u_px each, the pit midway: the line lies there to u_px / sqrt 2. 4 px are 1 mm.
    u_x0 = u_px / math.sqrt(2) / 4.0
    assert relative(found, "axis offset") == pytest.approx(x0 * u_x0 / RADIUS**2, rel=0.06)


def test_gradients_are_the_derivatives() -> None:
    """Moving a click moves the unrolled point as the Jacobian says."""
    view = TubeView(distance=150.0, lean=0.3, pitch=0.2)
    scale = {"kind": "points", "image": pairs(view.flat(REFERENCE)), "plane": pairs(REFERENCE)}
    tube = {"kind": "cylinder", "radius": RADIUS, "axis": pairs(view.flat(AXIS))}
    photo, survey = survey_of(scale, [], surface=tube, lens=view.lens)
    fitted = fit_scale(photo, survey)
    assert isinstance(fitted, CylinderScale)
    points = view.rolled(PITS[1])
    jacobian = fitted.jacobian_points(points)
    for axis in (0, 1):
        step = 0.01 * np.eye(2)[axis]
        change = (fitted.to_plane(points + step) - fitted.to_plane(points - step)) / 0.02
        assert jacobian[:, :, axis] == pytest.approx(change, rel=1e-3, abs=1e-5)


def test_intervals_hold_the_truth() -> None:
    """With everything noisy (clicks, radius, axis), value +- 2 u holds the truth in 95 % of 150 trials.

    Standard error 1.7 %: bound 3.3 of those below.
    """
    rng = np.random.default_rng(20310417)
    hits = [_noisy_trial(rng) for _ in range(150)]
    assert np.mean(hits) >= 0.9545 - 3.3 * 0.017


def _noisy_trial(rng: Rng) -> bool:
    view = TubeView(
        distance=rng.uniform(100, 300),
        lean=rng.uniform(-0.3, 0.3),
        pitch=rng.uniform(-0.3, 0.3),
        roll=rng.uniform(0, 6.28),
        aim=tuple(rng.uniform(-3, 3, 2)),
    )
    pit = ngon(16, rng.uniform(2, 4), (rng.uniform(-18, 18), rng.uniform(-8, 8)))
    scale = {
        "kind": "points",
        "image": pairs(view.flat(REFERENCE) + rng.normal(0, 0.4, (4, 2))),
        "plane": pairs(REFERENCE),
        "sigma_px": 0.4,
        "u_plane": 0,
    }
    clicked = view.rolled(pit) + rng.normal(0, 0.3, pit.shape)
    found = tube_photo(
        view,
        [],
        scale=scale,
        marks=[polygon_mark(clicked, sigma_px=0.3, u_edge_px=0.0)],
        surface={
            "radius": RADIUS + rng.normal(0, 1.5),
            "u_radius": 1.5,
            "axis": pairs(view.flat(AXIS) + rng.normal(0, 5.0, (2, 2))),
            "sigma_px": 5.0,
        },
    )
    quantity: Measured = found.marks[0].quantities["area"]
    return abs(quantity.value - area(pit)) <= quantity.expanded


@pytest.mark.parametrize("distance", [120.0, 400.0])
def test_without_a_lens_the_viewpoint_is_in_doubt_and_covered(distance: float) -> None:
    """Near or far, an unknown focal length leaves a stated doubt that holds the true area."""
    found = tube_photo(TubeView(distance=distance), [PITS[1]], lens=None).marks[0]
    quantity = found.quantities["area"]
    assert relative(found, "viewpoint") > 1e-4
    assert abs(quantity.value - area(PITS[1])) <= quantity.expanded


def test_a_stated_distance_takes_the_doubt_away() -> None:
    """With the distance stated and no lens profile, areas are right, and the doubt is that distance's."""
    found = tube_photo(TubeView(), [PITS[1]], lens=None, distance={"value": 250.0, "u": 5.0}).marks[0]
    assert found.quantities["area"].value == pytest.approx(area(PITS[1]), rel=1e-3)
    assert relative(found, "viewpoint") < 0.002


def test_a_bar_along_the_line_of_contact() -> None:
    """A rule laid along a tube measures pits beside it, its unknown tilt included."""
    view = TubeView(distance=300.0, lean=0.1)
    bar = {
        "kind": "bar",
        "image": pairs(view.flat(np.array([[0.0, -15.0], [0.0, 15.0]]))),
        "length": 30.0,
        "u_length": 0.05,
        "max_tilt_deg": 10,
    }
    quantity = tube_photo(view, [PITS[1]], scale=bar).marks[0].quantities["area"]
    assert abs(quantity.value - area(PITS[1])) <= quantity.expanded
    assert quantity.budget()["photo f1: tilt"] > 0


@pytest.mark.parametrize(
    ("surface", "said"),
    [({"axis": None}, "axis is not marked"), ({"axis": [[5.0, 5.0], [5.0, 5.0]]}, "axis is not marked")],
)
def test_no_axis_no_measure(surface: dict[str, Any], said: str) -> None:
    """Without two points on the line of contact nothing is unrolled, and the error says what to mark."""
    assert said in str(tube_photo(TubeView(), PITS, surface=surface).problem)


def test_grazing_views_are_refused_mark_by_mark() -> None:
    """A pit seen at more than 60 degrees is refused; one at 55 is measured. Beside the tube is nothing."""
    view = TubeView(distance=2000.0)
    good, grazing = (ngon(12, 1.0, (RADIUS * math.radians(deg), 0.0)) for deg in (55.0, 62.0))
    first, second = tube_photo(view, [good, grazing]).marks
    assert first.problem is None
    assert "60 deg is the most" in str(second.problem)
    beside = polygon_mark(view.flat(ngon(12, 1.0, (RADIUS + 2, 0.0))))
    assert "beside the cylinder" in str(tube_photo(view, [], marks=[beside]).marks[0].problem)


def test_a_reference_off_the_cylinder_is_refused() -> None:
    """Where the axis is marked far from the reference, the two do not belong together."""
    away = {"axis": pairs(TubeView().flat(AXIS + np.array([60.0, 0.0])))}
    assert "reference" in str(tube_photo(TubeView(), PITS, surface=away).problem)


def test_an_unstated_radius_tolerance_is_flagged() -> None:
    """A radius without its uncertainty counts as exact, and says so."""
    found = tube_photo(TubeView(), [PITS[0]], surface={"u_radius": None})
    assert Flag.TOLERANCE_NOT_STATED in found.flags
    assert Flag.TOLERANCE_NOT_STATED not in tube_photo(TubeView(), [PITS[0]]).flags
