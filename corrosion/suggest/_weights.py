"""Whether a rim is a pit's: a few conditions that must all hold, each more or less.

The score is a product of soft conditions, so one that fails is not outvoted by the others: the rim is
seen nearly all round, what it encloses is unlike the surface, dark or rough, and the surface round it is
neither crowded with other things nor itself as rough as a pit's floor. Most slopes and thresholds were
fitted by ``python -m tests.suggest.fit`` on drawn pictures; no sample picture had a part in it. Three were
set by reason, since the fit left them loose: more than half of what is enclosed has to be unlike the
surface (the ring of a flush head encloses metal), a rim must not waver like a letter's, and its light must
not turn once round as strongly as a dome's.
"""

from __future__ import annotations

import numpy as np

from corrosion.suggest._evidence import NAMES
from corrosion.suggest._features import FloatArray

AT_LEAST = ("closed", "weakest", "filled")
AT_MOST = ("crowded", "rough_around", "wavy", "one_sided")
CONDITIONS = (*AT_LEAST, *AT_MOST)
ROUGH_INSIDE = ("rough_filled", "rough_rim")
SENSE = np.array([1.0] * len(AT_LEAST) + [-1.0] * len(AT_MOST))
PARAMETERS = np.array([
    15.06, 9.09, 14.00, 7.97, 9.93, 12.00, 30.00, 5.35, -0.20, 7.80, -6.66, -8.06, -6.60, -36.00,
    17.72, 6.00, 10.28, 0.55, 7.34,
])  # fmt: skip
"""Slope of each condition; slope times threshold of each; of darkness: slope and level; of roughness:
slopes and level."""

_COLUMNS = [NAMES.index(name) for name in CONDITIONS]
_DARKER = NAMES.index("darker")
_ROUGH = [NAMES.index(name) for name in ROUGH_INSIDE]


def acceptance(evidence: FloatArray, parameters: FloatArray = PARAMETERS) -> FloatArray:
    """Score from 0 to 1 that rims are a pit's, pits and spots counted as equally frequent.

    Parameters
    ----------
    evidence : ndarray of shape (..., len(NAMES))
    """
    count = len(CONDITIONS)
    slope, level = parameters[:count], parameters[count : 2 * count]
    dark, rough = parameters[2 * count : 2 * count + 2], parameters[2 * count + 2 :]
    holds = slope * SENSE * evidence[..., _COLUMNS] - level
    either = np.logaddexp(
        dark[0] * evidence[..., _DARKER] - dark[1], evidence[..., _ROUGH] @ rough[:-1] - rough[-1]
    )
    return np.asarray(np.exp(-np.logaddexp(0, -holds).sum(axis=-1) - np.logaddexp(0, -either)))


FOR = ("closed", "weakest", "filled", "sharp", "darker", "rougher", "contrast")
AGAINST = ("stray", "brighter_flat", "wavy", "elongated", "crowded", "one_sided")
ACCEPTED_COUNTS, ACCEPTED_FLOOR = 2.0, 0.5
"""Weight of the logarithm of the score among rims round one point, and what is added so that none sinks."""
LIKELY, LIKELY_SHARE = 0.4, 0.5
"""Score, and share of the best score, from which a rim may well be a pit's."""
SAME_AREA = 2.25
"""Rims whose areas differ by less are two readings of one rim."""

ITSELF = PARAMETERS.copy()
"""Parameters of a score that leaves the surroundings out of account."""
for _name in ("crowded", "rough_around", "filled"):
    ITSELF[CONDITIONS.index(_name)] = 0.0
    ITSELF[len(CONDITIONS) + CONDITIONS.index(_name)] = -20.0

_VOTES = np.array([float(name in FOR) - float(name in AGAINST) for name in NAMES])


def ranking(evidence: FloatArray) -> FloatArray:
    """Worth of rims among others round the same point: evidence by plain count, and the score.

    The score alone cannot choose: of nested rims several meet all its conditions.
    """
    return np.asarray(evidence @ _VOTES + ACCEPTED_COUNTS * np.log(acceptance(evidence) + ACCEPTED_FLOOR))


def chosen(evidence: FloatArray, areas: FloatArray) -> int:
    """Choose the likeliest rim of a pit among rims round one point; its number.

    Of nested rims that each may well be a pit's the inner one is taken: the outer one is then the patch of
    bare metal or of stain that the pit lies in.

    Parameters
    ----------
    evidence : ndarray of shape (n, len(NAMES))
    areas : ndarray of shape (n,), px2
    """
    # What lies round an inner rim is the patch: it may be narrow, rough and near other things.
    worth, score = ranking(evidence), acceptance(evidence, ITSELF)
    likely = (score >= LIKELY) & (score >= LIKELY_SHARE * score.max())
    if likely.any():
        ratio = areas / areas[likely].min()
        worth = np.where((ratio < SAME_AREA) & (ratio > 1 / SAME_AREA), worth, -np.inf)
    return int(worth.argmax())
