"""Scale from four or more points of known place on the surface plane."""

from __future__ import annotations

import numpy as np

from corrosion.model import Photo, PointsScale, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.homography import Reference
from corrosion.scale.planar import PlanarScale, PlaneFit, planar_scale
from corrosion.terms import Flag


def fit_points(scale: PointsScale, photo: Photo, survey: SurveyFile, camera: Camera) -> PlanarScale:
    """Fit a homography to point pairs.

    Raises
    ------
    ScaleError
        See `planar_scale`.
    """
    del photo
    points_px = np.array(scale.image, dtype=np.float64)
    plane = np.array(scale.plane, dtype=np.float64)
    ideal, lens = camera.ideal(points_px)
    sigma = scale.sigma_px or survey.settings.reference_sigma_px
    reference = Reference(
        image=ideal,
        plane=plane,
        image_factor=click_factor(sigma, lens),
        u_image=camera.lens_u_px,
        u_plane=scale.u_plane or 0.0,
        plane_common=scale.u_scale * (plane - plane.mean(axis=0)).reshape(-1, 1),
    )
    flags = frozenset({Flag.TOLERANCE_NOT_STATED}) if scale.u_plane is None else frozenset()
    fit = PlaneFit(scale.kind, scale.height, scale.u_height, flags)
    return planar_scale(reference, points_px, fit, camera)


def click_factor(sigma_px: float, lens: FloatArray) -> FloatArray:
    """Movements of ideal points (2n, 2n) per standardised click error, from lens Jacobians (n, 2, 2)."""
    n = len(lens)
    factor = np.zeros((n, 2, n, 2))
    factor[np.arange(n), :, np.arange(n), :] = sigma_px * lens
    return factor.reshape(2 * n, 2 * n)
