"""Blocks from findings, and the deepest pit of the unseen area.

Pits scattered at random with exponential depths of mean beta, lambda of them per block, have block maxima
F(x) = exp(-lambda exp(-x / beta)): a Gumbel with scale beta and location beta ln lambda, blocks without a
pit being its part below zero (closed form). So the truth is known for blocks of any size and any area.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from corrosion.errors import MetrologyError
from corrosion.extremes import (
    ASSUMPTION,
    AT_LEAST,
    AT_MOST,
    EXACT,
    Law,
    block_maxima,
    largest_unseen,
)
from corrosion.quantity import Measured
from corrosion.results import Coverage, Finding
from corrosion.terms import Face, Flag, MarkKind

BETA = 0.05


def pit(
    name: str,
    at: tuple[float, float],
    depth: float | None,
    *flags: Flag,
    kind: MarkKind = MarkKind.PIT,
    face: Face = Face.INNER,
    member: str = "SK1",
) -> Finding:
    measured = None if depth is None else Measured(depth, "mm", own={"reading": 0.005}).with_flags(*flags)
    return Finding(name, kind, member, face, "334", None, at, (1.0, 1.0), measured, None, {}, [])


def face(seen: shapely.Geometry, unseen_mm2: float) -> Coverage:
    side = math.sqrt(unseen_mm2)
    unseen = shapely.box(5000, 0, 5000 + side, side)
    return Coverage(Face.INNER, seen, unseen, seen.area / (seen.area + unseen_mm2))


def field(rng: np.random.Generator, per_block: float, width: float, height: float) -> list[Finding]:
    """Scatter pits at random, `per_block` of them per 100 mm square."""
    count = rng.poisson(per_block * width * height / 100.0**2)
    return [
        pit(f"P{i}", (rng.uniform(0, width), rng.uniform(0, height)), rng.exponential(BETA))
        for i in range(count)
    ]


def test_blocks_take_the_deepest_pit() -> None:
    """A block's maximum is its deepest pit; one without a pit is bounded by what would be found."""
    pits = [pit("a", (10, 10), 0.1), pit("b", (90, 90), 0.2), pit("c", (20, 20), 0.05)]
    found = block_maxima(pits, face(shapely.box(0, 0, 200, 100), 1e4), "SK1", side_mm=100)
    assert [(b.depth_mm, b.status, b.seen_share) for b in found.blocks] == [
        (0.2, EXACT, 1.0),
        (0.05, AT_MOST, 1.0),
    ]
    assert found.blocks[0].findings == ["a", "b", "c"]
    assert found.with_known_depth == 1
    assert any("1 of 2 blocks have no pit" in note for note in found.notes)


def test_a_pit_without_depth_bounds_its_block_from_below() -> None:
    """Seen but not gauged: the block is at least as deep as the deepest that was, never clean."""
    pits = [pit("a", (10, 10), 0.1), pit("b", (20, 20), None), pit("c", (150, 50), None)]
    found = block_maxima(pits, face(shapely.box(0, 0, 200, 100), 1e4), "SK1", side_mm=100)
    assert [(b.depth_mm, b.status) for b in found.blocks] == [(0.1, AT_LEAST), (0.0, AT_LEAST)]
    assert any("2 blocks hold a pit whose depth is not known" in note for note in found.notes)


def test_bounds_of_readings_are_kept() -> None:
    """A depth of at least 0.1 mm bounds its block from below; a deeper value in the block does not."""
    pits = [pit("a", (10, 10), 0.1, Flag.LOWER_BOUND), pit("b", (150, 10), 0.1, Flag.LOWER_BOUND)]
    pits.append(pit("c", (160, 20), 0.2))
    found = block_maxima(pits, face(shapely.box(0, 0, 200, 100), 1e4), "SK1", side_mm=100)
    assert [(b.depth_mm, b.status) for b in found.blocks] == [(0.1, AT_LEAST), (0.2, EXACT)]


def test_a_blend_out_stands_for_the_pit_it_took_out() -> None:
    """Metal ground off went at least as deep as the corrosion; leaving it out would hide the worst."""
    pits = [pit("a", (10, 10), 0.1), pit("B", (20, 20), 0.3, kind=MarkKind.BLEND_OUT)]
    found = block_maxima(pits, face(shapely.box(0, 0, 100, 100), 1e4), "SK1", side_mm=100)
    assert found.blocks[0].depth_mm == 0.3


def test_other_faces_and_members_do_not_count() -> None:
    """Only pits of the member and face in hand, and only corrosion."""
    pits = [
        pit("a", (10, 10), 0.1),
        pit("b", (10, 10), 0.9, face=Face.OUTER),
        pit("c", (10, 10), 0.9, member="SK2"),
        pit("d", (10, 10), 0.9, kind=MarkKind.CLEAR),
    ]
    found = block_maxima(pits, face(shapely.box(0, 0, 100, 100), 1e4), "SK1", side_mm=100)
    assert found.blocks[0].findings == ["a"]


def test_part_blocks_count_in_proportion() -> None:
    """A block seen to 60 % keeps its share; one of 30 % is left out and its pit is named as lost."""
    pits = [pit("a", (10, 10), 0.1), pit("b", (205, 10), 0.2)]
    half = block_maxima(pits, face(shapely.box(0, 0, 160, 100), 1e4), "SK1", side_mm=100)
    assert [b.seen_share for b in half.blocks] == pytest.approx([1.0, 0.6])
    third = block_maxima(pits, face(shapely.box(0, 0, 230, 100), 1e4), "SK1", side_mm=100)
    assert len(third.blocks) == 2
    assert any("1 pits lie outside the blocks" in note for note in third.notes)


def test_refusals_name_the_face() -> None:
    """Nothing seen, nothing measured, blocks without size or without number: refused, with the place."""
    seen = face(shapely.box(0, 0, 100, 100), 1e4)
    for findings, coverage, side in (
        ([pit("a", (1, 1), 0.1)], face(shapely.Polygon(), 1e4), 10.0),
        ([pit("a", (1, 1), None)], seen, 10.0),
        ([pit("a", (1, 1), 0.1)], seen, 0.0),
        ([pit("a", (1, 1), 0.1)], seen, 0.5),
    ):
        with pytest.raises(MetrologyError, match="member 'SK1', inner face"):
            block_maxima(findings, coverage, "SK1", side_mm=side)


@pytest.mark.parametrize(("side", "per_block"), [(50.0, 8.0), (100.0, 8.0), (100.0, 1.0)])
def test_scattered_pits_have_the_known_law(side: float, per_block: float) -> None:
    """Scale and location come out as the closed form has them, for any block size, even with empty blocks.

    Within 3.3 standard errors each; the seed is fixed.
    """
    rng = np.random.default_rng(7)
    pits = field(rng, per_block, 3000, 2000)
    seen = face(shapely.box(0, 0, 3000, 2000), 4e6)
    found = largest_unseen(pits, seen, "SK1", side_mm=side, least_depth_mm=0.002)
    assert found.fit is not None
    assert found.fit.law is Law.GUMBEL
    in_block = per_block * (side / 100.0) ** 2
    u = np.sqrt(np.diag(found.fit.covariance))
    assert abs(found.fit.scale - BETA) < 3.3 * u[1]
    assert abs(found.fit.location - BETA * math.log(in_block)) < 3.3 * u[0]


def test_the_block_size_does_not_decide_the_answer() -> None:
    """Whatever the blocks, the most likely deepest unseen pit stays within its intervals (closed form)."""
    pits = field(np.random.default_rng(11), 6.0, 1500, 1000)
    seen = face(shapely.box(0, 0, 1500, 1000), 3e6)
    truth = BETA * math.log(6.0 * 300.0)
    for side in (75.0, 100.0, 150.0):
        found = largest_unseen(pits, seen, "SK1", side_mm=side, least_depth_mm=0.001)
        assert found.characteristic is not None
        assert found.characteristic.low < truth < found.characteristic.high


def test_part_blocks_do_not_bias() -> None:
    """Seen through an outline that cuts every outer block, the law is the same within 3.3 u."""
    pits = field(np.random.default_rng(5), 6.0, 2000, 1500)
    outline = shapely.Point(1000, 750).buffer(740)
    inside = [p for p in pits if p.position and outline.covers(shapely.Point(p.position))]
    found = largest_unseen(inside, face(outline, 1e6), "SK1", side_mm=100, least_depth_mm=0.001)
    assert found.fit is not None
    assert found.blocks is not None
    assert any(b.seen_share < 1.0 for b in found.blocks.blocks)
    assert abs(found.fit.location - BETA * math.log(6.0)) < 3.3 * math.sqrt(found.fit.covariance[0, 0])


def test_the_upper_depth_holds_what_it_says() -> None:
    """Over 100 faces, the deepest unseen pit stays below the stated 95 % depth in about 95 % of them.

    Twenty blocks of six pits; the unseen area is three times the seen. 100 trials have a standard error
    of 2.2 %: three of them, and 2 % for the normal approximation of the parameters, are allowed.
    """
    hits, probabilities = [], []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        pits = field(rng, 6.0, 500, 400)
        found = largest_unseen(
            pits, face(shapely.box(0, 0, 500, 400), 6e5), "SK1", side_mm=100, least_depth_mm=0.001
        )
        upper = found.upper()
        assert upper is not None
        deepest = rng.exponential(BETA, rng.poisson(6.0 * 60)).max()
        hits.append(deepest <= upper)
        probabilities.append(found.probability_over(upper))
    assert 0.95 - 0.086 <= np.mean(hits) <= 1.0
    assert probabilities == pytest.approx([0.05] * 100, abs=1e-4)


def test_few_blocks_make_the_upper_depth_deeper() -> None:
    """The doubt of the fit is in the upper depth: it lies over the fit's own, less so with more blocks."""
    excess = []
    for width in (400, 1600):
        pits = field(np.random.default_rng(2), 6.0, width, 400)
        found = largest_unseen(pits, face(shapely.box(0, 0, width, 400), 1e6), "SK1", side_mm=100)
        assert found.fit is not None
        upper = found.upper()
        assert upper is not None
        excess.append((upper - found.fit.largest(0.95, found.ratio)) / found.fit.scale)
    assert excess[0] > 2 * excess[1] > 0


def test_a_face_seen_whole_has_nothing_to_expect() -> None:
    """Nothing unseen: no depth is stated, the reason is, and the probability of a hidden pit is 0."""
    whole = Coverage(Face.INNER, shapely.box(0, 0, 500, 400), shapely.Polygon(), 1.0)
    found = largest_unseen([], whole, "SK1")
    assert found.reason == "the whole face was seen"
    assert (found.probability_over(0.1), found.upper(), found.median) == (0.0, None, None)


def test_what_cannot_be_estimated_says_why() -> None:
    """Too few pits: not determined with the number needed; a probability is not made up."""
    pits = [pit(f"P{i}", (50 + 100 * i, 50), 0.1 + 0.01 * i) for i in range(5)]
    found = largest_unseen(pits, face(shapely.box(0, 0, 500, 400), 1e5), "SK1", side_mm=100)
    assert found.fit is None
    assert "needs 10" in found.reason
    assert found.probability_over(0.1) is None
    assert found.upper() is None
    assert ASSUMPTION in found.notes


def test_stretching_the_method_is_noted() -> None:
    """Beyond 500 blocks, or below 3 % seen, the result says that it is doubtful (jcorr 43(5) 258)."""
    pits = field(np.random.default_rng(3), 6.0, 500, 400)
    seen = shapely.box(0, 0, 500, 400)
    far = largest_unseen(pits, face(seen, 8e6), "SK1", side_mm=100)
    assert any("800 blocks" in note for note in far.notes)
    assert any("2.4%" in note for note in far.notes)
    near = largest_unseen(pits, face(seen, 4e5), "SK1", side_mm=100)
    assert not any("doubtful" in note for note in near.notes)


def test_more_unseen_area_means_a_deeper_pit() -> None:
    """Depth and probability rise with the unseen area; ten times the area adds scale times ln 10."""
    pits = field(np.random.default_rng(3), 6.0, 500, 400)
    seen = shapely.box(0, 0, 500, 400)
    small, large = (largest_unseen(pits, face(seen, a), "SK1", side_mm=100) for a in (1e5, 1e6))
    assert small.fit is not None
    assert small.characteristic is not None
    assert large.characteristic is not None
    rise = large.characteristic.value - small.characteristic.value
    assert rise == pytest.approx(small.fit.scale * math.log(10))
    over_small, over_large = small.probability_over(0.3), large.probability_over(0.3)
    assert over_small is not None
    assert over_large is not None
    assert over_small < over_large
