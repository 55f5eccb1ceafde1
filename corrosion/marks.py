"""Marks as vertices in the picture, with what is uncertain of where they lie."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import shapely
from shapely.validation import explain_validity

from corrosion.errors import MarkError
from corrosion.model import CircleShape, EllipseShape, LineShape, Mark, PointShape, PolygonShape, Settings
from corrosion.quantity import FloatArray
from corrosion.terms import Flag

ELLIPSE_CORNERS = 128
LEAST_AREA_PX2 = 0.25
BORDER_TOLERANCE_PX = 0.5
# A corner sharper than about 29 degrees is a slip of the hand; its mitre would shoot far out.
MOST_MITRE = 4.0


@dataclass(frozen=True, eq=False)
class Outline:
    """A mark's vertices.

    Attributes
    ----------
    points_px : ndarray of shape (n, 2)
        All vertices: the rings of an area one after the other, the outer ring first and positive
        (x towards y), holes negative, none closed; or a line; or a single point.
    rings : tuple of slice
        The rings within `points_px`; empty for lines and points.
    sigma_px : float
        Standard uncertainty of one coordinate, independent from vertex to vertex.
    parameters : ndarray of shape (n, 2, p) or None
        Where the vertices follow a circle or ellipse: their movement per standardised parameter of it,
        px; then they are not independent.
    edge : ndarray of shape (n, 2)
        Movement of the vertices when the common edge offset grows by its standard uncertainty, px;
        outwards from the marked region, so into its holes.
    flags : frozenset of Flag
    """

    points_px: FloatArray
    rings: tuple[slice, ...]
    sigma_px: float
    parameters: FloatArray | None
    edge: FloatArray
    flags: frozenset[Flag]

    @property
    def is_area(self) -> bool:
        """Whether the mark encloses something."""
        return bool(self.rings)

    @property
    def is_line(self) -> bool:
        """Whether the mark is an open line."""
        return not self.rings and len(self.points_px) > 1


def outline_of(mark: Mark, settings: Settings, size: tuple[int, int] | None, place: str) -> Outline:
    """Turn a mark's shape into vertices.

    Parameters
    ----------
    mark : Mark
    settings : Settings
        Pixel uncertainties where the mark has none of its own.
    size : (width, height) or None
        Upright picture, px; None leaves the border unchecked.
    place : str
        Named in errors.

    Returns
    -------
    Outline
        Circles and ellipses become polygons of exactly their area. Flag: `Flag.TRUNCATED`.

    Raises
    ------
    MarkError
        If the mark crosses itself, encloses nothing, lies outside the picture or is not finite.
    """
    sigma = mark.sigma_px or settings.mark_sigma_px
    u_edge = settings.edge_u_px if mark.u_edge_px is None else mark.u_edge_px
    rings, parameters = _vertices(mark.shape, sigma)
    points = np.concatenate(rings)
    if not np.isfinite(points).all():
        raise MarkError("a coordinate is not a number.", place=place, remedy="Draw the mark again.")
    flags = _check_border(points, size, place)
    slices = _slices(rings)
    is_area = not isinstance(mark.shape, (LineShape, PointShape))
    if is_area:
        _check_area(rings, place)
        outwards = np.concatenate([_mitres(ring) for ring in rings])
    elif isinstance(mark.shape, LineShape) and len(points) < 2:
        raise MarkError("the line has no length.", place=place, remedy="Draw it again, or use a point.")
    else:
        outwards = _line_ends(points)
    return Outline(
        points_px=points,
        rings=slices if is_area else (),
        sigma_px=sigma,
        parameters=parameters,
        edge=u_edge * outwards,
        flags=flags,
    )


def _vertices(
    shape: PolygonShape | LineShape | PointShape | CircleShape | EllipseShape, sigma: float
) -> tuple[list[FloatArray], FloatArray | None]:
    """Rings of vertices, and how they move with the shape's own parameters where it has some."""
    match shape:
        case PolygonShape():
            outer, *holes = (_distinct(ring, closed=True) for ring in shape.coordinates)
            return [_turned(outer, hole=False), *(_turned(ring, hole=True) for ring in holes)], None
        case LineShape():
            return [_distinct(shape.coordinates, closed=False)], None
        case PointShape():
            return [np.array([shape.coordinates], dtype=np.float64)], None
        case CircleShape():
            ring, moved = _ellipse(shape.center, (shape.radius, shape.radius), 0.0, sigma)
            # One radius, not two, and no direction.
            return [ring], np.dstack([moved[:, :, :2], moved[:, :, 2:4].sum(axis=2)])
        case EllipseShape():
            ring, moved = _ellipse(shape.center, shape.semi_axes, math.radians(shape.angle_deg), sigma)
            return [ring], moved


def _distinct(ring: list[tuple[float, float]], *, closed: bool) -> FloatArray:
    """Drop vertices that repeat the one before, and the closing one."""
    points = np.array(ring, dtype=np.float64)
    step = points - np.roll(points, 1, axis=0)
    keep = (step != 0).any(axis=1)
    if not closed or not keep.any():
        keep[0] = True
    distinct: FloatArray = points[keep]
    return distinct


def _turned(ring: FloatArray, *, hole: bool) -> FloatArray:
    positive = _signed_area(ring) > 0
    return ring if positive != hole else ring[::-1]


def _signed_area(ring: FloatArray) -> float:
    x, y = (ring - ring[0]).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def _ellipse(
    centre: tuple[float, float], axes: tuple[float, float], angle: float, sigma: float
) -> tuple[FloatArray, FloatArray]:
    """Polygon of the ellipse's exact area, and its movement by (cx, cy, a, b, angle), (n, 2, 5).

    A polygon inscribed at equal steps of the parameter has sin(2 pi / n) / (2 pi / n) of the ellipse's
    area; its semi-axes are enlarged by the root of the inverse. The angle's uncertainty is that of a
    click at the end of the longer semi-axis.
    """
    n = ELLIPSE_CORNERS
    step = 2.0 * math.pi / n
    grow = math.sqrt(step / math.sin(step))
    t = np.arange(n) * step
    c, s = math.cos(angle), math.sin(angle)
    first, second = grow * np.cos(t), grow * np.sin(t)
    by_a = np.outer(first, [c, s])
    by_b = np.outer(second, [-s, c])
    from_centre = axes[0] * by_a + axes[1] * by_b
    by_angle = np.column_stack([-from_centre[:, 1], from_centre[:, 0]]) / max(axes)
    by_centre = np.broadcast_to(np.eye(2), (n, 2, 2))
    moved = np.dstack([by_centre, by_a, by_b, by_angle])
    return from_centre + np.array(centre), sigma * moved


def _slices(rings: list[FloatArray]) -> tuple[slice, ...]:
    stops = np.cumsum([len(ring) for ring in rings]).tolist()
    return tuple(slice(a, b) for a, b in zip([0, *stops[:-1]], stops, strict=True))


def _mitres(ring: FloatArray) -> FloatArray:
    """Movement of each corner when both its edges move one px out of the marked region.

    With unit edge normals m, n it is (m + n) / (1 + m . n); then the area changes by exactly the
    perimeter, which unit vertex normals would miss at every corner.
    """
    along = np.roll(ring, -1, axis=0) - ring
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    before = np.roll(normal, 1, axis=0)
    opening = 1.0 + (before * normal).sum(axis=1, keepdims=True)
    # The mitre's length is sqrt(2 / opening), so this bounds it.
    mitre: FloatArray = (before + normal) / np.maximum(opening, 2.0 / MOST_MITRE**2)
    return mitre


def _line_ends(points: FloatArray) -> FloatArray:
    """Move a line's two ends one px outwards: where a crack ends is an edge too."""
    outwards = np.zeros_like(points)
    if len(points) > 1:
        first, last = points[0] - points[1], points[-1] - points[-2]
        outwards[0] = first / np.linalg.norm(first)
        outwards[-1] = last / np.linalg.norm(last)
    return outwards


def _check_border(points: FloatArray, size: tuple[int, int] | None, place: str) -> frozenset[Flag]:
    if size is None:
        return frozenset()
    far = np.array(size, dtype=np.float64) - 1.0
    beyond = np.maximum(-0.5 - points, points - (far + 0.5))
    if beyond.max() > BORDER_TOLERANCE_PX:
        x, y = points[int(np.argmax(beyond.max(axis=1)))]
        raise MarkError(
            f"the point ({x:.1f}, {y:.1f}) px lies outside the picture of {size[0]} x {size[1]} px.",
            place=place,
            remedy="Draw the mark within the picture; check that it is this photo's mark.",
        )
    touching = bool((points <= 0).any() or (points >= far).any())
    return frozenset({Flag.TRUNCATED}) if touching else frozenset()


def _check_area(rings: list[FloatArray], place: str) -> None:
    # The hull, not the signed area: a crossed outline's two halves may cancel.
    if any(shapely.convex_hull(shapely.multipoints(ring)).area < LEAST_AREA_PX2 for ring in rings):
        _refuse_empty(place)
    polygon = shapely.Polygon(rings[0], rings[1:])
    if not polygon.is_valid:
        raise MarkError(
            f"the outline crosses or touches itself ({explain_validity(polygon)}, px).",
            place=place,
            remedy="Move the corner there, or draw the outline again.",
        )
    if polygon.area < LEAST_AREA_PX2:
        _refuse_empty(place)


def _refuse_empty(place: str) -> NoReturn:
    raise MarkError(
        f"the outline encloses less than {LEAST_AREA_PX2:g} square pixels, which is nothing.",
        place=place,
        remedy="Draw round the feature, or use a point or a line.",
    )
