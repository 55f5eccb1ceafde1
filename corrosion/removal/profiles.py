"""How the depth of one removal falls off inside its outline.

A profile gives, at any point of the layout, the share of the deepest depth that is gone there:

* ``flat``: 1 everywhere inside;
* ``dished``: 1 - r^2, the paraboloid that is deepest at one point and 0 at the outline, where r is the
  distance from the deepest point divided by the outline's distance in the same direction. For a circle
  this is the paraboloid of revolution. As the sections of the outline are similar about that point, the
  volume is exactly half of depth times area for every star-shaped outline;
* ``faired``: a flat floor and a straight run-out of the stated ratio to 0 at the outline.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import shapely
from shapely.geometry import Point as ShapelyPoint
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from corrosion.errors import RemovalError
from corrosion.quantity import FloatArray
from corrosion.terms import Flag, ProfileKind

_FAIRED_PANELS = 32


class Profile(Protocol):
    """Share of the deepest depth, over the layout."""

    @property
    def deepest(self) -> tuple[float, float]:
        """A point (station, offset) in mm where the share is 1."""

    @property
    def integral_mm2(self) -> float:
        """Integral of the share over the outline, mm2: volume divided by deepest depth."""

    def weights(self, points_mm: FloatArray) -> FloatArray:
        """Share at each of (n, 2) points, in [0, 1]; 0 outside the outline."""

    def bounded(self, points_mm: FloatArray, radius_mm: float) -> tuple[FloatArray, FloatArray]:
        """Share at each of (n, 2) points, and a bound on it anywhere within `radius_mm` of them."""


@dataclass(frozen=True)
class FlatProfile:
    """Full depth to the outline.

    The bound equals the share: the outline is a jump that no cell size resolves, so the sums of flat
    removals are found at the crossings of their outlines instead (see `corrosion.removal.cells`).
    """

    outline: Polygon

    @property
    def deepest(self) -> tuple[float, float]:
        """A point well inside the outline."""
        inside = shapely.point_on_surface(self.outline)
        return (float(inside.x), float(inside.y))

    @property
    def integral_mm2(self) -> float:
        """Area of the outline, mm2."""
        return float(self.outline.area)

    def weights(self, points_mm: FloatArray) -> FloatArray:
        """See `Profile.weights`."""
        shapely.prepare(self.outline)
        inside = shapely.intersects_xy(self.outline, points_mm[:, 0], points_mm[:, 1])
        return np.asarray(inside, dtype=np.float64)

    def bounded(self, points_mm: FloatArray, radius_mm: float) -> tuple[FloatArray, FloatArray]:
        """See `Profile.bounded`."""
        del radius_mm
        share = self.weights(points_mm)
        return share, share


@dataclass(frozen=True)
class DishedProfile:
    """Paraboloid over a star-shaped outline, 0 at the outline.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Deepest point, mm.
    corners : ndarray of shape (n, 2)
        Outline relative to the centre, counter-clockwise, sorted by angle, mm.
    angles : ndarray of shape (n,)
        Their angles, ascending, rad.
    """

    centre: FloatArray
    corners: FloatArray
    angles: FloatArray
    area: float

    @property
    def deepest(self) -> tuple[float, float]:
        """The centre, mm."""
        return (float(self.centre[0]), float(self.centre[1]))

    @property
    def integral_mm2(self) -> float:
        """Half of the area: exact for every star-shaped outline."""
        return self.area / 2.0

    @property
    def _steepest(self) -> float:
        """Largest gradient of r: one over the nearest edge line's distance from the centre, 1/mm."""
        edges = np.roll(self.corners, -1, axis=0) - self.corners
        distance = _cross(self.corners, edges) / np.hypot(edges[:, 0], edges[:, 1])
        return float(1.0 / distance.min())

    def _radius(self, points_mm: FloatArray) -> FloatArray:
        """Distance from the centre as a share of the outline's in that direction."""
        rel = points_mm - self.centre
        bearing = np.arctan2(rel[:, 1], rel[:, 0])
        start = (np.searchsorted(self.angles, bearing, side="right") - 1) % len(self.corners)
        corner = self.corners[start]
        edge = self.corners[(start + 1) % len(self.corners)] - corner
        return np.asarray(_cross(rel, edge) / _cross(corner, edge))

    def weights(self, points_mm: FloatArray) -> FloatArray:
        """See `Profile.weights`."""
        return np.maximum(0.0, 1.0 - self._radius(points_mm) ** 2)

    def bounded(self, points_mm: FloatArray, radius_mm: float) -> tuple[FloatArray, FloatArray]:
        """See `Profile.bounded`."""
        radius = self._radius(points_mm)
        nearest = np.maximum(0.0, radius - self._steepest * radius_mm)
        return np.maximum(0.0, 1.0 - radius**2), np.maximum(0.0, 1.0 - nearest**2)


@dataclass(frozen=True)
class FairedProfile:
    """Flat floor with a straight run-out `reach` mm wide to 0 at the outline."""

    outline: Polygon
    reach: float
    deepest: tuple[float, float]

    @property
    def integral_mm2(self) -> float:
        """Mean area of the outline drawn in by 0 to `reach` (Simpson's rule), mm2."""
        steps = np.linspace(0.0, self.reach, _FAIRED_PANELS + 1)
        areas = [self.outline.buffer(-step, join_style="mitre").area for step in steps]
        simpson = np.ones(_FAIRED_PANELS + 1)
        simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
        return float(simpson @ areas / (3.0 * _FAIRED_PANELS))

    def _depth_in(self, points_mm: FloatArray) -> FloatArray:
        """Distance inward from the outline, mm; negative outside."""
        shapely.prepare(self.outline)
        places = shapely.points(points_mm)
        inside = shapely.intersects_xy(self.outline, points_mm[:, 0], points_mm[:, 1])
        distance = shapely.distance(self.outline.boundary, places)
        return np.asarray(np.where(inside, distance, -distance))

    def weights(self, points_mm: FloatArray) -> FloatArray:
        """See `Profile.weights`."""
        return self.bounded(points_mm, 0.0)[0]

    def bounded(self, points_mm: FloatArray, radius_mm: float) -> tuple[FloatArray, FloatArray]:
        """See `Profile.bounded`."""
        depth_in = self._depth_in(points_mm)
        share = np.clip(depth_in / self.reach, 0.0, 1.0)
        return share, np.clip((depth_in + radius_mm) / self.reach, 0.0, 1.0)


def make_profile(
    kind: ProfileKind, outline: Polygon, *, depth_mm: float, run_out_side: float | None, place: str
) -> tuple[Profile, frozenset[Flag]]:
    """Build the profile of a removal.

    Parameters
    ----------
    kind : ProfileKind
        The stated profile.
    outline : Polygon
        Footprint on the layout, mm.
    depth_mm : float
        Deepest depth, mm.
    run_out_side : float or None
        Run-out of one side divided by depth, for ``faired``.
    place : str
        How the user knows the entry, for errors.

    Returns
    -------
    profile : Profile
    flags : frozenset of Flag
        ``NOT_STAR_SHAPED`` where a dish was asked for and cannot fill the outline: full depth to the
        outline is then assumed, which never hides removal. ``RUN_OUT_DOES_NOT_FIT`` where the outline
        is too small for the ratio: the run-out then takes all the room there is.

    Raises
    ------
    RemovalError
        If the outline encloses nothing, or a faired removal has no ratio.
    """
    if outline.is_empty or outline.area <= 0.0:
        raise RemovalError("the footprint encloses nothing.", place=place, remedy="Draw its outline.")
    if kind is ProfileKind.FLAT:
        return FlatProfile(outline), frozenset()
    if kind is ProfileKind.DISHED:
        return _dished(outline)
    if run_out_side is None or run_out_side <= 0.0:
        raise RemovalError("a faired removal has no run-out ratio.", place=place, remedy="State 'run_out'.")
    return _faired(outline, run_out_side * depth_mm)


def _dished(outline: Polygon) -> tuple[Profile, frozenset[Flag]]:
    profile = _star(outline, outline.centroid)
    if profile is None:
        # The inscribed circle costs a thousand times the centroid; most dishes never need it.
        profile = _star(outline, _inscribed_centre(outline)[0])
    if profile is not None:
        return profile, frozenset()
    return FlatProfile(outline), frozenset({Flag.NOT_STAR_SHAPED})


def _star(outline: Polygon, middle: ShapelyPoint) -> DishedProfile | None:
    """Build the dish about `middle`, or None where the outline is not star-shaped about it."""
    centre = np.array([middle.x, middle.y])
    if outline.interiors:
        return None
    ring = np.asarray(orient(outline).exterior.coords)[:-1] - centre
    following = np.roll(ring, -1, axis=0)
    edge_length = np.hypot(*(following - ring).T)
    if np.any(_cross(ring, following) <= 1e-9 * edge_length):
        return None
    angles = np.arctan2(ring[:, 1], ring[:, 0])
    first = int(np.argmin(angles))
    angles = np.roll(angles, -first)
    if np.any(np.diff(angles) <= 0.0):
        return None
    return DishedProfile(centre, np.roll(ring, -first, axis=0), angles, float(outline.area))


def _faired(outline: Polygon, run_out_mm: float) -> tuple[Profile, frozenset[Flag]]:
    centre, room = _inscribed_centre(outline)
    fits = run_out_mm <= room
    reach = max(min(run_out_mm, room), 1e-9)
    flags = frozenset() if fits else frozenset({Flag.RUN_OUT_DOES_NOT_FIT})
    return FairedProfile(outline, reach, (float(centre.x), float(centre.y))), flags


def _inscribed_centre(outline: Polygon) -> tuple[ShapelyPoint, float]:
    """Centre and radius of the largest circle inside the outline, mm."""
    tolerance = 1e-4 * float(np.sqrt(outline.area))
    spoke = shapely.maximum_inscribed_circle(outline, tolerance=tolerance)
    return shapely.get_point(spoke, 0), float(spoke.length)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
