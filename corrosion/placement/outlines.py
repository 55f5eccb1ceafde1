"""Marks and the picture's border, carried onto the layout."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from corrosion.errors import LensError, PlacementError
from corrosion.model import CircleShape, EllipseShape, LineShape, Mark, PointShape, Shape
from corrosion.placement.fits import LayoutMap
from corrosion.quantity import FloatArray

_CURVE_CORNERS = 128
_FOOTPRINT_CELLS = 32
# Area per pixel grows as 1/w^3; a w ratio below 0.3 counts as too oblique (metrology notes 1.2).
_MOST_STRETCH = 0.3**-3
_LENS_SHRINKS = (1.0, 0.95, 0.9, 0.8, 0.7, 0.5)


def mark_geometry(shape: Shape) -> BaseGeometry:
    """Geometry of a mark in the picture, px; circles and ellipses as polygons of the same area."""
    match shape:
        case PointShape():
            return Point(shape.coordinates)
        case LineShape():
            return LineString(shape.coordinates)
        case CircleShape():
            return _ellipse(shape.center, (shape.radius, shape.radius), 0.0)
        case EllipseShape():
            return _ellipse(shape.center, shape.semi_axes, math.radians(shape.angle_deg))
        case _:
            return Polygon(shape.coordinates[0], shape.coordinates[1:])


def _ellipse(center: tuple[float, float], axes: tuple[float, float], angle: float) -> Polygon:
    turn = np.linspace(0.0, 2.0 * np.pi, _CURVE_CORNERS, endpoint=False)
    # Corners a little outside the curve, so that the polygon has the curve's area.
    step = 2.0 * np.pi / _CURVE_CORNERS
    wider = math.sqrt(step / math.sin(step))
    x, y = wider * axes[0] * np.cos(turn), wider * axes[1] * np.sin(turn)
    c, s = math.cos(angle), math.sin(angle)
    return Polygon(np.column_stack([center[0] + c * x - s * y, center[1] + s * x + c * y]))


def place_mark(mark: Mark, fitted: LayoutMap, place: str) -> BaseGeometry:
    """Carry a mark onto the layout.

    Raises
    ------
    PlacementError
        If the mark lies at or beyond the horizon of the fit, or its outline crosses itself.
    """
    seen = mark_geometry(mark.shape)
    points = shapely.get_coordinates(seen)
    if not stretch_is_fair(fitted, points).all():
        raise PlacementError(
            f"mark {mark.id!r} lies too far up the slope, or beyond the horizon of the fitted plane.",
            place=place,
            remedy="Spread the point pairs round the mark, or mark it on a squarer photo.",
        )
    outline = shapely.transform(seen, fitted)
    if not outline.is_valid:
        raise PlacementError(
            f"the outline of mark {mark.id!r} crosses itself.", place=place, remedy="Draw it again."
        )
    return outline


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

    `width` is the shorter side of their hull, or the distance of just two points, mm.
    """

    shape: BaseGeometry
    width: float

    @classmethod
    def of(cls, layout: FloatArray) -> Hull:
        """Enclose control points of shape (n, 2), mm."""
        hull = shapely.convex_hull(shapely.multipoints(layout))
        corners = shapely.get_coordinates(shapely.oriented_envelope(hull))
        sides = np.linalg.norm(np.diff(corners[:3], axis=0), axis=1)
        return cls(hull, float(sides.min()))

    def is_far(self, outline: BaseGeometry) -> bool:
        """Whether any corner lies beyond the hull by more than half its width."""
        corners = shapely.points(shapely.get_coordinates(outline))
        return bool(shapely.distance(self.shape, corners).max() > 0.5 * self.width)
