"""Scale from a rectangle of known size: corners clicked, or edges fitted and intersected."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corrosion.errors import ScaleError
from corrosion.model import ID1_SIZE_MM, CardScale, Photo, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.homography import Reference
from corrosion.scale.planar import PlanarScale, PlaneFit, planar_scale
from corrosion.scale.points import click_factor
from corrosion.terms import Flag

_LEAST_EDGE_PX = 20.0
_LEAST_SINE = 0.2


@dataclass(frozen=True, eq=False)
class Corners:
    """Four corners with the covariance factor of their errors and the misfit of the edges.

    `ideal` (4, 2) ideal pixels; `factor` (8, m) px per standardised click error; `seen_px` (4, 2) for
    placing the card in the picture.
    """

    ideal: FloatArray
    factor: FloatArray
    seen_px: FloatArray
    chi2: float = 0.0
    dof: int = 0


def fit_card(scale: CardScale, photo: Photo, survey: SurveyFile, camera: Camera) -> PlanarScale:
    """Fit a homography to a rectangle, an ID-1 card unless its size is given.

    Raises
    ------
    ScaleError
        If the corners do not go round a convex figure, an edge is too short, or as `planar_scale`.
    """
    del photo
    sigma = scale.sigma_px or survey.settings.reference_sigma_px
    corners = _clicked(scale, sigma, camera) if scale.edges is None else _fitted(scale, sigma, camera)
    turn = _turn(corners.ideal, camera.place)
    width, height = scale.size or ID1_SIZE_MM
    plane = np.array([[0, 0], [width, 0], [width, height], [0, height]]) * [1.0, turn]
    reference = Reference(
        image=corners.ideal,
        plane=plane,
        image_factor=corners.factor,
        u_image=camera.lens_u_px,
        u_plane=0.0,
        plane_common=_size_errors(plane, scale.u_size or 0.0),
    )
    flags = frozenset({Flag.TOLERANCE_NOT_STATED}) if scale.u_size is None else frozenset()
    fit = PlaneFit(scale.kind, scale.height, scale.u_height, flags, corners.chi2, corners.dof)
    return planar_scale(reference, corners.seen_px, fit, camera)


def _clicked(scale: CardScale, sigma: float, camera: Camera) -> Corners:
    points_px = np.array(scale.image, dtype=np.float64)
    ideal, lens = camera.ideal(points_px)
    return Corners(ideal, click_factor(sigma, lens), points_px)


def _fitted(scale: CardScale, sigma: float, camera: Camera) -> Corners:
    """Corner i is where edge i-1 meets edge i."""
    edges = [_Edge.through(points, sigma, camera, i) for i, points in enumerate(scale.edges or ())]
    corners, factor = np.empty((4, 2)), np.zeros((4, 2, 4, 2))
    for i, (before, after) in enumerate(zip([edges[-1], *edges[:-1]], edges, strict=True)):
        normals = np.array([before.normal, after.normal])
        if abs(np.linalg.det(normals)) < _LEAST_SINE:
            raise ScaleError(
                f"card edges {(i - 1) % 4 + 1} and {i + 1} are nearly parallel.",
                place=camera.place,
                remedy="Give the four edges in order round the card.",
            )
        inverse = np.linalg.inv(normals)
        corners[i] = inverse @ [before.normal @ before.middle, after.normal @ after.middle]
        # Moving a line by its offset and its turn moves the corner on it by offset + turn x distance.
        factor[i, :, (i - 1) % 4, :] = np.outer(inverse[:, 0], before.offsets_at(corners[i]))
        factor[i, :, i, :] = np.outer(inverse[:, 1], after.offsets_at(corners[i]))
    chi2, dof = sum(e.chi2 for e in edges), sum(e.dof for e in edges)
    # The rounded corner itself is not in the picture; the nearest clicks show where the card lies.
    seen = np.array([np.mean(points, axis=0) for points in scale.edges or ()])
    return Corners(corners, factor.reshape(8, 8), seen, chi2, dof)


@dataclass(frozen=True, eq=False)
class _Edge:
    """A line through undistorted points: total least squares, uncertain in offset and turn."""

    middle: FloatArray
    direction: FloatArray
    normal: FloatArray
    u_offset: float
    u_turn: float
    chi2: float
    dof: int

    @classmethod
    def through(cls, points: list[tuple[float, float]], sigma: float, camera: Camera, i: int) -> _Edge:
        ideal, lens = camera.ideal(np.array(points, dtype=np.float64))
        middle = ideal.mean(axis=0)
        _, _, axes = np.linalg.svd(ideal - middle, full_matrices=True)
        along = (ideal - middle) @ axes[0]
        if float(np.ptp(along)) < _LEAST_EDGE_PX:
            raise ScaleError(
                f"the points on card edge {i + 1} span {np.ptp(along):.1f} px; "
                f"at least {_LEAST_EDGE_PX:g} px are needed.",
                place=camera.place,
                remedy="Spread the points along the whole straight part of the edge.",
            )
        # Click noise across the line, as the lens passes it on.
        across = sigma * float(np.sqrt(((axes[1] @ lens) ** 2).sum(axis=1).mean()))
        misfit = float((((ideal - middle) @ axes[1]) ** 2).sum() / across**2)
        u_turn = across / float(np.sqrt((along**2).sum()))
        u_offset = across / float(np.sqrt(len(points)))
        return cls(middle, axes[0], axes[1], u_offset, u_turn, misfit, len(points) - 2)

    def offsets_at(self, point: FloatArray) -> FloatArray:
        """Movement of the line at a point of it, across itself, per standardised offset and turn."""
        return np.array([self.u_offset, self.u_turn * float(self.direction @ (point - self.middle))])


def _turn(corners: FloatArray, place: str) -> float:
    """+1 where the corners go round like the plane's (x right, y down), -1 the other way."""
    sides = np.roll(corners, -1, axis=0) - corners
    following = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    if (turns > 0).all():
        return 1.0
    if (turns < 0).all():
        return -1.0
    raise ScaleError(
        "the card's corners cross over or one points inwards.",
        place=place,
        remedy="Give the four corners in order round the card.",
    )


def _size_errors(plane: FloatArray, u_size: float) -> FloatArray:
    """Movements (8, 2) of the corners when width and height are each one u_size larger."""
    grown = np.zeros((4, 2, 2))
    sides = np.ptp(plane, axis=0)
    for axis in (0, 1):
        grown[:, axis, axis] = u_size * (plane[:, axis] - plane[:, axis].mean()) / sides[axis]
    return grown.reshape(8, 2)
