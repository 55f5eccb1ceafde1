"""All the ways a photo may be tilted when only the largest tilt is known.

A bar gives one length and says nothing of the tilt. Rather than bound each measure by a formula, the
picture is rectified for a fan of tilts, and every measure is taken again under each: what perspective
does across a mark far from the bar, or far from the middle of a wide picture, is then included. Small
marks come out as by the closed form, (1 / cos t)(1 + 3 d sin t / Z) - 1 for an area d from the bar.

Tilt is the angle between optical axis and surface normal. Without a lens profile the optical axis is taken
to pass through the middle of the picture: a cropped picture breaks this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from corrosion.errors import ScaleError
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera

_DIRECTIONS = 24
_SHARES_OF_TILT = (0.5, 1.0)
# Without a calibration the focal length may also be very long: perspective then vanishes.
_FOCAL_MULTIPLES = (1.0, 10.0)
_DISTANCE_STEPS = 8


@dataclass(frozen=True, eq=False)
class TiltFan:
    """Cameras over a plane: `axes` (h, 3, 3) rows e1, e2, normal; `focal` and `principal` (h, 2) px."""

    axes: FloatArray
    focal: FloatArray
    principal: FloatArray

    def plane(self, ideal: FloatArray, place: str) -> FloatArray:
        """Intersect the rays of ideal pixels (n, 2) with each plane at distance 1: shape (h, n, 2)."""
        slopes = (ideal[None] - self.principal[:, None]) / self.focal[:, None]
        rays = np.concatenate([slopes, np.ones((*slopes.shape[:2], 1))], axis=2)
        along = rays @ np.swapaxes(self.axes, 1, 2)
        if float(along[..., 2].min()) < 0.05:
            raise ScaleError(
                "at the stated largest tilt the line of sight here may run along the surface.",
                place=place,
                remedy="Photograph more squarely, or use four points on the surface as the scale.",
            )
        return along[..., :2] / along[..., 2:]


def tilt_fan(
    camera: Camera, bar_px: FloatArray, length_mm: float, max_tilt_rad: float, height_mm: float = 0.0
) -> TiltFan:
    """Build the fan of tilts up to `max_tilt_rad` (optical axis to surface normal).

    Parameters
    ----------
    camera : Camera
        Its focal length is the calibrated one, or follows from the stated distance, or runs from the
        least one to assume upwards.
    bar_px : ndarray of shape (2, 2)
        Ends of the bar, ideal pixels.
    length_mm : float
        Length of the bar.
    height_mm : float
        Of the bar above the surface, from which the camera's distance is stated.
    """
    pinholes = camera.pinholes()
    tilts, directions, multiples, which = (
        grid.ravel()
        for grid in np.meshgrid(
            max_tilt_rad * np.array(_SHARES_OF_TILT),
            np.arange(_DIRECTIONS) * (2.0 * math.pi / _DIRECTIONS),
            [1.0] if camera.focal_known else _FOCAL_MULTIPLES,
            np.arange(len(pinholes)),
        )
    )
    chosen = pinholes[which]
    fan = TiltFan(_axes(tilts, directions), multiples[:, None] * chosen[:, :2], chosen[:, 2:])
    if camera.distance is None or camera.focal_known:
        return fan
    # The stated distance less and plus 2 u, in turn.
    sign = np.where(multiples > 1.0, 2.0, -2.0)
    distance = camera.distance.value - height_mm + sign * camera.distance.u
    return _at_distance(fan, bar_px, length_mm / np.maximum(distance, 1e-3), camera.place)


def _axes(tilts: FloatArray, directions: FloatArray) -> FloatArray:
    """Return plane axes e1 (along the tilt axis), e2 (down the slope) and the normal: shape (h, 3, 3)."""
    c, s = np.cos(directions), np.sin(directions)
    ct, st, zero = np.cos(tilts), np.sin(tilts), np.zeros_like(tilts)
    rows = [np.stack(row, axis=1) for row in ((s, -c, zero), (c * ct, s * ct, -st), (c * st, s * st, ct))]
    return np.stack(rows, axis=1)


def _at_distance(fan: TiltFan, bar_px: FloatArray, slope: FloatArray, place: str) -> TiltFan:
    """Set each focal length so that the bar subtends its `slope`, length over distance (h,)."""
    first = np.linalg.norm(bar_px[1] - bar_px[0]) / slope
    fan = TiltFan(fan.axes, np.column_stack([first, first]), fan.principal)
    for _ in range(_DISTANCE_STEPS):
        ends = fan.plane(bar_px, place)
        found = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        fan = TiltFan(fan.axes, fan.focal * (found / slope)[:, None], fan.principal)
    return fan
