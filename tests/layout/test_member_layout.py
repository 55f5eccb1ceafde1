"""Members laid out: thickness, limits, cuts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corrosion.errors import LayoutError
from corrosion.layout import MemberLayout
from corrosion.model import Member, Structure
from corrosion.quantity import FloatArray

SOURCE = {"source": "invented manual, 1-2"}


def lay_out(**changes: Any) -> MemberLayout:
    """Lay out a skin of 900 x 400 mm, 1 mm thick."""
    member = {
        "id": "SK1",
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3 clad",
        "thickness": 1.0,
        "u_thickness": 0.02,
        "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
    } | changes
    return MemberLayout.of(Member.model_validate(member), Structure(name="bench"))


def box(left: float, low: float, right: float, high: float) -> list[list[float]]:
    """Give a rectangle's corners."""
    return [[left, low], [right, low], [right, high], [left, high]]


def limit_zone(name: str, outline: Any, **limit: float) -> dict[str, Any]:
    """Describe a limit zone with a source of its own."""
    return {"id": name, "outline": outline, "limit": limit | {"source": f"source of {name}"}}


def thickness_zone(name: str, outline: Any, thickness: float, u: float = 0.0) -> dict[str, Any]:
    """Describe a thickness zone."""
    return {"id": name, "outline": outline, "thickness": thickness, "u_thickness": u}


def at(*points: tuple[float, float]) -> FloatArray:
    """Give points as an array."""
    return np.array(points, dtype=np.float64)


def test_no_limit_is_no_number() -> None:
    """Where nobody set a limit there is none: not zero, not a default."""
    layout = lay_out()
    limit, index = layout.limit_at(at((450, 200)))
    assert math.isnan(limit[0])
    assert index[0] == -1
    assert layout.limit_source_at((450, 200)) == ""
    assert layout.has_unlimited_area


def test_a_fraction_is_of_the_thickness_there() -> None:
    """10 % of 1.0 mm is 0.1 mm; in a 2.0 mm land it is 0.2 mm."""
    layout = lay_out(
        limit={"fraction": 0.1} | SOURCE, thickness_zones=[thickness_zone("land", box(0, 0, 100, 400), 2.0)]
    )
    assert layout.limit_at(at((450, 200), (50, 200)))[0] == pytest.approx([0.1, 0.2], rel=1e-12)


def test_a_fraction_takes_the_measured_thickness() -> None:
    """Thickness measured near by takes the place of the drawing's."""
    layout = lay_out(limit={"fraction": 0.1} | SOURCE, thickness_measured=0.96, u_thickness_measured=0.005)
    assert layout.limit_at(at((450, 200)))[0] == pytest.approx([0.096], rel=1e-12)
    assert layout.u_limit_at(at((450, 200))) == pytest.approx([0.0005], rel=1e-12)
    assert not layout.thickness_is_nominal


def test_a_depth_limit_does_not_share_the_thickness_s_doubt() -> None:
    """A limit in mm is what the document says, however thick the metal."""
    layout = lay_out(limit={"depth": 0.1} | SOURCE)
    assert layout.u_limit_at(at((450, 200))) == pytest.approx([0.0], abs=0.0)
    assert layout.thickness_is_nominal


def test_a_zone_replaces_the_member_s_limit() -> None:
    """Inside its zone the zone's limit holds even where it is the larger; its source goes with it."""
    layout = lay_out(
        limit={"depth": 0.1} | SOURCE, limit_zones=[limit_zone("Z1", box(0, 0, 100, 400), depth=0.2)]
    )
    limit, index = layout.limit_at(at((50, 200), (450, 200)))
    assert limit == pytest.approx([0.2, 0.1])
    assert index.tolist() == [1, 0]
    assert layout.limit_source_at((50, 200)) == "source of Z1"
    assert layout.limit_source_at((450, 200)) == SOURCE["source"]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_where_zones_overlap_the_smaller_limit_holds(order: tuple[int, int]) -> None:
    """The order in the file does not matter."""
    zones = [
        limit_zone("Z1", box(0, 0, 200, 400), depth=0.2),
        limit_zone("Z2", box(100, 0, 300, 400), depth=0.05),
    ]
    layout = lay_out(limit={"depth": 0.1} | SOURCE, limit_zones=[zones[i] for i in order])
    points = at((50, 200), (150, 200), (250, 200))
    assert layout.limit_at(points)[0] == pytest.approx([0.2, 0.05, 0.05])
    assert layout.limit_source_at((150, 200)) == "source of Z2"


def test_zones_without_a_member_limit_leave_the_rest_open() -> None:
    """A limit for one zone says nothing about the rest of the member."""
    layout = lay_out(limit_zones=[limit_zone("Z1", box(0, 0, 100, 400), depth=0.2)])
    assert np.isnan(layout.limit_at(at((450, 200)))[0][0])
    assert layout.has_unlimited_area
    whole = lay_out(limit_zones=[limit_zone("Z1", box(-1, -1, 901, 401), depth=0.2)])
    assert not whole.has_unlimited_area


def test_where_thickness_zones_overlap_the_thinnest_counts() -> None:
    """Between two drawings the thinner metal is the safe reading, whatever the order."""
    zones = [
        thickness_zone("pocket", box(0, 0, 200, 400), 0.6, 0.01),
        thickness_zone("land", box(100, 0, 300, 400), 1.6, 0.03),
    ]
    for ordered in (zones, zones[::-1]):
        layout = lay_out(thickness_zones=ordered)
        points = at((50, 200), (150, 200), (250, 200), (450, 200))
        assert layout.thickness_at(points) == pytest.approx([0.6, 0.6, 1.6, 1.0])
        assert layout.u_thickness_at(points) == pytest.approx([0.01, 0.01, 0.03, 0.02])


def test_the_edge_is_metal() -> None:
    """Points on the outline and its corners belong to the member."""
    layout = lay_out()
    points = at((0, 0), (450, 0), (900, 400), (901, 200), (-0.001, 200))
    assert layout.contains(points).tolist() == [True, True, True, False, False]


def test_a_trapezium_s_width_grows_evenly() -> None:
    """A trapezium of 100 mm at one end and 300 mm at the other is 200 mm wide half-way."""
    layout = lay_out(outline=[[0, 0], [900, 0], [900, 300], [0, 100]])
    assert [layout.section_width(s) for s in (0, 450, 900)] == pytest.approx([100, 200, 300])
    assert layout.section_width(901) == 0.0


def test_a_cut_through_a_notch_is_the_metal_only() -> None:
    """A cut that leaves the metal and comes back counts both parts: 100 + 100 mm of 400."""
    notched = [[0, 0], [900, 0], [900, 100], [400, 100], [400, 300], [900, 300], [900, 400], [0, 400]]
    assert lay_out(outline=notched).section_width(600) == pytest.approx(200.0)


def test_section_area_adds_the_zones() -> None:
    """A cut through 400 mm with 100 mm of 0.6 mm and 50 mm of 2.0 mm: 60 + 100 + 250 = 410 mm2."""
    zones = [
        thickness_zone("pocket", box(0, 100, 900, 200), 0.6),
        thickness_zone("land", box(0, 300, 900, 350), 2.0),
    ]
    assert lay_out(thickness_zones=zones).section_area(450) == pytest.approx(410.0, rel=1e-12)


ZONE = st.tuples(st.integers(0, 80), st.integers(1, 40), st.integers(0, 30), st.integers(1, 20))


@given(st.lists(st.tuples(ZONE, st.floats(0.2, 3.0)), max_size=4), st.integers(0, 89))
def test_section_area_is_the_integral_of_the_thickness(
    drawn: list[tuple[tuple[int, int, int, int], float]], at_ten: int
) -> None:
    """On a 10 mm raster the sum of thickness over cell middles is the exact section area."""
    zones = [
        thickness_zone(f"Z{i}", box(10 * s, 10 * o, 10 * (s + w), 10 * (o + h)), t)
        for i, ((s, w, o, h), t) in enumerate(drawn)
    ]
    layout = lay_out(thickness_zones=zones)
    station = 10.0 * at_ten + 5.0
    middles = np.arange(5.0, 400.0, 10.0)
    thickness = layout.thickness_at(np.column_stack([np.full(40, station), middles]))
    assert layout.section_area(station) == pytest.approx(10.0 * thickness.sum(), rel=1e-9)


def test_a_crossed_outline_is_refused() -> None:
    """A bow-tie has no inside; the message names structure and member."""
    with pytest.raises(LayoutError, match=r"structure 'bench', member 'SK1': .*not a simple shape"):
        lay_out(outline=[[0, 0], [900, 400], [900, 0], [0, 400]])


def test_an_outline_without_area_is_refused() -> None:
    """Three corners in a line enclose nothing."""
    with pytest.raises(LayoutError, match="not a simple shape"):
        lay_out(outline=[[0, 0], [450, 0], [900, 0]])


@pytest.mark.parametrize("kind", ["limit", "thickness"])
def test_a_zone_off_the_member_is_refused(kind: str) -> None:
    """A zone that touches no metal is a mistyped coordinate or unit; the message names it."""
    far = box(2000, 0, 2100, 400)
    zones = {
        "limit": {"limit_zones": [limit_zone("Z9", far, depth=0.1)]},
        "thickness": {"thickness_zones": [thickness_zone("Z9", far, 2.0)]},
    }
    with pytest.raises(LayoutError, match=f"{kind} zone 'Z9': the zone lies off its member"):
        lay_out(**zones[kind])


@pytest.mark.parametrize("depth", [1.0, 25.4])
def test_a_limit_as_deep_as_the_metal_is_refused(depth: float) -> None:
    """A limit that leaves no metal is a unit mix-up."""
    with pytest.raises(LayoutError, match="not less than the 1 mm of metal"):
        lay_out(limit={"depth": depth} | SOURCE)


def test_a_limit_is_judged_by_the_metal_where_it_holds() -> None:
    """1.2 mm may come off a 3 mm land though the skin around is 1 mm; not off a 0.8 mm pocket."""
    land = thickness_zone("land", box(0, 0, 100, 400), 3.0)
    pocket = thickness_zone("pocket", box(800, 0, 900, 400), 0.8)
    layout = lay_out(
        thickness_zones=[land, pocket], limit_zones=[limit_zone("Z1", box(10, 10, 90, 390), depth=1.2)]
    )
    assert layout.limit_at(at((50, 200)))[0] == pytest.approx([1.2])
    with pytest.raises(LayoutError, match=r"limit zone 'Z1': .* 0\.8 mm"):
        lay_out(
            thickness_zones=[land, pocket],
            limit_zones=[limit_zone("Z1", box(700, 10, 890, 390), depth=0.9)],
        )


def test_a_member_s_limit_is_not_judged_where_a_zone_replaces_it() -> None:
    """0.9 mm for the skin stands beside a 0.8 mm pocket that has a limit of its own."""
    pocket = box(800, 0, 900, 400)
    layout = lay_out(
        limit={"depth": 0.9} | SOURCE,
        thickness_zones=[thickness_zone("pocket", pocket, 0.8)],
        limit_zones=[limit_zone("Z1", pocket, depth=0.05)],
    )
    assert layout.limit_at(at((850, 200), (450, 200)))[0] == pytest.approx([0.05, 0.9])
