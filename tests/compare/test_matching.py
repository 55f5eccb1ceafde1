"""Which finding is which: by place, unaffected by order and small shifts, never guessed."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from corrosion.compare.matching import Matches, match_findings
from corrosion.results import Finding
from corrosion.terms import Face, MarkKind

U = 0.5
U_BOTH = 2.0 * U * np.sqrt(2.0)
"""Expanded uncertainty (k = 2) of a difference of two places of standard uncertainty 0.5 mm."""


def finding(
    name: str, outline: BaseGeometry, kind: MarkKind = MarkKind.PIT, face: Face = Face.OUTER
) -> Finding:
    """Make a finding at a place known to 0.5 mm in either direction."""
    centre = outline.centroid
    return Finding(
        name, kind, "SK1", face, "334", outline, (centre.x, centre.y), (U, U), None, None, {},
        [("f1", name)],
    )  # fmt: skip


def disc(x: float, y: float, radius: float = 1.0) -> BaseGeometry:
    """Give a disc on the layout."""
    return shapely.Point(x, y).buffer(radius)


def names(earlier: list[Finding], later: list[Finding], matches: Matches) -> set[tuple[str, str]]:
    """Give the pairs by name."""
    return {(earlier[p.earlier].id, later[p.later].id) for p in matches.pairs}


places = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=1, max_size=12, unique=True)
way = st.floats(0, 2 * np.pi)


@settings(max_examples=60, deadline=None)
@given(spots=places, angle=way, share=st.floats(0, 0.99), seed=st.integers(0, 99))
def test_a_common_shift_below_u_changes_no_match(
    spots: list[tuple[int, int]], angle: float, share: float, seed: int
) -> None:
    """Findings 5 mm apart all find their own again after any common shift below U, in any order."""
    earlier = [finding(f"a/{k}", disc(5.0 * x, 5.0 * y)) for k, (x, y) in enumerate(spots)]
    dx, dy = share * U_BOTH * np.array([np.cos(angle), np.sin(angle)])
    later = [finding(f"b/{k}", disc(5.0 * x + dx, 5.0 * y + dy)) for k, (x, y) in enumerate(spots)]
    np.random.default_rng(seed).shuffle(later)  # type: ignore[arg-type]
    matches = match_findings(earlier, later)
    assert names(earlier, later, matches) == {(f"a/{k}", f"b/{k}") for k in range(len(spots))}
    assert not matches.rivals_of_earlier


@settings(max_examples=60, deadline=None)
@given(
    offsets=st.lists(st.tuples(st.floats(0, 12), st.floats(0, 12)), min_size=2, max_size=9),
    angle=way,
    share=st.floats(0, 0.99),
    seed=st.integers(0, 99),
)
def test_dense_findings_are_ambiguous_rather_than_wrong(
    offsets: list[tuple[float, float]], angle: float, share: float, seed: int
) -> None:
    """However close pits lie, a pair that is given after a shift below U is the right one."""
    earlier = [finding(f"a/{k}", disc(x, y, 0.4)) for k, (x, y) in enumerate(offsets)]
    dx, dy = share * U_BOTH * np.array([np.cos(angle), np.sin(angle)])
    later = [finding(f"b/{k}", disc(x + dx, y + dy, 0.4)) for k, (x, y) in enumerate(offsets)]
    order = np.random.default_rng(seed).permutation(len(later))
    later = [later[k] for k in order]
    matches = match_findings(earlier, later)
    assert all(a[2:] == b[2:] for a, b in names(earlier, later, matches))
    # Whoever has no pair is named with its rivals.
    paired = {pair.earlier for pair in matches.pairs}
    assert paired | set(matches.rivals_of_earlier) == set(range(len(earlier)))
    backwards = match_findings(earlier[::-1], later[::-1])
    assert names(earlier[::-1], later[::-1], backwards) == names(earlier, later, matches)


def test_a_row_that_may_have_slipped_by_one_is_ambiguous() -> None:
    """Pits every 1.5 mm, one gone at one end and one new at the other, may be a slip of the placement."""
    earlier = [finding(f"a/{k}", disc(1.5 * k, 0.0, 0.4)) for k in range(4)]
    later = [finding(f"b/{k}", disc(1.5 * k, 0.0, 0.4)) for k in range(1, 5)]
    matches = match_findings(earlier, later)
    assert matches.pairs == []
    assert set(matches.rivals_of_earlier) == {0, 1, 2, 3}


def test_a_name_given_twice_settles_what_places_cannot() -> None:
    """Two pits 0.5 mm apart are told apart by one feature name in both surveys, and the pair says so."""
    earlier = [finding("east", disc(0.5, 0.0)), finding("west", disc(0.0, 0.0))]
    later = [finding("west", disc(0.1, 0.0)), finding("east", disc(0.6, 0.0))]
    matches = match_findings(earlier, later)
    assert names(earlier, later, matches) == {("east", "east"), ("west", "west")}
    assert all(pair.named for pair in matches.pairs)


def test_growth_to_one_side_is_the_same_place() -> None:
    """A pit that grew from 2 to 20 mm towards one side is found again: the later one holds the earlier."""
    earlier = [finding("a/1", shapely.box(0, 0, 2, 2))]
    later = [finding("b/1", shapely.box(0, 0, 20, 2.5))]
    assert names(earlier, later, match_findings(earlier, later)) == {("a/1", "b/1")}


def test_kind_and_face_keep_findings_apart() -> None:
    """Neither a blend-out nor a pit of the other face is the pit that was at that place."""
    earlier = [finding("a/1", disc(0, 0))]
    others = [finding("b/1", disc(0, 0), MarkKind.BLEND_OUT), finding("b/2", disc(0, 0), face=Face.INNER)]
    assert match_findings(earlier, others).pairs == []


def test_pits_that_ran_together_are_swallowed_not_guessed() -> None:
    """Two pits inside one later outline go into it together, the larger as its partner."""
    earlier = [finding("a/1", disc(0, 0, 1.0)), finding("a/2", disc(3, 0, 1.2))]
    later = [finding("b/1", shapely.box(-2, -2, 5, 2))]
    matches = match_findings(earlier, later)
    assert names(earlier, later, matches) == {("a/2", "b/1")}
    assert matches.also == {0: [0]}
