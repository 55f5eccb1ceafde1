"""Whether a rim is a pit's by a few soft conditions that must all hold, one piece of evidence among others.

A product: one condition that fails is not outvoted by the rest. The rim is seen nearly all round, what it
encloses is unlike the surface, dark or rough, and the surface round it is neither crowded with other
things nor itself as rough as a pit's floor. Slopes and thresholds were fitted on drawn pictures, before
there was a net; three were set by reason: more than half of what is enclosed has to be unlike the surface
(the ring of a flush head encloses metal), a rim must not waver like a letter's, and its light must not turn
once round as strongly as a dome's.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from corrosion.suggest._features import FloatArray

AT_LEAST = ("closed", "weakest", "filled")
AT_MOST = ("crowded", "rough_around", "wavy", "one_sided")
SLOPES = np.array([15.06, 9.09, 14.00, -7.97, -9.93, -12.00, -30.00])
LEVELS = np.array([5.35, -0.20, 7.80, -6.66, -8.06, -6.60, -36.00])
"""Slope times threshold."""
DARK = (17.72, 6.00)
ROUGH_INSIDE = ("rough_filled", "rough_rim")
ROUGH = (10.28, 0.55, 7.34)
"""Of darkness: slope and level; of roughness: slopes and level."""


def all_hold(found: dict[str, FloatArray], leave_out: Collection[str] = ()) -> FloatArray:
    """How far all conditions hold, 0 to 1.

    Parameters
    ----------
    found : dict of str to ndarray of shape (n,)
        Evidence by name.
    leave_out : collection of str
        Conditions that need not hold.
    """
    rough = ROUGH[0] * found[ROUGH_INSIDE[0]] + ROUGH[1] * found[ROUGH_INSIDE[1]] - ROUGH[2]
    against = np.logaddexp(0, -np.logaddexp(DARK[0] * found["darker"] - DARK[1], rough))
    for name, slope, level in zip((*AT_LEAST, *AT_MOST), SLOPES, LEVELS, strict=True):
        if name not in leave_out:
            against = against + np.logaddexp(0, level - slope * found[name])
    return np.asarray(np.exp(-against))
