"""From a picture's code values back to light.

Blur adds up light, not code values: in code values the steepest place of a blurred edge lies towards its
dark side, by some tenths of a pixel. Pictures are taken as coded by sRGB (IEC 61966-2-1, from memory); a
camera's own tone curve departs from it, which the stated edge uncertainty has to cover.
"""

from __future__ import annotations

import numpy as np

from corrosion.quantity import FloatArray

_CODES = np.arange(256) / 255.0
_LIGHT = 255.0 * np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4)


def light_of(pixels: np.ndarray) -> FloatArray:
    """Light of 8-bit code values, 0 to 255, same shape."""
    light: FloatArray = _LIGHT[pixels]
    return light
