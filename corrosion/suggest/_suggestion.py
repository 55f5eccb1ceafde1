"""What a suggestion is: an outline somebody has still to accept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from corrosion.errors import MarkError
from corrosion.suggest._features import FloatArray
from corrosion.terms import MarkKind

Parameter = float | str


@dataclass(frozen=True, eq=False)
class Suggestion:
    """An outline proposed by the program. It is no mark until a person accepts it.

    Attributes
    ----------
    outline_px : ndarray of shape (n, 2)
        Corners in the project's pixel frame: centre of the top-left pixel at (0, 0), x right, y down.
        Simple, inside the picture.
    kind : MarkKind
        ``pit`` or ``blend-out``.
    method : str
        How the outline was found, with the version of the method.
    parameters : mapping of str to float or str
        Everything needed to find it again, and how far the second method agreed.
    score : float
        0 to 1: the evidence that this is what `kind` says. A rank, not a probability.
    edge_u_px : float
        Half the difference between two ways to say where the edge is, at least 0.5 px: a floor for the
        standard uncertainty of the edge offset all corners share.
    """

    outline_px: FloatArray
    kind: MarkKind
    method: str
    parameters: Mapping[str, Parameter]
    score: float
    edge_u_px: float


def check_click(click_px: tuple[float, float], shape: tuple[int, ...]) -> None:
    """Refuse a click that is not on the picture.

    Raises
    ------
    MarkError
        With the click and the picture's size.
    """
    height, width = shape[:2]
    x, y = click_px
    if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
        raise MarkError(
            f"the click ({x:.1f}, {y:.1f}) px lies outside the picture of {width} x {height} px.",
            remedy="Click on the feature.",
        )


def check_sizes(smallest_px: float, largest_px: float) -> None:
    """Refuse sizes nothing can be found at.

    Raises
    ------
    MarkError
        Below 6 px across a rim is made of too few pixels to follow; the largest must exceed the smallest.
    """
    if not 6.0 <= smallest_px < largest_px:
        raise MarkError(
            f"features from {smallest_px:g} to {largest_px:g} px across cannot be looked for.",
            remedy="Give a smallest size of at least 6 px and a larger largest size.",
        )


def within_picture(outline: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """Cut an outline at the border of the picture and drop what would make it cross itself."""
    height, width = shape[:2]
    polygon = shapely.make_valid(shapely.Polygon(outline))
    cut = shapely.intersection(polygon, shapely.box(-0.5, -0.5, width - 0.5, height - 0.5))
    parts = [p for p in shapely.get_parts(cut) if p.geom_type == "Polygon"]
    if not parts:
        return np.zeros((0, 2))
    largest = max(parts, key=lambda p: float(p.area))
    return np.asarray(largest.exterior.coords, dtype=np.float64)[:-1]


def likeness(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """Intersection over union of two areas, 0 to 1; 0 where neither encloses anything."""
    union = float(shapely.union(one, other).area)
    return float(shapely.intersection(one, other).area) / union if union else 0.0
