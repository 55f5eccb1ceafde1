"""Finding scale references in pictures: markers and checkers, rims of discs, ticks of rules.

This package sees pixels; `corrosion.scale` sees the points it leaves in the survey file.
"""

from __future__ import annotations

import numpy as np

from corrosion.find._markers import find_markers
from corrosion.find._rim import find_rim
from corrosion.find._sheet import find_sheet
from corrosion.find._ticks import find_ticks
from corrosion.model import DiscScale, RuleScale, Scale, TargetScale
from corrosion.photo import Picture

__all__ = ["find_reference", "found_words", "needs_finding"]


def needs_finding(scale: Scale | None) -> bool:
    """Whether a scale entry has no points yet and can get them from the picture."""
    if isinstance(scale, RuleScale):
        return not scale.ticks
    return isinstance(scale, DiscScale | TargetScale) and not scale.image


def find_reference(picture: Picture, scale: Scale, *, place: str = "", mm_per_unit: float = 1.0) -> Scale:
    """Find a reference in its picture.

    Parameters
    ----------
    picture : Picture
        Upright.
    scale : Scale
        A rule, a disc or a target; other kinds come back as they are.
    place : str
        Named in errors.
    mm_per_unit : float
        Unit of the scale entry's lengths, in which a sheet's points are written too.

    Returns
    -------
    Scale
        The same entry with its found points, px.

    Raises
    ------
    ScaleError
        If the reference is not found.
    """
    if isinstance(scale, RuleScale):
        return find_ticks(picture.grey.astype(np.float64), scale, place)
    if isinstance(scale, DiscScale) and scale.seed is not None:
        return find_rim(picture.pixels, scale, place)
    if isinstance(scale, TargetScale) and scale.side is None:
        return _in_unit(find_sheet(picture.grey, scale, place), mm_per_unit)
    if isinstance(scale, TargetScale):
        return find_markers(picture.grey, scale, place)
    return scale


def _in_unit(scale: TargetScale, mm_per_unit: float) -> TargetScale:
    if mm_per_unit == 1.0:
        return scale
    return scale.model_copy(update={"plane": [(x / mm_per_unit, y / mm_per_unit) for x, y in scale.plane]})


def found_words(scale: Scale) -> str:
    """Say in a few words what was found."""
    if isinstance(scale, RuleScale):
        return f"{len(scale.ticks)} ticks of the rule"
    if isinstance(scale, DiscScale):
        return f"the disc's rim by {len(scale.image)} points"
    if isinstance(scale, TargetScale) and scale.side is None:
        return f"{len(scale.image)} checker corners of the sheet {scale.sheet!r}"
    if isinstance(scale, TargetScale):
        return f"{len(scale.image) // 4} square marker(s)"
    return ""
