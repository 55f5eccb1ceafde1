"""How much each piece of evidence counts.

Fitted once by ``python -m tests.suggest.fit`` on drawn pictures only (brushed metal and primers, rivets,
scratches, smudges, chips, specks, ink, rules, checkers). No sample picture had a part in it.
"""

from __future__ import annotations

import math

import numpy as np

from corrosion.suggest._evidence import NAMES
from corrosion.suggest._features import FloatArray

WEIGHTS = {
    "closed": (2.31, 1.09),
    "gap": (0.82, 1.14),
    "rougher": (0.74, 1.62),
    "rougher_rim": (1.92, 2.25),
    "filled": (1.32, 1.77),
    "colour_step": (-0.35, 0.18),
    "nested": (-2.19, -3.23),
    "uneven": (0.59, 0.15),
    "light_step": (-1.71, -2.37),
    "wavy": (-1.24, 2.08),
    "sharp": (10.46, 15.19),
    "elongated": (0.37, 0.79),
    "contrast": (0.79, 1.98),
    "rough_around": (0.38, 1.18),
    "greyer": (-0.25, -0.28),
    "shaded_as_dome": (2.37, -0.35),
}
"""Of each piece of evidence: when choosing among nested outlines; when accepting the chosen one."""
OFFSET = -14.86

_RANKING = np.array([WEIGHTS.get(name, (0.0, 0.0))[0] for name in NAMES])
_ACCEPTANCE = np.array([WEIGHTS.get(name, (0.0, 0.0))[1] for name in NAMES])


def ranking(evidence: FloatArray) -> float:
    """Worth of an outline against others nested round the same point."""
    return float(evidence @ _RANKING)


def acceptance(evidence: FloatArray) -> float:
    """Score from 0 to 1 that an outline is a pit's, pits and spots counted as equally frequent."""
    return 1.0 / (1.0 + math.exp(-float(np.clip(evidence @ _ACCEPTANCE + OFFSET, -40.0, 40.0))))
