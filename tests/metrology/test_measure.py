"""Measures of marks and their sums: closed forms, failures, flags."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.measure import measure_photo
from corrosion.quantity import total
from corrosion.results import PhotoMeasures
from corrosion.terms import Flag
from tests.metrology.pinhole import Pinhole, ngon, pairs, polygon_mark, rectangle, survey_of

OBLIQUE = Pinhole(tilt=math.radians(40), direction=0.7, roll=0.4)
REFERENCE = rectangle(60, 40)
EXACT = {"reference_sigma_px": 1e-9, "edge_u_px": 0}


def scale_for(camera: Pinhole) -> dict[str, Any]:
    return {
        "kind": "points",
        "image": pairs(camera.see(REFERENCE)),
        "plane": pairs(REFERENCE),
        "u_plane": 0,
    }


def measured(*marks: dict[str, Any], camera: Pinhole = OBLIQUE, **more: Any) -> PhotoMeasures:
    photo, survey = survey_of(scale_for(camera), list(marks), **more)
    return measure_photo(photo, survey)


def test_rectangle_has_its_measures() -> None:
    """A 12 x 5 mm rectangle seen at 40 degrees has its area, its callipers 13 and 5, its perimeter 34."""
    found = measured(polygon_mark(OBLIQUE.see(rectangle(12, 5) + np.array([4, 3])))).marks[0].quantities
    values = {name: q.value for name, q in found.items()}
    assert values == pytest.approx(
        {
            "area": 60.0,
            "equivalent_diameter": math.sqrt(240 / math.pi),
            "longest_calliper": 13.0,
            "shortest_calliper": 5.0,
            "perimeter": 34.0,
        }
    )
    units = {name: q.unit for name, q in found.items()}
    assert units.pop("area") == "mm2"
    assert set(units.values()) == {"mm"}


def test_hole_subtracts() -> None:
    """A hole's area is subtracted; the perimeter is the outer ring's."""
    rings = [pairs(OBLIQUE.see(ring)) for ring in (rectangle(12, 10), rectangle(3, 2))]
    mark = {"id": "P1", "kind": "affected", "shape": {"type": "Polygon", "coordinates": rings}}
    found = measured(mark).marks[0].quantities
    assert found["area"].value == pytest.approx(114.0)
    assert found["perimeter"].value == pytest.approx(44.0)


def test_line_has_a_length_and_a_point_nothing() -> None:
    """A line measures its length, a point only its spacing."""
    line = {"type": "LineString", "coordinates": pairs(OBLIQUE.see([[0, 0], [3, 4], [3, 10]]))}
    point = {"type": "Point", "coordinates": pairs(OBLIQUE.see([[3, 12.5]]))[0]}
    found = measured({"id": "L", "kind": "pit", "shape": line}, {"id": "D", "kind": "pit", "shape": point})
    line_found, point_found = (m.quantities for m in found.marks)
    assert line_found["length"].value == pytest.approx(11.0)
    assert {name: q.value for name, q in point_found.items()} == pytest.approx({"spacing": 2.5})


@pytest.mark.parametrize("n", [3, 4, 7, 40])
def test_regular_polygon_uncertainty(n: int) -> None:
    """Clicks of sigma on a regular n-gon give u_a = sigma sqrt(n) R sin(2 pi / n) (shoelace variance)."""
    flat = Pinhole()
    found = measured(
        polygon_mark(flat.see(ngon(n, 10))), camera=flat, settings=EXACT | {"mark_sigma_px": 0.3}
    )
    area = found.marks[0].quantities["area"]
    mm_per_px = 300 / 1200
    expected = 0.3 * mm_per_px * math.sqrt(n) * 10 * math.sin(2 * math.pi / n)
    assert area.budget()["outline vertices"] == pytest.approx(expected, rel=1e-9)


def test_circle_uncertainty() -> None:
    """A circle's area is as uncertain as its radius: u_A = 2 pi R u_R; its place does not matter."""
    flat = Pinhole()
    shape = {"type": "Circle", "center": pairs(flat.see([[2, 1]]))[0], "radius": 40}
    settings = EXACT | {"mark_sigma_px": 0.3}
    found = measured({"id": "P1", "kind": "pit", "shape": shape}, camera=flat, settings=settings)
    area = found.marks[0].quantities["area"]
    assert area.value == pytest.approx(math.pi * 100)
    assert area.budget()["outline vertices"] == pytest.approx(2 * math.pi * 10 * 0.3 / 4, rel=1e-6)


def test_sum_keeps_what_marks_share() -> None:
    """The pits' sum adds scale and edge linearly and the outlines in quadrature."""
    pits = [polygon_mark(OBLIQUE.see(ngon(16, 3, (x, 0))), f"P{x}") for x in (-20, 0, 20)]
    found = measured(*pits)
    parts = [m.quantities["area"] for m in found.marks]
    budget = found.totals["pit_area"].budget()
    edge, own = "photo f1: edge offset", "outline vertices"
    assert found.totals["pit_area"].value == pytest.approx(sum(p.value for p in parts))
    assert budget[edge] == pytest.approx(sum(p.budget()[edge] for p in parts))
    assert budget[own] == pytest.approx(math.hypot(*(p.budget()[own] for p in parts)))
    assert found.totals["pit_area"].u == pytest.approx(total(parts, "mm2").u)


def test_densities_count_what_lies_on_the_affected_area() -> None:
    """Pits off the affected area do not count for its density, and a pit half on it counts by half."""
    affected = polygon_mark(OBLIQUE.see(rectangle(20, 20)), "A", "affected")
    squares = {"in": (0.0, 0.0), "half": (-9.9999, 0.0), "off": (20.0, 0.0)}
    pits = [polygon_mark(OBLIQUE.see(rectangle(4, 4) + np.array(at)), name) for name, at in squares.items()]
    totals = measured(affected, *pits).totals
    assert totals["pit_count"].value == 3
    assert totals["pit_area"].value == pytest.approx(48.0)
    assert totals["pit_density"].value == pytest.approx(2 / 400)
    assert totals["affected_share"].value == pytest.approx((16 + 8) / 400, rel=1e-3)


def test_share_loses_the_common_scale() -> None:
    """Scale errors cancel in a share: what the reference contributes to it is next to nothing."""
    affected = polygon_mark(OBLIQUE.see(rectangle(20, 20)), "A", "affected")
    pit = polygon_mark(OBLIQUE.see(rectangle(14, 14)), "P1")
    scale = scale_for(OBLIQUE) | {"u_scale": 0.02}
    photo, survey = survey_of(scale, [affected, pit])
    found = measure_photo(photo, survey)
    share, area = found.totals["affected_share"], found.totals["pit_area"]
    name = "photo f1: reference tolerance"
    assert area.budget()[name] / area.value == pytest.approx(0.04)
    assert share.budget()[name] / share.value < 1e-9


def test_overlapping_pits_count_once() -> None:
    """Two outlines over one another sum to the area they cover together."""
    pits = [polygon_mark(OBLIQUE.see(rectangle(4, 4) + np.array([x, 0])), f"P{x}") for x in (0, 2)]
    found = measured(*pits)
    assert found.totals["pit_area"].value == pytest.approx(24.0)
    assert "spacing" not in found.marks[0].quantities


def test_spacing_is_to_the_nearest_of_its_kind() -> None:
    """Spacing runs edge to edge to the nearest mark of the same kind, whatever lies between."""
    at = {"P1": 0, "P2": 10, "P3": 16}
    pits = [polygon_mark(OBLIQUE.see(rectangle(4, 4) + np.array([x, 0])), name) for name, x in at.items()]
    between = polygon_mark(OBLIQUE.see(rectangle(1, 1) + np.array([4, 0])), "B", "blend-out")
    found = measured(*pits, between)
    spacing = [m.quantities["spacing"].value for m in found.marks[:3]]
    assert spacing == pytest.approx([6.0, 2.0, 2.0])
    assert "spacing" not in found.marks[3].quantities


def test_one_bad_mark_does_not_stop_the_others() -> None:
    """A mark that crosses itself says so by name; its neighbours are measured, its sum is withheld."""
    good = polygon_mark(OBLIQUE.see(ngon(16, 3)), "P1")
    bad = polygon_mark(OBLIQUE.see(rectangle(4, 4))[[0, 2, 1, 3]], "P2")
    found = measured(good, bad)
    assert found.problem is None
    assert found.marks[0].quantities["area"].value > 0
    assert found.marks[1].problem is not None
    assert found.marks[1].problem.startswith("photo f1, mark P2: the outline crosses")
    assert found.marks[1].quantities == {}
    assert "pit_area" not in found.totals
    assert found.totals["pit_count"].value == 2


def test_no_scale_still_gives_depths() -> None:
    """Without a scale the photo says so, and depths and counts are still there."""
    depths = [{"value": 0.3, "u": 0.01, "method": "gauge"}]
    photo, survey = survey_of(None, [polygon_mark(ngon(8, 30, (300, 300)), depths=depths)])
    found = measure_photo(photo, survey)
    assert found.problem is not None
    assert "no scale reference" in found.problem
    assert found.marks[0].depth is not None
    assert found.marks[0].depth.value == 0.3
    assert found.totals["pit_count"].value == 1


def test_photo_without_scale_and_marks_is_no_problem() -> None:
    """An overview with nothing marked on it needs no scale."""
    photo, survey = survey_of(None, [])
    assert measure_photo(photo, survey).problem is None


def test_small_marks_are_flagged_then_refused() -> None:
    """Above 15 % of the area first order is doubtful; above 30 % the mark is refused with the way out."""
    flat = Pinhole()

    def found(radius_px: float) -> PhotoMeasures:
        outline = ngon(16, radius_px, (800, 600))
        return measured(polygon_mark(outline), camera=flat, settings={"reference_sigma_px": 1e-9})

    # A 16-gon of radius R has u/A = P u_e / A = 2 u_e / (R cos 11.25 deg) from its edge, and
    # sigma 4 R sin(22.5 deg) / A = sigma / (2 R) from its vertices: 1.05 / R at 0.5 px each.
    assert Flag.FIRST_ORDER_DOUBTFUL not in found(7.2).marks[0].quantities["area"].flags
    assert Flag.FIRST_ORDER_DOUBTFUL in found(6.8).marks[0].quantities["area"].flags
    assert found(3.6).marks[0].problem is None
    problem = found(3.4).marks[0].problem
    assert problem is not None
    assert "'photo f1: edge offset'" in problem
    assert "nearer" in problem


def test_unstated_tilt_gives_no_interval() -> None:
    """A bar without its largest tilt gives values, and every uncertainty is not a number."""
    ends = OBLIQUE.see([[-20, 0], [20, 0]])
    scale = {"kind": "bar", "image": pairs(ends), "length": 40}
    photo, survey = survey_of(scale, [polygon_mark(OBLIQUE.see(ngon(16, 3)))])
    quantities = measure_photo(photo, survey).marks[0].quantities
    assert all(math.isnan(q.u) and q.value > 0 for q in quantities.values())
    assert all(Flag.TILT_NOT_STATED in q.flags for q in quantities.values())


def test_too_much_tilt_refuses_areas_only() -> None:
    """At a stated 35 degrees a bar measures lines and refuses areas."""
    flat = Pinhole()
    scale = {"kind": "bar", "image": pairs(flat.see([[-20, 0], [20, 0]])), "length": 40, "max_tilt_deg": 35}
    line = {"type": "LineString", "coordinates": pairs(flat.see([[0, 2], [6, 10]]))}
    marks = [polygon_mark(flat.see(ngon(16, 3))), {"id": "L", "kind": "pit", "shape": line}]
    photo, survey = survey_of(scale, marks)
    area_mark, line_mark = measure_photo(photo, survey).marks
    assert area_mark.problem is not None
    assert "30 deg" in area_mark.problem
    assert line_mark.quantities["length"].value == pytest.approx(10.0)


@pytest.mark.parametrize("size", [(1600, 1200), None])
def test_local_scale(size: tuple[int, int] | None) -> None:
    """The stated scale is mm per px at the picture's middle, or the reference's, with an uncertainty."""
    flat = Pinhole()
    found = measured(camera=flat, size=size)
    scale = found.scale["mm_per_px"]
    assert scale.value == pytest.approx(0.25)
    assert 0 < scale.u < 0.01
    assert "outline vertices" not in scale.budget()


def test_outline_is_on_the_plane() -> None:
    """The outline in mm encloses the area that is reported."""
    found = measured(polygon_mark(OBLIQUE.see(rectangle(12, 5)))).marks[0]
    x, y = found.outline_mm.T
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2 == pytest.approx(60.0)


def test_extrapolated_mark_is_flagged_and_wider() -> None:
    """A pit outside the reference is flagged, and its scale is less certain than one inside."""
    inside, outside = (
        measured(polygon_mark(OBLIQUE.see(ngon(16, 4, (x, 0))))).marks[0].quantities["area"]
        for x in (0, 45)
    )
    assert Flag.EXTRAPOLATED in outside.flags - inside.flags
    name = "photo f1: reference points"
    assert outside.budget()[name] / outside.value > 1.5 * inside.budget()[name] / inside.value
