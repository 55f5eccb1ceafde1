"""What a planned blend comes too near to. Distances in closed form; footprint radius 2.5 at (450, 200)."""

from __future__ import annotations

import pytest

from corrosion.blend import Conflict, ConflictKind
from corrosion.terms import Face, Verdict
from tests.blend.workshop import SOURCE, Workshop


def met(shop: Workshop, kind: ConflictKind) -> list[Conflict]:
    """Conflicts of one kind of the first blend."""
    return [conflict for conflict in shop.plan().blends[0].conflicts if conflict.kind is kind]


def test_alone_in_the_middle_nothing_is_met(shop: Workshop) -> None:
    """A small pit far from everything has no conflict."""
    assert shop.pit().plan().blends[0].conflicts == []


def test_running_over_the_edge(shop: Workshop) -> None:
    """A pit 1 mm from the edge with 0.5 mm of run-out and 2 mm of radius runs over it."""
    (conflict,) = met(shop.pit((450, 1.0)), ConflictKind.OFF_MEMBER)
    assert conflict.stands is Verdict.OVER


@pytest.mark.parametrize(("minimum", "stands"), [(7.0, None), (7.9, Verdict.OVER)])
def test_edge_distance(shop: Workshop, minimum: float, stands: Verdict | None) -> None:
    """Centre 10 from the edge, footprint 2.5: 7.5 mm left, 7 kept and 7.9 not."""
    shop.planning["edge_distance"] = {"distance": minimum, "source": SOURCE}
    found = met(shop.pit((450, 10.0)), ConflictKind.EDGE)
    assert [conflict.stands for conflict in found] == ([stands] if stands else [])
    if found:
        assert found[0].distance == pytest.approx(7.5, abs=0.003)
        assert found[0].source == SOURCE


def test_the_doubt_of_the_place_counts(shop: Workshop) -> None:
    """7.5 mm left, 7 asked, but the place is known to +- 1 mm (k = 2): too close to call."""
    shop.planning["edge_distance"] = {"distance": 7.0, "source": SOURCE}
    (conflict,) = met(shop.pit((450, 10.0), u_position=(0.5, 0.5)), ConflictKind.EDGE)
    assert conflict.stands is Verdict.TOO_CLOSE


def fastener(shop: Workshop, away: float, **rule: float) -> list[Conflict]:
    """Conflicts with a fastener of 4 mm diameter whose centre is `away` from the pit's."""
    shop.member["fasteners"] = [{"id": "F1", "at": [450 + away, 200], "diameter": 4.0}]
    if rule:
        shop.planning["fastener_distance"] = rule | {"source": SOURCE}
    return met(shop.pit(), ConflictKind.FASTENER)


def test_a_blend_that_reaches_a_hole_takes_it_in(shop: Workshop) -> None:
    """Damage that reaches a fastener hole includes the hole (TM 1-1520-240-BD, p. 2-11)."""
    (conflict,) = fastener(shop, 4.4)
    assert conflict.stands is Verdict.OVER
    assert conflict.source.startswith("TM 1-1520-240-BD")


def test_a_hole_not_reached_is_no_conflict_without_a_rule(shop: Workshop) -> None:
    """4.6 away: 2.5 of footprint and 2 of hole leave 0.1; no public text gives a minimum."""
    assert fastener(shop, 4.6) == []


@pytest.mark.parametrize(("rule", "kept"), [(1.0, True), (1.2, False)])
def test_distance_from_a_hole(shop: Workshop, rule: float, kept: bool) -> None:
    """5.6 away leaves 1.1 mm between the outlines."""
    assert (fastener(shop, 5.6, distance=rule) == []) is kept


@pytest.mark.parametrize(("diameters", "kept"), [(0.75, True), (0.8, False)])
def test_distance_in_diameters(shop: Workshop, diameters: float, kept: bool) -> None:
    """5.6 away leaves 3.1 mm from the fastener's centre: 0.775 diameters of 4 mm."""
    assert (fastener(shop, 5.6, diameters=diameters) == []) is kept


def test_clean_up_near_support_structure(shop: Workshop) -> None:
    """Two inches asked from a frame (TM 1-1520-238-23, p. 2-372, for one assembly), 50.3 mm left."""
    shop.member["stations"] = [{"label": "frame 5", "at": 450 + 52.8}]
    shop.planning["support_distance"] = {"distance": 50.8, "source": "TM 1-1520-238-23, p. 2-372"}
    (conflict,) = met(shop.pit(), ConflictKind.SUPPORT)
    assert conflict.stands is Verdict.OVER
    assert "frame 5" in conflict.words


def test_a_step_in_thickness(shop: Workshop) -> None:
    """A dish across the edge of a pocket cannot be faired as planned; one inside it can."""
    shop.member["thickness_zones"] = [
        {"id": "pocket", "outline": [[451, 150], [600, 150], [600, 250], [451, 250]], "thickness": 0.8}
    ]
    (conflict,) = met(shop.pit(), ConflictKind.THICKNESS_STEP)
    assert "pocket" in conflict.words
    shop.findings.clear()
    assert met(shop.pit((500, 200)), ConflictKind.THICKNESS_STEP) == []


def test_the_other_face_is_named(shop: Workshop) -> None:
    """What is gone and what is planned on the other face is said, though it bars nothing by itself."""
    shop.remove(0.02, face="inner")
    found = met(shop.pit().pit((451, 200), face=Face.INNER), ConflictKind.OTHER_FACE)
    assert len(found) == 2
    assert {conflict.stands for conflict in found} == {Verdict.WITHIN}


def test_unmerged_neighbours_are_a_conflict(shop: Workshop) -> None:
    """With merging off, metal stands between dishes that meet (AC 43.13-1B, Fig 6-16)."""
    shop.planning["merge"] = False
    (conflict,) = met(shop.pit().pit((454.5, 200)), ConflictKind.NEIGHBOUR)
    assert "Fig 6-16" in conflict.source


def test_what_was_not_asked_is_said(shop: Workshop) -> None:
    """Silence about a distance is not room: minima that nobody set are named."""
    shop.member["fasteners"] = [{"at": [100, 100], "diameter": 4.0}]
    asked = " ".join(shop.pit().plan().open_questions)
    assert "edge" in asked
    assert "fasteners" in asked
