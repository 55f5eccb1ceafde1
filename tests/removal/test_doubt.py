"""Bounds and depths read by light: what they can and cannot prove of a sum."""

from typing import Any

import pytest

from corrosion.terms import Flag, Verdict
from tests.bench import Bench

EARLY, LATE = {"date": "2029-01-01"}, {"date": "2031-01-01"}
AT_LEAST, AT_MOST = {"relation": ">="}, {"relation": "<="}

# The limit is 0.1 mm. Each case: depth and changes of every removal at one place, and the verdict.
CASES: dict[str, tuple[list[tuple[float, dict[str, Any]]], Verdict]] = {
    "a later lower bound is not hidden by a deeper, sure depth": (
        [(0.05, EARLY), (0.03, LATE | AT_LEAST)],
        Verdict.TOO_CLOSE,
    ),
    "nor is a later depth by light": (
        [(0.05, EARLY), (0.03, LATE | {"indicative": True})],
        Verdict.TOO_CLOSE,
    ),
    "a later sure depth from the original contour settles a lower bound": (
        [(0.03, EARLY | AT_LEAST), (0.05, LATE)],
        Verdict.WITHIN,
    ),
    "but not one on the other face": (
        [(0.03, EARLY | AT_LEAST | {"face": "inner"}), (0.05, LATE)],
        Verdict.TOO_CLOSE,
    ),
    "nor one from the surface as found": (
        [(0.03, EARLY | AT_LEAST), (0.05, LATE | {"measured_from": "current"})],
        Verdict.TOO_CLOSE,
    ),
    "at least nothing is not within": ([(0.0, AT_LEAST)], Verdict.TOO_CLOSE),
    "an upper bound does not hide what is over without it": (
        [(0.12, EARLY), (0.15, LATE | AT_MOST)],
        Verdict.OVER,
    ),
    "nor does one on the other face": (
        [(0.12, EARLY), (0.001, LATE | AT_MOST | {"face": "inner"})],
        Verdict.OVER,
    ),
    "an upper bound alone proves nothing over": ([(0.12, AT_MOST)], Verdict.TOO_CLOSE),
    "an upper bound below the limit keeps it": ([(0.08, AT_MOST)], Verdict.WITHIN),
}


@pytest.mark.parametrize(("removals", "verdict"), CASES.values(), ids=CASES.keys())
def test_what_a_doubtful_depth_proves(
    bench: Bench, removals: list[tuple[float, dict[str, Any]]], verdict: Verdict
) -> None:
    """No bound makes a pass of what it cannot prove, and none hides what is over without it."""
    for depth, changes in removals:
        bench.remove(depth, **changes)
    result = bench.assess()
    assert result.summary.verdict is verdict
    assert verdict in {part.verdict for part in result.summary.bins}
    unproven = [words for words in result.summary.reasons if "lower bound" in words]
    assert bool(unproven) == bool(result.removal.unproven())
    assert not (unproven and verdict is Verdict.WITHIN)
    # Whoever asks at the place itself, a forecast for instance, is told of the bound too.
    flags = result.removal.spot((450.0, 200.0)).removed.flags
    assert bool(flags & {Flag.LOWER_BOUND, Flag.INDICATIVE}) == bool(unproven)
