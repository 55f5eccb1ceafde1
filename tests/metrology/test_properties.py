"""What must hold for any outline, any reference, any view."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corrosion.measure import measure_photo
from corrosion.quantity import Measured
from tests.metrology.pinhole import Pinhole, pairs, polygon_mark, rectangle, survey_of

REFERENCE = rectangle(60, 40)
LENGTHS = ("equivalent_diameter", "longest_calliper", "shortest_calliper", "perimeter")

views = st.builds(
    Pinhole,
    tilt=st.floats(0, math.radians(55)),
    direction=st.floats(0, 2 * math.pi),
    roll=st.floats(0, 2 * math.pi),
    distance=st.floats(150, 400),
)
radii = st.lists(st.floats(3, 9), min_size=5, max_size=24)


def star(radii: list[float]) -> np.ndarray:
    """Outline that any list of radii makes, never crossing itself."""
    t = np.arange(len(radii)) * 2 * math.pi / len(radii)
    return np.array(radii)[:, None] * np.column_stack([np.cos(t), np.sin(t)])


def quantities(camera: Pinhole, outline: np.ndarray, grow: float = 1.0) -> dict[str, Measured]:
    scale = {"kind": "points", "image": pairs(camera.see(REFERENCE)), "plane": pairs(REFERENCE * grow)}
    photo, survey = survey_of(scale, [polygon_mark(camera.see(outline))], size=None)
    return measure_photo(photo, survey).marks[0].quantities


@settings(max_examples=40, deadline=None)
@given(views, radii)
def test_callipers_bracket_the_equivalent_diameter(camera: Pinhole, radii: list[float]) -> None:
    """No figure is wider than its longest calliper's circle, nor longer round than pi times it."""
    found = quantities(camera, star(radii))
    value = {name: q.value for name, q in found.items()}
    assert value["equivalent_diameter"] <= value["longest_calliper"] * (1 + 1e-9)
    assert value["shortest_calliper"] <= value["longest_calliper"] * (1 + 1e-9)
    # Isoperimetric inequality; and a figure of width w and diameter D has an area below w D.
    assert value["perimeter"] >= math.pi * value["equivalent_diameter"] * (1 - 1e-9)
    assert value["area"] <= value["shortest_calliper"] * value["longest_calliper"] * (1 + 1e-9)


@settings(max_examples=30, deadline=None)
@given(views, radii, st.floats(0.2, 5))
def test_lengths_grow_with_the_reference(camera: Pinhole, radii: list[float], grow: float) -> None:
    """A reference said to be k times larger makes lengths and their u k times, areas k^2 times larger."""
    # Equal callipers would let rounding choose which corners carry the doubt; make each one differ.
    uneven = [radius * (1.0 + 0.01 * math.sin(7.0 * i + 1.0)) for i, radius in enumerate(radii)]
    small, large = (quantities(camera, star(uneven), k) for k in (1.0, grow))
    for name in LENGTHS:
        assert large[name].value == pytest.approx(small[name].value * grow, rel=1e-7)
        assert large[name].u == pytest.approx(small[name].u * grow, rel=1e-6)
    assert large["area"].value == pytest.approx(small["area"].value * grow**2, rel=1e-7)
    assert large["area"].u == pytest.approx(small["area"].u * grow**2, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(views, radii, st.floats(0, 2 * math.pi))
def test_area_does_not_turn_with_the_mark(camera: Pinhole, radii: list[float], angle: float) -> None:
    """Turning a mark on the surface changes none of its measures, whatever the view."""
    c, s = math.cos(angle), math.sin(angle)
    turned = star(radii) @ np.array([[c, s], [-s, c]])
    before, after = quantities(camera, star(radii)), quantities(camera, turned)
    for name in (*LENGTHS, "area"):
        assert after[name].value == pytest.approx(before[name].value, rel=1e-8)


@settings(max_examples=30, deadline=None)
@given(views, radii, st.integers(1, 4))
def test_first_vertex_and_direction_do_not_matter(camera: Pinhole, radii: list[float], k: int) -> None:
    """An outline begun elsewhere and drawn the other way has the same measures and uncertainties."""
    outline = star(radii)
    before, after = quantities(camera, outline), quantities(camera, np.roll(outline, k, axis=0)[::-1])
    for name in ("area", "equivalent_diameter"):
        assert after[name].value == pytest.approx(before[name].value, rel=1e-9)
        assert after[name].u == pytest.approx(before[name].u, rel=1e-7)
