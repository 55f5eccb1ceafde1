"""A scale whose plane touches a cylinder: pixels to the unrolled surface.

The reference gives the plane that touches the surface along a line; the picture's rays go on from there
to the cylinder, which is then rolled out. Seen square on from far, this is s = R asin(x / R).

Of a surface seen from inside (a tube, a concave skin) the rays meet it before they reach that plane. A flat
reference as wide as b then stands on its edges, R - sqrt(R^2 - b^2 / 4) above the line of contact: that is
its `height`, unless it is laid along the axis.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from corrosion.cylinder import MOST_INCIDENCE_RAD, unroll
from corrosion.errors import ScaleError
from corrosion.model import CylinderSurface
from corrosion.quantity import FloatArray
from corrosion.scale.matrix_plane import camera_matrix
from corrosion.scale.plane import PlaneScale
from corrosion.terms import Flag

RADIUS = "radius"
AXIS_OFFSET = "axis offset"
VIEWPOINT = "viewpoint"

# A contact line judged by eye is off by so much of the radius (rule of ours), where nothing is stated.
_U_OFFSET_SHARE = 0.05
# Without a calibration the focal length may also be very long: the view is then orthographic.
_LONG_FOCAL = 30.0
_STEP = 0.01
_SQUARE_PX = 40.0


@dataclass(frozen=True, eq=False)
class CylinderScale(PlaneScale):
    """A plane scale rolled out from a cylinder.

    Attributes
    ----------
    base : PlaneScale
        Of the plane that touches the surface.
    radius, u_radius : float
        mm.
    axis_px : ndarray of shape (2, 2)
        Points on the line of contact.
    u_axis_px : float
        Standard uncertainty of a coordinate of theirs.
    inside : bool
        Whether the camera sees the inside of the cylinder.
    """

    base: PlaneScale
    radius: float
    u_radius: float
    axis_px: FloatArray
    u_axis_px: float
    inside: bool = False

    flat: ClassVar[bool] = False

    def _map(self, ideal: FloatArray) -> FloatArray:
        return self.base._map(ideal)  # noqa: SLF001 -- the touching plane's own map

    def _map_jacobian(self, ideal: FloatArray) -> FloatArray:
        return self.base._map_jacobian(ideal)  # noqa: SLF001

    def _map_sources(self, ideal: FloatArray) -> dict[str, FloatArray]:
        return self.base._map_sources(ideal)  # noqa: SLF001

    @property
    def centre_px(self) -> FloatArray:
        """Middle of the reference in the picture, px."""
        return self.base.centre_px

    def to_plane(self, points_px: FloatArray) -> FloatArray:
        """Map pixels to the unrolled surface, mm."""
        return self.view(points_px).unrolled(self.radius)

    def jacobian_points(self, points_px: FloatArray) -> FloatArray:
        """Return d unrolled / d pixel; see `PlaneScale`."""
        view, by_pixel = self.view(points_px), self.base.jacobian_points(points_px)
        columns = [
            view.moved(by_pixel[:, :, j], None, None).unrolled(self.radius) - view.unrolled(self.radius)
            for j in (0, 1)
        ]
        jacobian: FloatArray = np.stack(columns, axis=-1) / _STEP
        return jacobian

    def shared_sensitivities(self, points_px: FloatArray) -> dict[str, FloatArray]:
        """Movement of unrolled points by everything shared; see `PlaneScale`."""
        view = self.view(points_px)
        here = view.unrolled(self.radius)
        sources: dict[str, FloatArray] = {}
        for name, moved in self.base.shared_sensitivities(view.every_px).items():
            of_points, of_axis, of_square = np.split(moved, [len(points_px), len(points_px) + 2])
            columns = [
                view.moved(*part).unrolled(self.radius) - here
                for part in zip(
                    *(np.moveaxis(a, -1, 0) for a in (of_points, of_axis, of_square)), strict=True
                )
            ]
            sources[name] = np.stack(columns, axis=-1) / _STEP
        sources[self.source(RADIUS)] = (view.unrolled(self.radius + _STEP * self.u_radius) - here)[
            :, :, None
        ] / _STEP
        sources[self.source(AXIS_OFFSET)] = np.stack(list(self._axis_moves(view, here)), axis=-1) / _STEP
        spread = view.spread(self.radius)
        if spread is not None:
            sources[self.source(VIEWPOINT)] = spread[:, :, None]
        return sources | self._lens_sensitivities(points_px)

    def _axis_moves(self, view: View, here: FloatArray) -> Iterator[FloatArray]:
        by_pixel = self.base.jacobian_points(self.axis_px)
        for point in (0, 1):
            for axis in (0, 1):
                moved = np.zeros((2, 2))
                moved[point] = self.u_axis_px * by_pixel[point, :, axis]
                yield view.moved(None, moved, None).unrolled(self.radius) - here

    def alternatives(self, points_px: FloatArray) -> FloatArray | None:
        """Unroll under each hypothesis of the touching plane; see `PlaneScale`."""
        view = self.view(points_px)
        places = self.base.alternatives(view.every_px)
        if places is None:
            return None
        supposed = [view.at(place).unrolled(self.radius) for place in places]
        return np.array(supposed)

    def check_area(self, place: str) -> None:
        """Refuse what the touching plane's scale refuses."""
        self.base.check_area(place)

    def check_reach(self, points_px: FloatArray, place: str) -> frozenset[Flag]:
        """Also refuse what is seen at more than 60 degrees from its normal; see `PlaneScale`."""
        flags = self.base.check_reach(points_px, place)
        cosine = self.view(points_px).cosine(self.radius)
        if not np.isfinite(cosine).all():
            raise ScaleError(
                f"the mark reaches beside the cylinder of radius {self.radius:.4g} mm.",
                place=place,
                remedy="Check the radius and the axis, or mark only what lies on the cylinder.",
            )
        steepest = math.acos(max(-1.0, min(1.0, float(cosine.min()))))
        if steepest > MOST_INCIDENCE_RAD:
            raise ScaleError(
                f"the mark reaches where the surface is seen at {math.degrees(steepest):.0f} deg from its "
                f"normal; {math.degrees(MOST_INCIDENCE_RAD):.0f} deg is the most.",
                place=place,
                remedy="Photograph this side of the cylinder more squarely.",
            )
        return flags

    def view(self, points_px: FloatArray) -> View:
        """Points, line of contact and a small square on the touching plane."""
        square = self.base.centre_px + _SQUARE_PX * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
        every = np.concatenate([points, self.axis_px, square])
        ideal, _ = self.camera.ideal(square)
        blank = View(every, np.empty(0), np.empty(0), np.empty(0), ideal, self._pinholes(), self.inside)
        return blank.at(self.base.to_plane(every))

    def _pinholes(self) -> tuple[tuple[FloatArray, float | None], ...]:
        """Cameras this may be: (fx, fy, cx, cy), and the distance to hold them to where it is stated."""
        pinhole = self.camera.pinholes()[0]
        if self.camera.focal_known:
            return ((pinhole, None),)
        if self.camera.distance is not None:
            away, u = self.camera.distance.value, self.camera.distance.u
            return tuple((pinhole, max(away + k * u, 1e-3)) for k in ((-2.0, 2.0) if u else (0.0,)))
        return ((pinhole, None), (pinhole * [_LONG_FOCAL, _LONG_FOCAL, 1.0, 1.0], None))


@dataclass(frozen=True, eq=False)
class View:
    """Points, contact line and a small square, in the picture and on the touching plane.

    The square says how the plane lies to the camera, whatever kind of scale it has. On the plane all may
    have further dimensions in front, for as many draws.
    """

    every_px: FloatArray
    points: FloatArray
    axis: FloatArray
    square: FloatArray
    square_ideal: FloatArray
    pinholes: tuple[tuple[FloatArray, float | None], ...]
    inside: bool

    def at(self, plane: FloatArray) -> View:
        """Give the same picture points other places on the plane, (..., n + 6, 2)."""
        points, axis, square = np.split(plane, [-6, -4], axis=-2)
        return replace(self, points=points, axis=axis, square=square)

    def moved(self, points: FloatArray | None, axis: FloatArray | None, square: FloatArray | None) -> View:
        """Move each by a hundredth of what is given."""
        return replace(
            self,
            points=self.points if points is None else self.points + _STEP * points,
            axis=self.axis if axis is None else self.axis + _STEP * axis,
            square=self.square if square is None else self.square + _STEP * square,
        )

    def unrolled(self, radius: float) -> FloatArray:
        """Unrolled points, mm; the mean over the cameras this may be."""
        everywhere, _ = self.each(radius)
        mean: FloatArray = everywhere.mean(axis=0)
        return mean

    def spread(self, radius: float) -> FloatArray | None:
        """Half the difference between the cameras this may be, over sqrt 3; None where there is one."""
        everywhere, _ = self.each(radius)
        if len(everywhere) < 2:
            return None
        half: FloatArray = (everywhere[0] - everywhere[1]) / (2.0 * math.sqrt(3.0))
        return half

    def cosine(self, radius: float) -> FloatArray:
        """Cosines of the incidence, for every camera and point."""
        return self.each(radius)[1]

    def each(self, radius: float | FloatArray) -> tuple[FloatArray, FloatArray]:
        """Unrolled points and cosines of the incidence for every camera this may be."""
        start = self.axis[..., :1, :]
        along = self.axis[..., 1, :] - self.axis[..., 0, :]
        along = along / np.linalg.norm(along, axis=-1, keepdims=True)
        across = np.stack([along[..., 1], -along[..., 0]], axis=-1)
        frame = np.stack([across, along], axis=-2)
        turn = np.swapaxes(frame, -1, -2)
        touching = (self.points - start) @ turn
        places, cosines = [], []
        for pinhole, distance in self.pinholes:
            centre = self._camera_centre(pinhole, distance)
            foot = (centre[..., None, :2] - start) @ turn
            lens = np.concatenate([foot[..., 0, :], centre[..., 2:]], axis=-1)
            rolled, cosine = unroll(touching, radius, lens, inside=self.inside)
            places.append(rolled @ frame + start)
            cosines.append(cosine)
        return np.array(places), np.array(cosines)

    def _camera_centre(self, pinhole: FloatArray, distance: float | None) -> FloatArray:
        """Centre of the lens over the touching plane, mm: (x, y) and its height, shape (..., 3)."""
        h = _homography(self.square, self.square_ideal)
        centre = _centre(h, pinhole)
        if distance is None:
            return centre
        # The height is nearly proportional to the focal length.
        for _ in range(3):
            larger = np.ones((*centre.shape[:-1], 4))
            larger[..., :2] = distance / centre[..., 2:]
            pinhole = pinhole * larger
            centre = _centre(h, pinhole)
        return centre


def _homography(plane: FloatArray, ideal: FloatArray) -> FloatArray:
    """Plane (..., 4, 2) to picture through four points, h33 = 1 at the first of them: (..., 3, 3)."""
    start = plane[..., :1, :]
    near = plane - start
    rows = np.zeros((*near.shape[:-1], 2, 8))
    rows[..., 0, 0:2] = rows[..., 1, 3:5] = near
    rows[..., 0, 2] = rows[..., 1, 5] = 1.0
    rows[..., 6:8] = -ideal[:, :, None] * near[..., None, :]
    rows = rows.reshape(*near.shape[:-2], 8, 8)
    h = np.linalg.solve(rows, np.broadcast_to(ideal.reshape(8, 1), (*near.shape[:-2], 8, 1)))[..., 0]
    shift = np.zeros((*near.shape[:-2], 3, 3))
    shift[...] = np.eye(3)
    shift[..., :2, 2] = -start[..., 0, :]
    whole = np.concatenate([h, np.ones((*h.shape[:-1], 1))], axis=-1)
    matrix: FloatArray = whole.reshape(shift.shape) @ shift
    return matrix


def _centre(h: FloatArray, pinhole: FloatArray) -> FloatArray:
    """K^-1 H = lambda [r1 r2 t] with r3 = r1 x r2: the point that projects to nothing is the lens."""
    b = np.linalg.inv(camera_matrix(pinhole[..., :2], pinhole[..., 2:])) @ h
    normal = np.cross(b[..., 0], b[..., 1])
    b3 = normal / np.sqrt(np.linalg.norm(normal, axis=-1, keepdims=True))
    sides = np.stack([b[..., 0], b[..., 1], b3], axis=-1)
    place = np.linalg.solve(sides, -b[..., 2:])[..., 0]
    return np.concatenate([place[..., :2], np.abs(place[..., 2:])], axis=-1)


def on_cylinder(base: PlaneScale, surface: CylinderSurface) -> CylinderScale:
    """Put a scale onto the cylinder that its plane touches.

    Parameters
    ----------
    base : PlaneScale
    surface : CylinderSurface
        In mm.

    Raises
    ------
    ScaleError
        If no axis is given, or the reference does not lie near the line of contact.
    """
    place = base.camera.place
    if surface.axis is None or surface.axis[0] == surface.axis[1]:
        raise ScaleError(
            "the surface is a cylinder, but its axis is not marked.",
            place=place,
            remedy="Mark two points on the line along which the scale touches the cylinder.",
        )
    axis_px = np.array(surface.axis, dtype=np.float64)
    per_px = math.sqrt(abs(float(np.linalg.det(base.jacobian_points(axis_px.mean(axis=0)[None])[0]))))
    flags = {Flag.TOLERANCE_NOT_STATED} if surface.u_radius is None else set()
    scale = CylinderScale(
        kind=base.kind,
        camera=base.camera,
        parallax=base.parallax,
        hull_mm=base.hull_mm,
        width_mm=base.width_mm,
        flags=base.flags | flags,
        residuals_px=base.residuals_px,
        chi2=base.chi2,
        dof=base.dof,
        known=base.known,
        lens_moved=tuple(on_cylinder(moved, surface) for moved in base.lens_moved),
        base=replace(base, lens_moved=()),
        radius=surface.radius,
        u_radius=surface.u_radius or 0.0,
        axis_px=axis_px,
        u_axis_px=surface.sigma_px or _U_OFFSET_SHARE * surface.radius / per_px,
        inside=surface.seen_from == "inside",
    )
    try:
        scale.check_reach(base.centre_px[None], f"{place}, middle of the scale reference")
    except ScaleError as error:
        raise ScaleError(
            error.problem.replace("the mark", "the scale reference"),
            place=place,
            remedy="Lay the reference along the line of contact, and mark that line as the axis.",
        ) from error
    return scale
