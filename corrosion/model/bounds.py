"""Bounds of every number of the survey file: what lies beyond is a slip, not a survey.

A wrong exponent or a coordinate from elsewhere would otherwise overflow, or cancel to nothing, deep inside
the sums. The bounds are rules of ours, wide enough never to meet a real survey and narrow enough that
squares and quotients of lengths stay exact. A length's bounds hold for the number as written, in the file's
unit: an inch file may reach 25.4 times as far.
"""

from __future__ import annotations

from typing import Final

MOST_LENGTH: Final = 1e6
"""A kilometre in mm. There a double still resolves 0.1 nm, the least length: no length is lost in a sum."""
LEAST_LENGTH: Final = 1e-7
"""0.1 nm in mm, less than an atom; so a length that is not nought never squares to nought."""
MOST_PX: Final = 1e6
"""Fifteen times the longest side of a JPEG (65,535 px): room for points beside a picture, for any focal
length, and for lenses that bend."""
LEAST_PX: Final = 1e-9
"""A billionth of a pixel: nothing in a picture is that sure, but a computed example may be."""
MOST_RATIO: Final = 1e6
LEAST_RATIO: Final = 1e-6
MOST_AREA: Final = MOST_LENGTH**2
LEAST_AREA: Final = LEAST_LENGTH**2
MOST_TURN_DEG: Final = 3600.0
"""Ten turns: an angle may be written past one, not past sense."""
MOST_AMOUNT: Final = 1e12
"""Hours, days, findings and money of any currency."""
MOST_COUNT: Final = 1_000_000
"""Running numbers, sides of a picture, views."""
LEAST_DENSITY, MOST_DENSITY = 1.0, 1e5
"""kg/m3: below foam, above every metal (osmium has 22,600, from memory)."""
MOST_LUX: Final = 1e7
"""Eighty times full sunlight (about 1.2 x 10^5 lx, from memory)."""
MOST_COEFFICIENT: Final = 1e6
"""Distortion coefficients."""
MOST_READOUT: Final = 1e15
"""Readings without a unit of their own, as a picture's sharpness; and entries of a lens's covariance."""
