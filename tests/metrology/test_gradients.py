"""Every contribution of every budget against differences of the measure itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely

from corrosion.measure import measure_photo
from corrosion.quantity import Measured
from tests.metrology.pinhole import Pinhole, ngon, pairs, polygon_mark, rectangle, survey_of

CAMERA = Pinhole(tilt=0.6, direction=1.0, roll=0.3)
LENS = {
    "id": "cam",
    "size": [1600, 1200],
    "matrix": [1200, 1200, 799.5, 599.5],
    "distortion": [-0.1, 0.02, 0.001, -0.001, 0.0],
    "u_px": 0.2,
}
REFERENCES = {
    4: rectangle(60, 40),
    7: np.vstack([rectangle(60, 40), [[0, 0], [10, 22], [-33, 4]]]),
}
# An irregular outline: no two callipers are equal, so every measure is smooth.
OUTLINE = np.array([[2.0, 1], [9, 0], [13, 4], [11, 9], [5, 10.5], [1, 6]])
# Large enough that first order holds: a smaller one would be measured by draws, which nothing here needs.
NEIGHBOUR = np.array([[20.0, 3], [32, 6], [23, 16]])
NAMES = ["area", "equivalent_diameter", "longest_calliper", "shortest_calliper", "perimeter", "spacing"]
SETTINGS = {"reference_sigma_px": 0.4, "mark_sigma_px": 0.3, "edge_u_px": 0.6}

Quantities = dict[str, Measured]
Build = Callable[..., Quantities]


def measure(
    reference_px: np.ndarray,
    plane: np.ndarray,
    outline: np.ndarray,
    neighbour: np.ndarray,
    distance: float = 300.0,
    height: float = 2.0,
    **scale: Any,
) -> Quantities:
    scale = {"kind": "points", "image": pairs(reference_px), "plane": pairs(plane), **scale}
    scale |= {"height": height, "u_height": 0.3}
    marks = [polygon_mark(outline), polygon_mark(neighbour, "P2")]
    photo, survey = survey_of(
        scale, marks, settings=SETTINGS, lens=LENS, distance={"value": distance, "u": 8.0}
    )
    found = measure_photo(photo, survey)
    assert found.problem is None
    assert found.marks[0].problem is None
    return found.marks[0].quantities


def inputs(n: int) -> dict[str, Any]:
    plane = REFERENCES[n]
    return {
        "reference_px": CAMERA.see(plane),
        "plane": plane,
        "outline": CAMERA.see(OUTLINE),
        "neighbour": CAMERA.see(NEIGHBOUR),
        "u_plane": 0.05,
        "u_scale": 0.002,
    }


def differences(build: Build, base: dict[str, Any], **steps: Any) -> dict[str, float]:
    """Central difference of every measure when the named inputs move by +- their step, per step."""
    ends = [
        build(**(base | {field: base[field] + sign * step for field, step in steps.items()}))
        for sign in (1, -1)
    ]
    return {name: (ends[0][name].value - ends[1][name].value) / 2 for name in NAMES}


def norm_of_changes(n: int, u: float, *fields: str) -> dict[str, float]:
    """Root sum of squares of u dq/dx over all coordinates of the inputs, for every measure."""
    base, step = inputs(n), 1e-3
    squares = dict.fromkeys(NAMES, 0.0)
    for field in fields:
        for index in np.ndindex(base[field].shape):
            moved = np.zeros_like(base[field])
            moved[index] = step
            for name, change in differences(measure, base, **{field: moved}).items():
                squares[name] += (u * change / step) ** 2
    return {name: square**0.5 for name, square in squares.items()}


def contributions(n: int, source: str) -> dict[str, float]:
    found = measure(**inputs(n))
    return {name: found[name].budget()[source] for name in NAMES}


@pytest.mark.parametrize("n", [4, 7])
def test_reference_points(n: int) -> None:
    """The contribution of reference clicks is what clicking each of them elsewhere does."""
    numeric = norm_of_changes(n, 0.4, "reference_px")
    assert contributions(n, "photo f1: reference points") == pytest.approx(numeric, rel=2e-3)
    # The lens' residual acts on the same points, but after undistortion: nearly in proportion.
    in_proportion = {name: part * 0.2 / 0.4 for name, part in numeric.items()}
    assert contributions(n, "photo f1: lens") == pytest.approx(in_proportion, rel=0.08)


@pytest.mark.parametrize("n", [4, 7])
def test_reference_tolerance(n: int) -> None:
    """The contribution of the reference's own tolerance is what changing its plane points does."""
    by_point = norm_of_changes(n, 0.05, "plane")
    base = inputs(n)
    as_a_whole = differences(measure, base, plane=1e-4 * base["plane"])
    expected = {name: np.hypot(by_point[name], 0.002 * as_a_whole[name] / 1e-4) for name in NAMES}
    assert contributions(n, "photo f1: reference tolerance") == pytest.approx(expected, rel=2e-3)


def test_outline_vertices() -> None:
    """The contribution of a mark's own vertices is what drawing each of them elsewhere does."""
    own = norm_of_changes(4, 0.3, "outline")
    own["spacing"] = norm_of_changes(4, 0.3, "outline", "neighbour")["spacing"]
    assert contributions(4, "outline vertices") == pytest.approx(own, rel=2e-3)


def test_edge_offset() -> None:
    """The contribution of the common edge offset is what growing all outlines does; gaps close."""
    base = inputs(4)

    def grown(e: float) -> Quantities:
        def buffered(outline: np.ndarray) -> np.ndarray:
            out = shapely.Polygon(outline).buffer(e, join_style="mitre", mitre_limit=20)
            return shapely.get_coordinates(out)[:-1]

        return measure(**(base | {k: buffered(base[k]) for k in ("outline", "neighbour")}))

    more, less, now = grown(1e-3), grown(-1e-3), measure(**base)
    for name in NAMES:
        numeric = 0.6 * (more[name].value - less[name].value) / 2e-3
        assert now[name].shared["photo f1: edge offset"] == pytest.approx([numeric], rel=2e-3)
        assert (numeric < 0) is (name == "spacing")


def test_height_and_distance() -> None:
    """The contribution of height and distance is what changing each of them does."""
    base = inputs(4) | {"distance": 300.0, "height": 2.0}
    by_distance = differences(measure, base, distance=0.1)
    by_height = differences(measure, base, height=0.01)
    expected = {n: np.hypot(8.0 * by_distance[n] / 0.1, 0.3 * by_height[n] / 0.01) for n in NAMES}
    assert contributions(4, "photo f1: height and distance") == pytest.approx(expected, rel=1e-3)


def test_line_length() -> None:
    """A line's budget holds the same way: points of the line, points of the reference."""

    def length(reference_px: np.ndarray, line: np.ndarray) -> Measured:
        scale = {
            "kind": "points",
            "image": pairs(reference_px),
            "plane": pairs(REFERENCES[4]),
            "u_plane": 0,
        }
        shape = {"type": "LineString", "coordinates": pairs(line)}
        photo, survey = survey_of(scale, [{"id": "L", "kind": "pit", "shape": shape}], settings=SETTINGS)
        return measure_photo(photo, survey).marks[0].quantities["length"]

    points, line = CAMERA.see(REFERENCES[4]), CAMERA.see(np.array([[0.0, 0], [5, 2], [9, 9]]))
    budget = length(points, line).budget()
    for field, value, u in (("reference points", points, 0.4), ("vertices", line, 0.3)):
        changes = []
        for index in np.ndindex(value.shape):
            step = np.zeros_like(value)
            step[index] = 1e-3
            arguments = [
                (points + s * step, line) if field != "vertices" else (points, line + s * step)
                for s in (1, -1)
            ]
            changes.append(u * np.subtract(*(length(*a).value for a in arguments)) / 2e-3)
        (contribution,) = (part for name, part in budget.items() if name.endswith(field))
        assert contribution == pytest.approx(np.linalg.norm(changes), rel=1e-3)


def test_bar_budget() -> None:
    """A bar's budget is (u_L/L)^2 + 2 sigma^2/d^2 for a length and four times that for an area."""
    camera = Pinhole()
    bar = camera.see([[-20, 0], [20, 0]])
    d = float(np.linalg.norm(bar[1] - bar[0]))
    scale = {"kind": "bar", "image": pairs(bar), "length": 40, "u_length": 0.1, "max_tilt_deg": 0}
    photo, survey = survey_of(scale, [polygon_mark(camera.see(ngon(12, 6, (3, 8))))], settings=SETTINGS)
    quantities = measure_photo(photo, survey).marks[0].quantities
    for name, power in (("area", 2), ("perimeter", 1), ("equivalent_diameter", 1)):
        budget, value = quantities[name].budget(), quantities[name].value
        clicks = power * 2**0.5 * 0.4 / d
        assert budget["photo f1: reference points"] == pytest.approx(value * clicks, rel=1e-9)
        assert budget["photo f1: reference tolerance"] == pytest.approx(value * power * 0.1 / 40, rel=1e-9)


@pytest.mark.parametrize("how", ["corners", "edges"])
def test_card_clicks(how: str) -> None:
    """The contribution of a card's clicks is what each click does, be they corners or points on edges."""
    card = rectangle(85.6, 53.98)
    sides = zip(card, np.roll(card, -1, axis=0), strict=True)
    edges = np.array([[a + t * (b - a) for t in (0.1, 0.35, 0.6, 0.9)] for a, b in sides])
    clicks = CAMERA.see((card if how == "corners" else edges).reshape(-1, 2))
    outline = CAMERA.see(OUTLINE)

    def measured(points: np.ndarray) -> Measured:
        given = (
            {"image": pairs(points)}
            if how == "corners"
            else {"edges": [pairs(edge) for edge in points.reshape(4, 4, 2)]}
        )
        photo, survey = survey_of({"kind": "card", **given}, [polygon_mark(outline)], settings=SETTINGS)
        return measure_photo(photo, survey).marks[0].quantities["area"]

    changes = []
    for index in np.ndindex(clicks.shape):
        step = np.zeros_like(clicks)
        step[index] = 1e-3
        changes.append(0.4 * (measured(clicks + step).value - measured(clicks - step).value) / 2e-3)
    budget = measured(clicks).budget()
    assert budget["photo f1: reference points"] == pytest.approx(np.linalg.norm(changes), rel=2e-3)
