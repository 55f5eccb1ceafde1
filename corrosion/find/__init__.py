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
from corrosion.quantity import FloatArray

__all__ = ["find_reference", "needs_finding"]


def needs_finding(scale: Scale | None) -> bool:
    """Whether a scale entry has no points yet and can get them from the picture."""
    if isinstance(scale, RuleScale):
        return not scale.ticks
    return isinstance(scale, DiscScale | TargetScale) and not scale.image


def find_reference(picture: Picture, scale: Scale, *, place: str = "") -> Scale:
    """Find a reference in its picture.

    Parameters
    ----------
    picture : Picture
        Upright.
    scale : Scale
        A rule, a disc or a target; other kinds come back as they are.
    place : str
        Named in errors.

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
        return find_ticks(_float(picture.grey), scale, place)
    if isinstance(scale, DiscScale) and scale.seed is not None:
        return find_rim(_float(picture.pixels), scale, place)
    if isinstance(scale, TargetScale):
        return (find_sheet if scale.side is None else find_markers)(picture.grey, scale, place)
    return scale


def _float(pixels: np.ndarray) -> FloatArray:
    return pixels.astype(np.float64)
