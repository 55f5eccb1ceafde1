"""Geometry of a surface that is a cylinder: where a ray meets it, and its unrolling.

The frame touches the cylinder: x across its axis and y along it, in the plane that touches the surface
along the line x = 0; z towards the camera. Seen from outside the axis lies at z = -R and the surface falls
away from the camera; seen from inside it lies at z = +R and the surface comes towards it. A picture point
is given by where its ray meets that plane.
"""

from __future__ import annotations

import numpy as np

from corrosion.quantity import FloatArray

MOST_INCIDENCE_RAD = np.pi / 3.0
"""Line of sight to surface normal (rule of ours): 60 degrees is |x| / R = 0.87 where seen square on."""


def unroll(
    touching: FloatArray, radius: float | FloatArray, camera: FloatArray, *, inside: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Unroll points: follow each ray between the touching plane and the cylinder.

    The ray goes on from (x, y, 0) by w (m, n, -1), with m, n its slopes to the normal. With r = R from
    outside and r = -R from inside it meets x^2 + (z + r)^2 = R^2 where
    (1 + m^2) w^2 - 2 (r - m x) w + x^2 = 0. The root nearer to the plane counts: from outside it is where
    the ray comes first, from inside where it ends (w < 0, before the plane). From far and square on both
    are the arc R asin(x / R); from near, what is inside is nearer to the lens by R (1 - cos phi).

    Parameters
    ----------
    touching : ndarray of shape (..., n, 2)
        (x, y) where the rays pass through the touching plane.
    radius : float or ndarray of shape (...)
    camera : ndarray of shape (..., 3)
        The lens's centre, in the same frame and unit; its z is its height over the plane.
    inside : bool
        Whether the surface is the inside of the cylinder.

    Returns
    -------
    unrolled : ndarray of shape (..., n, 2)
        (R phi, y), phi the angle from the touching line; NaN where a ray misses the cylinder.
    cosine : ndarray of shape (..., n)
        Of the incidence: line of sight to surface normal.
    """
    side = -1.0 if inside else 1.0
    size = np.asarray(radius, dtype=np.float64)[..., None]
    x, y = touching[..., 0], touching[..., 1]
    centre = camera[..., None, :]
    m, n = (x - centre[..., 0]) / centre[..., 2], (y - centre[..., 1]) / centre[..., 2]
    reach = side * size - m * x
    with np.errstate(invalid="ignore"):
        # The smaller root in the form that loses no digits to cancellation.
        w = x**2 / (reach + side * np.sqrt(reach**2 - (1.0 + m**2) * x**2))
    angle = np.arctan2(x + w * m, size - side * w)
    cosine: FloatArray = (np.cos(angle) - side * m * np.sin(angle)) / np.sqrt(1.0 + m**2 + n**2)
    return np.stack([size * angle, y + w * n], axis=-1), cosine
