"""Marks as vertices: what is refused, what is flagged, and how they move."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.errors import MarkError
from corrosion.marks import Outline, outline_of
from corrosion.model import Mark, PolygonShape, Settings
from corrosion.terms import Flag, MarkKind
from tests.metrology.pinhole import area, ngon, pairs

SQUARE = [[10, 10], [30, 10], [30, 30], [10, 30]]


def outline(shape: dict[str, Any], size: tuple[int, int] | None = (100, 80), **more: Any) -> Outline:
    mark = Mark.model_validate({"id": "P1", "kind": "pit", "shape": shape, **more})
    return outline_of(mark, Settings(), size, "photo f1, mark P1")


def polygon(*rings: Any, **more: Any) -> Outline:
    return outline({"type": "Polygon", "coordinates": list(rings)}, **more)


def test_ellipse_polygon_has_the_ellipse_area() -> None:
    """The polygon that stands for an ellipse has its area exactly."""
    shape = {"type": "Ellipse", "center": [50, 40], "semi_axes": [20, 9], "angle_deg": 33}
    assert area(outline(shape).points_px) == pytest.approx(math.pi * 180, rel=1e-12)
    circle = {"type": "Circle", "center": [50, 40], "radius": 12}
    assert area(outline(circle).points_px) == pytest.approx(math.pi * 144, rel=1e-12)


def test_ellipse_angle_turns_x_towards_y() -> None:
    """The first semi-axis points along the stated angle, from x towards y."""
    shape = {"type": "Ellipse", "center": [50, 40], "semi_axes": [20, 1], "angle_deg": 30}
    tip = outline(shape).points_px[0] - [50, 40]
    assert np.degrees(np.arctan2(tip[1], tip[0])) == pytest.approx(30)


@pytest.mark.parametrize("name", ["cx", "cy", "a", "b", "angle"])
def test_ellipse_moves_with_its_parameters(name: str) -> None:
    """Each column of `parameters` is the movement for one standard uncertainty of one parameter."""
    index = ["cx", "cy", "a", "b", "angle"].index(name)
    sigma, step = 0.5, 1e-5

    def points(sign: float) -> np.ndarray:
        p = np.array([50, 40, 20, 9, math.radians(33)])
        p[index] += sign * step
        shape = {
            "type": "Ellipse",
            "center": [p[0], p[1]],
            "semi_axes": [p[2], p[3]],
            "angle_deg": math.degrees(p[4]),
        }
        return outline(shape).points_px

    numeric = (points(1) - points(-1)) / (2 * step) * (sigma / 20 if name == "angle" else sigma)
    shape = {"type": "Ellipse", "center": [50, 40], "semi_axes": [20, 9], "angle_deg": 33}
    moved = outline(shape).parameters
    assert moved is not None
    assert moved[:, :, index] == pytest.approx(numeric, abs=1e-6)


def test_edge_offset_changes_the_area_by_the_perimeter() -> None:
    """Moving all edges out by e changes the area by e times the perimeter, corners included."""
    shape = polygon(SQUARE, u_edge_px=0.001)
    grown = area(shape.points_px + shape.edge)
    assert (grown - 400) / 0.001 == pytest.approx(80, rel=1e-3)


def test_edge_offset_shrinks_holes() -> None:
    """The edge of a marked region moves outwards from it, so a hole becomes smaller."""
    hole = [[15, 15], [25, 15], [25, 25], [15, 25]]
    shape = polygon(SQUARE, hole, u_edge_px=0.1)
    outer, inner = shape.rings
    moved = shape.points_px + shape.edge
    assert area(moved[outer]) == pytest.approx(20.2**2)
    assert area(moved[inner]) == pytest.approx(9.8**2)


def test_line_ends_move_outwards() -> None:
    """The two ends of a line are edges too; what lies between stays."""
    shape = outline({"type": "LineString", "coordinates": [[10, 10], [20, 10], [20, 30]]}, u_edge_px=0.5)
    assert shape.edge == pytest.approx(np.array([[-0.5, 0], [0, 0], [0, 0.5]]))
    assert shape.is_line


@pytest.mark.parametrize("ring", [SQUARE, SQUARE[::-1], [*SQUARE, SQUARE[0]], [SQUARE[0], *SQUARE]])
def test_direction_closing_and_repeats_do_not_matter(ring: list[list[float]]) -> None:
    """A ring may run either way, be closed or not, and repeat a point."""
    shape = polygon(ring)
    assert len(shape.points_px) == 4
    x, y = shape.points_px.T
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2 == pytest.approx(400)


@pytest.mark.parametrize(
    ("rings", "words"),
    [
        ([[[10, 10], [30, 30], [30, 10], [10, 30]]], "crosses"),
        ([[[10, 10], [20, 10], [30, 10]]], "encloses"),
        ([[[10, 10], [10.3, 10], [10.3, 10.3], [10, 10.3]]], "encloses"),
        ([SQUARE, [[25, 15], [45, 15], [45, 25]]], "crosses"),
        ([[[10, 10], [30, 10], [30, 90]]], r"\(30\.0, 90\.0\).*outside.*100 x 80"),
        ([[[-2, 10], [30, 10], [30, 30]]], r"\(-2\.0, 10\.0\).*outside"),
    ],
)
def test_bad_outlines_are_refused(rings: list[Any], words: str) -> None:
    """An outline that crosses itself, encloses nothing or leaves the picture is refused by name."""
    with pytest.raises(MarkError, match=rf"photo f1, mark P1: .*{words}"):
        polygon(*rings)


def test_not_a_number_is_refused() -> None:
    """A coordinate that is not a number cannot slip through as a measure."""
    shape = PolygonShape.model_construct(coordinates=[[(10.0, 10.0), (math.nan, 10.0), (30.0, 30.0)]])
    mark = Mark.model_construct(
        id="P1", kind=MarkKind.PIT, shape=shape, sigma_px=None, u_edge_px=None, depths=[]
    )
    with pytest.raises(MarkError, match="not a number"):
        outline_of(mark, Settings(), None, "mark P1")


def test_line_without_length_is_refused() -> None:
    """A line whose points coincide measures nothing."""
    with pytest.raises(MarkError, match="no length"):
        outline({"type": "LineString", "coordinates": [[10, 10], [10, 10]]})


@pytest.mark.parametrize(
    ("ring", "flagged"),
    [
        (SQUARE, False),
        ([[0, 10], [30, 10], [30, 30]], True),
        ([[-0.5, 10], [30, 10], [30, 30]], True),
        ([[10, 10], [99, 10], [30, 30]], True),
        ([[10, 10], [30, 10], [30, 79.4]], True),
        ([[1, 1], [98, 1], [98, 78]], False),
    ],
)
def test_touching_the_border_is_flagged(ring: list[list[float]], flagged: bool) -> None:
    """A mark on the picture's border pixels may go on outside and says so."""
    assert (Flag.TRUNCATED in polygon(ring).flags) is flagged


def test_border_is_unchecked_without_a_size() -> None:
    """Without a picture size nothing can be said about its border."""
    assert polygon([[-50, 10], [300, 10], [30, 300]], size=None).flags == frozenset()


def test_spike_is_bounded() -> None:
    """A needle-sharp corner does not shoot further out than four times the edge offset."""
    spike = polygon([[10, 10], [90, 11], [10, 12]], u_edge_px=1.0)
    assert np.linalg.norm(spike.edge, axis=1).max() <= 4.0 + 1e-9


def test_many_vertices_stay_cheap() -> None:
    """An outline of thousands of vertices carries no matrix that grows with their square."""
    shape = polygon(pairs(ngon(4000, 30, (50, 40))))
    assert shape.parameters is None
