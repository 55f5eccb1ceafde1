"""Geometry of a surface that is the outside of a cylinder: where a ray meets it, and its unrolling.

The frame touches the cylinder: x across its axis and y along it, in the plane that touches the surface
along the line x = 0; z towards the camera, so that the axis lies at z = -R. A picture point is given by
where its ray meets that plane.
"""

from __future__ import annotations

import numpy as np

from corrosion.quantity import FloatArray

MOST_INCIDENCE_RAD = np.pi / 3.0
"""Line of sight to surface normal (rule of ours): 60 degrees is |x| / R = 0.87 where seen square on."""


def unroll(touching: FloatArray, radius: float, camera: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unroll points: follow each ray from the touching plane down to the cylinder.

    The ray goes on from (x, y, 0) by w (m, n, -1), with m, n its slopes to the normal. It meets
    x^2 + (z + R)^2 = R^2 where (1 + m^2) w^2 - 2 (R - m x) w + x^2 = 0; the nearer root counts. From far
    and square on this is the arc R asin(x / R).

    Parameters
    ----------
    touching : ndarray of shape (..., 2)
        (x, y) where the rays pass through the touching plane.
    radius : float
    camera : ndarray of shape (3,)
        The lens's centre, in the same frame and unit; its z is its height over the plane.

    Returns
    -------
    unrolled : ndarray of shape (..., 2)
        (R phi, y), phi the angle from the touching line; NaN where a ray misses the cylinder.
    cosine : ndarray of shape (...,)
        Of the incidence: line of sight to surface normal.
    """
    x, y = touching[..., 0], touching[..., 1]
    m, n = (x - camera[0]) / camera[2], (y - camera[1]) / camera[2]
    reach = radius - m * x
    with np.errstate(invalid="ignore"):
        # The smaller root in the form that loses no digits to cancellation.
        w = x**2 / (reach + np.sqrt(reach**2 - (1.0 + m**2) * x**2))
    angle = np.arctan2(x + w * m, radius - w)
    cosine: FloatArray = (np.cos(angle) - m * np.sin(angle)) / np.sqrt(1.0 + m**2 + n**2)
    return np.stack([radius * angle, y + w * n], axis=-1), cosine
