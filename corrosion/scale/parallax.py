"""Parallax of a reference that stands above the surface under inspection."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from corrosion.errors import ScaleError
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.terms import Flag

_MOST_AREA_DOUBT = 0.10


@dataclass(frozen=True)
class Parallax:
    """Correction from the reference's plane to the surface, a parallel plane further away.

    Seen from one centre, parallel planes are similar figures, so the correction is one factor at any
    tilt: ``factor`` = D / (D - h), D the distance of the lens from the surface along its normal.

    Attributes
    ----------
    factor : float
        Multiplies every length.
    relative : ndarray of shape (k,)
        Relative standard uncertainty of a length from k independent sources.
    flags : frozenset of Flag
    """

    factor: float = 1.0
    relative: FloatArray = field(default_factory=lambda: np.empty(0))
    flags: frozenset[Flag] = frozenset()


def parallax(height: float, u_height: float, reference_distance: float, camera: Camera) -> Parallax:
    """Correct for a raised reference where the distance is known, widen the uncertainty where not.

    Parameters
    ----------
    height, u_height : float
        Of the reference above the surface, mm.
    reference_distance : float
        Lens to the reference's plane along its normal, mm, from the scale itself and the calibrated
        focal length; from the least focal length to assume where there is no calibration, and then it
        is the least distance.

    Raises
    ------
    ScaleError
        If the reference stands so high that, at an unknown distance, areas are in doubt by more than
        10 %, or the stated distance does not even clear it.
    """
    if height == 0.0 and u_height == 0.0:
        return Parallax()
    flags = frozenset({Flag.REFERENCE_RAISED}) if height > 0 else frozenset()
    if camera.distance is not None:
        return _at_stated_distance(height, u_height, camera, flags)
    relative_u = u_height / reference_distance
    if camera.focal_known:
        return Parallax(1.0 + height / reference_distance, np.array([relative_u]), flags)
    # D / (D - h) - 1 = h / (D - h), with D - h the distance of the reference itself.
    half_width = height / reference_distance
    if 2.0 * half_width > _MOST_AREA_DOUBT:
        raise ScaleError(
            f"the reference stands {height:.3g} mm above the surface and the distance of the lens is not "
            f"known; areas could be wrong by {200.0 * half_width:.0f} %.",
            place=camera.place,
            remedy="State the photo's 'distance', or lay the reference on the surface.",
        )
    return Parallax(1.0, np.array([half_width / math.sqrt(3.0), relative_u]), flags)


def _at_stated_distance(height: float, u_height: float, camera: Camera, flags: frozenset[Flag]) -> Parallax:
    assert camera.distance is not None  # noqa: S101 -- the only caller has checked
    distance = camera.distance.value
    clear = distance - height
    if clear <= 0:
        raise ScaleError(
            f"the reference stands {height:.3g} mm above the surface, but the lens is only "
            f"{distance:.3g} mm from it.",
            place=camera.place,
            remedy="Correct 'height' or 'distance'.",
        )
    # d ln(D / (D - h)): by D it is -h / (D (D - h)), by h it is 1 / (D - h).
    by_distance = height / (distance * clear) * camera.distance.u
    return Parallax(distance / clear, np.array([by_distance, u_height / clear]), flags)
