"""Marks and the picture's border, carried onto the layout."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from corrosion.errors import LensError, PlacementError
from corrosion.marks import Outline
from corrosion.placement.fits import LayoutMap
from corrosion.placement.pairs import Pairs
from corrosion.quantity import FloatArray

_FOOTPRINT_CELLS = 32
# Area per pixel grows as 1/w^3; a w ratio below 0.3 counts as too oblique (metrology notes 1.2).
_MOST_STRETCH = 0.3**-3
_LENS_SHRINKS = (1.0, 0.95, 0.9, 0.8, 0.7, 0.5)


def mark_geometry(outline: Outline) -> BaseGeometry:
    """Geometry of a mark in the picture, px."""
    if outline.is_area:
        outer, *holes = (outline.points_px[ring] for ring in outline.rings)
        return Polygon(outer, holes)
    return LineString(outline.points_px) if outline.is_line else Point(outline.points_px[0])


def place_outline(outline: Outline, fitted: LayoutMap, place: str) -> BaseGeometry:
    """Carry a mark onto the layout.

    Raises
    ------
    PlacementError
        If the mark lies at or beyond the horizon of the fit.
    """
    if not stretch_is_fair(fitted, outline.points_px).all():
        raise PlacementError(
            "the mark lies too far up the slope, or beyond the horizon of the fitted plane.",
            place=place,
            remedy="Spread the point pairs round the mark, or mark it on a squarer photo.",
        )
    return shapely.transform(mark_geometry(outline), fitted)


def stretch_is_fair(fitted: LayoutMap, points_px: FloatArray) -> FloatArray:
    """Tell which pixels the fit can carry: this side of the horizon and not too oblique, shape (n,)."""
    with np.errstate(all="ignore"):
        centre = np.linalg.det(fitted.jacobian(fitted.pairs.image.mean(axis=0)[None]))[0]
        stretch = np.linalg.det(fitted.jacobian(points_px)) / centre
        fair: FloatArray = (stretch > 0.0) & (stretch < _MOST_STRETCH)
    return fair


def footprint(fitted: LayoutMap, size: tuple[int, int], outline: Polygon) -> BaseGeometry:
    """Part of a member that a picture shows, on the layout.

    Parameters
    ----------
    size : (width, height)
        Of the upright picture, px.
    outline : Polygon
        Of the member, mm.

    Notes
    -----
    What the fit stretches too far, or the lens profile does not reach, does not count as seen.
    """
    for shrink in _LENS_SHRINKS:
        try:
            cells = _fair_cells(fitted, size, shrink)
        except LensError:
            continue
        seen = shapely.transform(cells, fitted)
        return shapely.make_valid(seen).intersection(outline)
    return Polygon()


def _fair_cells(fitted: LayoutMap, size: tuple[int, int], shrink: float) -> BaseGeometry:
    """Cells of the picture that the fit can carry, joined into one shape with dense edges, px."""
    width, height = size
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    half = shrink * np.array([width, height]) / 2
    x = np.linspace(middle[0] - half[0], middle[0] + half[0], _FOOTPRINT_CELLS + 1)
    y = np.linspace(middle[1] - half[1], middle[1] + half[1], _FOOTPRINT_CELLS + 1)
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    fair = stretch_is_fair(fitted, grid.reshape(-1, 2)).reshape(grid.shape[:2]).astype(bool)
    whole = fair[:-1, :-1] & fair[:-1, 1:] & fair[1:, :-1] & fair[1:, 1:]
    if whole.all():
        joined: BaseGeometry = box(x[0], y[0], x[-1], y[-1])
    else:
        rows, columns = np.nonzero(whole)
        joined = shapely.union_all(shapely.box(x[columns], y[rows], x[columns + 1], y[rows + 1]))
    return shapely.segmentize(joined, max(size) / _FOOTPRINT_CELLS)


@dataclass(frozen=True)
class Hull:
    """Extent of the control points on the layout.

    `width` is the shorter side of their hull, mm; of points in one line it is their distance.
    """

    shape: BaseGeometry
    width: float

    @classmethod
    def of(cls, pairs: Pairs) -> Hull:
        """Enclose control points."""
        hull = shapely.convex_hull(shapely.multipoints(pairs.layout))
        corners = shapely.get_coordinates(shapely.oriented_envelope(hull))
        sides = np.linalg.norm(np.diff(corners[:3], axis=0), axis=1)
        return cls(hull, float(sides.max() if pairs.in_line else sides.min()))

    def is_far(self, outline: BaseGeometry) -> bool:
        """Whether any corner lies beyond the hull by more than half its width."""
        corners = shapely.points(shapely.get_coordinates(outline))
        return bool(shapely.distance(self.shape, corners).max() > 0.5 * self.width)
