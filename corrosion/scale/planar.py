"""Scale from known points of the surface plane, and what makes such a scale unfit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NoReturn

import numpy as np
import shapely
from scipy.special import chdtri

from corrosion.errors import ScaleError
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.homography import Homography, Reference, fit_homography
from corrosion.scale.parallax import parallax
from corrosion.scale.plane import LENS, REFERENCE_POINTS, REFERENCE_TOLERANCE, PlaneScale
from corrosion.terms import Flag

LEAST_TRIANGLE_SHARE = 0.05
LEAST_W_RATIO = 0.3
MOST_TILT_DEG = 70.0
RESIDUAL_LEVEL = 0.95
# Residuals five times what the clicks should give are a wrong point or a bent reference, not noise.
MOST_REDUCED_CHI2 = 25.0
_MOST_CORNERS_TRIED = 8


@dataclass(frozen=True, eq=False)
class PlanarScale(PlaneScale):
    """A homography with its covariance."""

    homography: Homography
    reference_px: FloatArray
    reference_plane: FloatArray

    def _map(self, ideal: FloatArray) -> FloatArray:
        return self.homography.back(ideal)[0]

    def _map_jacobian(self, ideal: FloatArray) -> FloatArray:
        return self.homography.jacobians(self._map(ideal))[0]

    def _map_sources(self, ideal: FloatArray) -> dict[str, FloatArray]:
        fit = self.homography
        _, by_parameters = fit.jacobians(self._map(ideal))
        parts = {
            REFERENCE_POINTS: fit.image_part,
            REFERENCE_TOLERANCE: fit.plane_part,
            LENS: fit.lens_part,
        }
        return {name: by_parameters @ part for name, part in parts.items() if part.size}

    @property
    def centre_px(self) -> FloatArray:
        """Mean of the reference points in the picture, px."""
        centre: FloatArray = self.reference_px.mean(axis=0)
        return centre

    def check_reach(self, points_px: FloatArray, place: str) -> frozenset[Flag]:
        """Also refuse what lies beyond, or near, the horizon; see `PlaneScale`."""
        ideal, _ = self.camera.ideal(points_px)
        _, w = self.homography.back(ideal)
        every = np.concatenate([w, self.homography.denominators(self.reference_plane)])
        if every.min() <= 0 or every.min() < LEAST_W_RATIO * every.max():
            raise ScaleError(
                "the mark lies so far up the slope that the picture shrinks it more than "
                f"{1 / LEAST_W_RATIO:.1f} times against the reference's near end, or beyond the horizon.",
                place=place,
                remedy="Take the photo again more squarely, with the reference beside the mark.",
            )
        return super().check_reach(points_px, place)


@dataclass(frozen=True, eq=False)
class PlaneFit:
    """What `planar_scale` needs beside the points: kind, raised height and further misfit.

    `chi2`, `dof` add to the fit's own: a card's edges have a misfit before any homography.
    """

    kind: str
    height: float
    u_height: float
    flags: frozenset[Flag]
    chi2: float = 0.0
    dof: int = 0


def planar_scale(
    reference: Reference, reference_px: FloatArray, fit: PlaneFit, camera: Camera
) -> PlanarScale:
    """Fit a homography to a reference and refuse what cannot be trusted.

    Parameters
    ----------
    reference : Reference
        Points in ideal pixels and mm.
    reference_px : ndarray of shape (n, 2)
        The same points as clicked.
    fit : PlaneFit
    camera : Camera

    Raises
    ------
    ScaleError
        Points in line, crossing or out of order; view too oblique; misfit extreme.
    """
    place = camera.place
    _check_spread(reference.image, f"{place}, scale points in the picture")
    _check_spread(reference.plane, f"{place}, scale points on the plane")
    reference = _turned_like_the_picture(reference)
    homography = _fit(reference, place)
    _check_view(homography, reference, place)
    chi2, dof = homography.chi2 + fit.chi2, homography.dof + fit.dof
    _check_misfit(homography, chi2, dof, place)
    if dof and chi2 > dof:
        homography = _inflated(homography, math.sqrt(chi2 / dof))
    nearest = _plane_distance(homography, camera)
    raised = parallax(fit.height, fit.u_height, nearest, camera)
    hull = shapely.convex_hull(shapely.multipoints(raised.factor * reference.plane))
    return PlanarScale(
        kind=fit.kind,
        camera=camera,
        parallax=raised,
        hull_mm=shapely.get_coordinates(hull)[:-1],
        width_mm=_longer_side(hull),
        flags=camera.flags | raised.flags | fit.flags | _residual_flags(chi2, dof),
        residuals_px=homography.residuals,
        chi2=chi2,
        dof=dof,
        known=True,
        homography=homography,
        reference_px=reference_px,
        reference_plane=reference.plane,
    )


def _longer_side(hull: shapely.Geometry) -> float:
    corners = shapely.get_coordinates(shapely.oriented_envelope(hull))
    return float(np.linalg.norm(np.diff(corners[:3], axis=0), axis=1).max())


def _turned_like_the_picture(reference: Reference) -> Reference:
    """Flip the plane's y where the points were given with y up: mapped outlines keep their sense."""
    centred = reference.plane - reference.plane.mean(axis=0)
    affine, *_ = np.linalg.lstsq(centred, reference.image - reference.image.mean(axis=0), rcond=None)
    if np.linalg.det(affine) > 0:
        return reference
    flip = np.array([1.0, -1.0])
    common = reference.plane_common * np.tile(flip, len(reference.plane))[:, None]
    return replace(reference, plane=reference.plane * flip, plane_common=common)


def _check_spread(points: FloatArray, place: str) -> None:
    """Refuse four points of which three are nearly in line, or one lies inside the others' triangle."""
    points = np.unique(points, axis=0)
    if len(points) < 4:
        _refuse_spread(f"only {len(points)} of them are different", place)
    hull = shapely.convex_hull(shapely.multipoints(points))
    if shapely.get_type_id(hull) != shapely.GeometryType.POLYGON:
        _refuse_spread("they all lie in one line", place)
    corners = shapely.get_coordinates(hull)[:-1]
    if len(points) == 4 and len(corners) < 4:
        _refuse_spread("one of the four lies within, or on the edge of, the others' triangle", place)
    inner = [p for p in points if not (np.abs(corners - p).sum(axis=1) == 0).any()]
    tried = np.array([*_thinned(corners), *inner])[:_MOST_CORNERS_TRIED]
    best = max(_least_triangle(tried[list(four)]) for four in combinations(range(len(tried)), 4))
    share = best / hull.area
    if share < LEAST_TRIANGLE_SHARE:
        _refuse_spread(f"three are nearly in line (their triangle is {share:.1%} of the whole)", place)


def _refuse_spread(what: str, place: str) -> NoReturn:
    raise ScaleError(
        f"{what}, so they do not fix the plane.",
        place=place,
        remedy="Choose four points that make a wide quadrilateral.",
    )


def _thinned(corners: FloatArray) -> FloatArray:
    if len(corners) <= _MOST_CORNERS_TRIED:
        return corners
    chosen: FloatArray = corners[np.linspace(0, len(corners) - 1, _MOST_CORNERS_TRIED).astype(int)]
    return chosen


def _least_triangle(four: FloatArray) -> float:
    a, b, c, d = four
    return min(abs(_twice_area(*three)) / 2 for three in ((a, b, c), (a, b, d), (a, c, d), (b, c, d)))


def _twice_area(a: FloatArray, b: FloatArray, c: FloatArray) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _fit(reference: Reference, place: str) -> Homography:
    """Fit; a fit that breaks down has its horizon among the points."""
    try:
        with np.errstate(all="ignore"):
            homography = fit_homography(reference)
            w = homography.denominators(reference.plane)
            by_image, _ = homography.jacobians(reference.plane.mean(axis=0)[None])
        if w.min() > 0 and np.linalg.det(by_image[0]) > 0:
            return homography
    except np.linalg.LinAlgError:
        pass
    raise ScaleError(
        "picture and plane points do not belong together: no camera sees them in this order.",
        place=place,
        remedy="Give both lists in the same order; go round a card corner by corner.",
    )


def _check_view(homography: Homography, reference: Reference, place: str) -> None:
    w = homography.denominators(reference.plane)
    by_image, _ = homography.jacobians(reference.plane.mean(axis=0)[None])
    small, large = np.sort(np.linalg.svd(by_image[0], compute_uv=False))
    tilt = math.degrees(math.acos(min(1.0, small / large)))
    if w.min() < LEAST_W_RATIO * w.max():
        raise ScaleError(
            f"one end of the reference is {w.max() / w.min():.1f} times as far from the lens as the other; "
            f"{1 / LEAST_W_RATIO:.1f} times is the most.",
            place=place,
            remedy="Take the photo again more squarely, or from further away.",
        )
    if tilt > MOST_TILT_DEG:
        raise ScaleError(
            f"the surface is seen at about {tilt:.0f} deg from square; {MOST_TILT_DEG:g} deg is the most.",
            place=place,
            remedy="Take the photo again more squarely.",
        )


def _check_misfit(homography: Homography, chi2: float, dof: int, place: str) -> None:
    if dof == 0 or chi2 <= MOST_REDUCED_CHI2 * dof:
        return
    size = np.linalg.norm(homography.residuals, axis=1)
    worst = int(np.argmax(size))
    named = f"; point {worst + 1} is worst, {size[worst]:.1f} px off" if size[worst] > 1e-6 else ""
    raise ScaleError(
        f"the reference points miss one plane by {math.sqrt(chi2 / dof):.1f} times their stated "
        f"uncertainty{named}.",
        place=place,
        remedy="Click that point again, check its plane coordinates, and that the reference lies flat.",
    )


def _inflated(homography: Homography, by: float) -> Homography:
    """Widen the fit by its own misfit: C_h times the reduced chi squared."""
    return replace(homography, image_part=by * homography.image_part, lens_part=by * homography.lens_part)


def _residual_flags(chi2: float, dof: int) -> frozenset[Flag]:
    if dof == 0:
        return frozenset({Flag.NO_RESIDUAL})
    high = chi2 > float(chdtri(dof, 1.0 - RESIDUAL_LEVEL))
    return frozenset({Flag.RESIDUAL_HIGH}) if high else frozenset()


def _plane_distance(homography: Homography, camera: Camera) -> float:
    """Distance of the lens from the plane along its normal, mm, for the camera's focal length.

    K^-1 H = lambda [r1 r2 t], so r1 x r2 is the normal and n . t the distance.
    """
    fx, fy, cx, cy = camera.pinholes()[0]
    k = np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])
    b = np.linalg.inv(k) @ homography.full_matrix
    normal = np.cross(b[:, 0], b[:, 1])
    lambda_squared = float(np.linalg.norm(normal))
    return float(abs(normal @ b[:, 2]) / lambda_squared**1.5)
