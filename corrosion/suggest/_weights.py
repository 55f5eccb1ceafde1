"""How much each piece of evidence, and each pair of pieces, counts.

Two sums of second degree in the standardised evidence: `ranking` chooses among outlines nested round one
point, `acceptance` says whether the chosen one is a pit's. Pairs are needed because evidence qualifies
evidence: a sharp rim speaks for a pit only where the inside is rough, else it is a paint chip.

The numbers lie in ``weights.json``, written by ``python -m tests.suggest.fit`` from drawn pictures only
(brushed metal and primers, rivets, scratches, smudges, chips, specks, ink, cards, rules, checkers). No
sample picture had a part in them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from importlib.resources import files

import numpy as np

from corrosion.suggest._candidates import Candidate
from corrosion.suggest._evidence import CLOSED, NAMES
from corrosion.suggest._features import FloatArray

LIMIT = 3.0
"""Evidence further than this many spreads from the usual counts as that far: no piece decides alone."""

CLEAR_SHARE = 0.6
"""A rim seen less than this share as clearly as the clearest is not chosen, whatever else speaks for it."""

_STORED = json.loads(files("corrosion.suggest").joinpath("weights.json").read_text(encoding="utf-8"))
MIDDLE = np.array([_STORED["middle"][name] for name in NAMES])
SPREAD = np.array([_STORED["spread"][name] for name in NAMES])
RANKING = np.array(_STORED["ranking"])
ACCEPTANCE = np.array(_STORED["acceptance"])
OFFSET = float(_STORED["offset"])


def terms(evidence: FloatArray, middle: FloatArray = MIDDLE, spread: FloatArray = SPREAD) -> FloatArray:
    """Standardised evidence and the products of its pairs, squares among them.

    Parameters
    ----------
    evidence : ndarray of shape (n, c)
    middle, spread : ndarray of shape (c,)

    Returns
    -------
    ndarray of shape (n, c + c (c + 1) / 2)
    """
    z = np.clip((evidence - middle) / spread, -LIMIT, LIMIT)
    first, second = np.triu_indices(z.shape[1])
    return np.column_stack([z, z[:, first] * z[:, second]])


def ranking(evidence: FloatArray) -> float:
    """Worth of an outline against others nested round the same point."""
    return float(terms(evidence[None])[0] @ RANKING)


def chosen_of(candidates: Sequence[Candidate]) -> Candidate:
    """Choose the likeliest rim among outlines nested round one point, of those seen clearly enough."""
    clearest = max(c.evidence[CLOSED] for c in candidates)
    clear = [c for c in candidates if c.evidence[CLOSED] >= CLEAR_SHARE * clearest]
    return max(clear, key=lambda c: ranking(c.evidence))


def acceptance(evidence: FloatArray) -> float:
    """Score from 0 to 1 that an outline is a pit's, pits and spots counted as equally frequent."""
    worth = float(terms(evidence[None])[0] @ ACCEPTANCE) + OFFSET
    return 1.0 / (1.0 + math.exp(-max(-40.0, min(40.0, worth))))
