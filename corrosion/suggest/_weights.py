"""How far a rim is expected to overlap a pit: small decision trees over its evidence.

The trees were fitted by ``python -m tests.suggest.fit`` to the overlap (intersection over union) of rims
with the true outlines on this project's own drawn and rendered pictures, others than the net has learnt
from; rims of what is no pit overlap by 0. No sample picture and no picture of the benchmark had a part in
it. There are two tables: one for a click, which is on a pit and only asks which of the rims round it is the
pit's, and one for the spots of a sweep, most of which are no pits.
"""

from __future__ import annotations

from enum import StrEnum
from functools import cache
from importlib.resources import files

import numpy as np

from corrosion.suggest._conditions import all_hold
from corrosion.suggest._evidence import NAMES
from corrosion.suggest._features import FloatArray


class Asked(StrEnum):
    """What the rims were found round."""

    CLICK = "click"
    SPOT = "spot"


@cache
def table_of(asked: Asked) -> FloatArray:
    """One tree per row: numbers of the evidence asked for, thresholds, and what each answer adds."""
    text = files("corrosion.suggest").joinpath(f"trees_{asked}.csv").read_text(encoding="utf-8")
    return np.loadtxt(text.splitlines(), delimiter=",", ndmin=2)


def expected_overlap(evidence: FloatArray, table: FloatArray) -> FloatArray:
    """Overlap with a pit, 0 to 1, to be expected of rims with this evidence.

    Parameters
    ----------
    evidence : ndarray of shape (..., len(NAMES))
    table : ndarray of shape (trees, 3 q + 1)
        Numbers of the evidence that the q questions of each tree ask for, their thresholds, and the q + 1
        answers. Question k leads to question 2 k + 1 where the evidence is at most the threshold, else to
        2 k + 2; past the questions come the answers. The trees' answers are added.
    """
    questions = (table.shape[1] - 1) // 3
    rows = evidence.reshape(-1, len(NAMES))
    number, level = table[:, :questions].astype(np.intp), table[:, questions : 2 * questions]
    every = np.arange(len(table))
    at = np.zeros((len(rows), len(table)), dtype=np.intp)
    for _ in range((questions + 1).bit_length() - 1):
        value = np.take_along_axis(rows, number[every, at], axis=1)
        at = 2 * at + 1 + (value > level[every, at])
    found = table[every, 2 * questions + at - questions].sum(axis=1)
    return np.asarray(np.clip(found, 0.0, 1.0).reshape(evidence.shape[:-1]))


NOT_HELD, PLAINLY = 0.3, 0.1
"""Taken from the expected overlap where the conditions plainly do not all hold; how far they hold then.

A net that took a dome or a screw's head for a pit would carry the trees along; that a rim encloses metal
like the metal round it does not depend on the net.
"""


def score_of(evidence: FloatArray) -> FloatArray:
    """Score, 0 to 1, of rims as a sweep finds them.

    Parameters
    ----------
    evidence : ndarray of shape (..., len(NAMES))
    """
    held = np.minimum(evidence[..., _ALL_HOLD] / PLAINLY, 1.0)
    expected = expected_overlap(evidence, table_of(Asked.SPOT))
    return np.asarray(np.clip(expected - NOT_HELD * (1.0 - held), 0.0, 1.0))


_ALL_HOLD = NAMES.index("all_hold")
FOR = ("closed", "weakest", "filled", "sharp", "darker", "rougher", "contrast")
AGAINST = ("stray", "brighter_flat", "wavy", "elongated", "crowded", "one_sided")
HOLD_COUNTS, HOLD_FLOOR = 2.0, 0.5
"""Weight of the logarithm of the conditions among rims; what is added so that none sinks."""
ROUND_IT = ("crowded", "rough_around", "filled")
"""Conditions on the surroundings: those of an inner rim are the patch, narrow, rough and near others."""
LIKELY, LIKELY_SHARE = 0.4, 0.5
"""Conditions met, and share of the best, from which a rim may well be a pit's."""
SAME_AREA = 2.25
"""Rims whose areas differ by less are two readings of one rim."""
CLEARLY = 0.05
"""Expected overlap by which the trees have to prefer another rim: less only tells its likenesses apart."""

_VOTES = np.array([float(name in FOR) - float(name in AGAINST) for name in NAMES])


def _by_count(evidence: FloatArray, areas: FloatArray) -> int:
    """Choose by plain count of the evidence; of nested rims that may each be a pit's, an inner one."""
    found = dict(zip(NAMES, evidence.T, strict=True))
    worth = evidence @ _VOTES + HOLD_COUNTS * np.log(found["all_hold"] + HOLD_FLOOR)
    score = all_hold(found, ROUND_IT)
    likely = (score >= LIKELY) & (score >= LIKELY_SHARE * score.max())
    if likely.any():
        ratio = areas / areas[likely].min()
        worth = np.where((ratio < SAME_AREA) & (ratio > 1 / SAME_AREA), worth, -np.inf)
    return int(worth.argmax())


def chosen(evidence: FloatArray, areas: FloatArray, expected: FloatArray) -> int:
    """Choose the likeliest rim of a pit among rims round a click; its number.

    The plain count of the evidence is steady: it takes the same one of several likenesses of a rim. Where
    the trees expect more of another (the count took the bare patch for the pit, or a stain in it), theirs
    is taken.

    Parameters
    ----------
    evidence : ndarray of shape (n, len(NAMES))
    areas : ndarray of shape (n,), px2
    expected : ndarray of shape (n,)
        Overlap with a pit that the trees for clicks expect.
    """
    first = _by_count(evidence, areas)
    best = int(expected.argmax())
    return best if expected[best] > expected[first] + CLEARLY else first
