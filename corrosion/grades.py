"""Grades of corrosion: by depth as the trade reads it, and pit ratings beside them.

Neither is a limit: what may be removed is the user's limit with its source. A third use of the words
mild, moderate and severe, for the operating environment (AC 43-4A, chapter 5), is not meant here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from corrosion.units import MM_PER_MIL

_ROUNDING = 1.0 + 1e-9


class DepthGrade(StrEnum):
    """Severity by depth: NAVEDTRA 14022, p. 146; TM 1-1520-238-23, para 1.49.14."""

    LIGHT = "light"
    MODERATE = "moderate"
    SEVERE = "severe"


LIGHT_MAX_MM = 1.0 * MM_PER_MIL
"""Deepest light corrosion: 1 mil (0.001 in) "maximum"."""

MODERATE_MAX_MM = 10.0 * MM_PER_MIL
"""Deepest moderate corrosion: "as deep as" 10 mils (0.010 in)."""


def depth_grade(depth_mm: float) -> DepthGrade:
    """Grade a depth of corrosion.

    The sources say "maximum", "as deep as" and "deeper than", so both edges belong to the milder grade.

    Parameters
    ----------
    depth_mm : float
        Depth of the corrosion below sound metal, mm; not the depth of a blend-out.
    """
    # An inch survey arrives as 0.010 * 25.4; rounding must not push the edge over.
    if depth_mm <= LIGHT_MAX_MM * _ROUNDING:
        return DepthGrade.LIGHT
    if depth_mm <= MODERATE_MAX_MM * _ROUNDING:
        return DepthGrade.MODERATE
    return DepthGrade.SEVERE


PIT_DENSITY_PER_M2 = (2.5e3, 1e4, 5e4, 1e5, 5e5)
PIT_SIZE_MM2 = (0.5, 2.0, 8.0, 12.5, 24.5)
PIT_DEPTH_MM = (0.4, 0.8, 1.6, 3.2, 6.4)
"""Exemplars of ratings 1 to 5 for density, size and depth: ASTM G46-94 standard rating chart, from
memory. They are pictures to compare with, not class edges."""

RATING_RULE = "the highest rating whose exemplar is reached (this program's choice)"
"""Binning rule to be stated beside every rating."""


@dataclass(frozen=True)
class PitRating:
    """Pit rating in the manner of ASTM G46: 0 (below the first exemplar) to 5; None where not known."""

    density: int | None
    size: int | None
    depth: int | None

    def __str__(self) -> str:
        parts = zip("ABC", (self.density, self.size, self.depth), strict=True)
        known = [f"{letter}-{rating or 'below 1'}" for letter, rating in parts if rating is not None]
        return ", ".join(known) or "not rated"


def pit_rating(density_per_m2: float | None, size_mm2: float | None, depth_mm: float | None) -> PitRating:
    """Rate pitting by density, mean opening area and mean depth.

    Binned "at least" (`RATING_RULE`): between two exemplars the lower one's rating is given.

    Parameters
    ----------
    density_per_m2 : float or None
        Pits per square metre.
    size_mm2 : float or None
        Mean area of the openings, mm2.
    depth_mm : float or None
        Mean depth, mm.
    """
    return PitRating(
        density=_rating(PIT_DENSITY_PER_M2, density_per_m2),
        size=_rating(PIT_SIZE_MM2, size_mm2),
        depth=_rating(PIT_DEPTH_MM, depth_mm),
    )


def _rating(exemplars: tuple[float, ...], value: float | None) -> int | None:
    if value is None:
        return None
    return sum(value * _ROUNDING >= exemplar for exemplar in exemplars)
