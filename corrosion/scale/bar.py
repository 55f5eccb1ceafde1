"""Scale from a bar: two points a known distance apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from corrosion.errors import ScaleError
from corrosion.model import BarScale, Photo, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.parallax import parallax
from corrosion.scale.plane import LENS, REFERENCE_POINTS, REFERENCE_TOLERANCE, TILT, PlaneScale
from corrosion.scale.tilt import TiltFan, tilt_fan
from corrosion.terms import Flag

LEAST_BAR_PX = 50.0
MOST_TILT_FOR_AREA_DEG = 30.0
# A bar's own neighbourhood: beyond one length the perspective across the mark begins to tell.
_NEAR_LENGTHS = 1.0


@dataclass(frozen=True, eq=False)
class BarPlane(PlaneScale):
    """A similarity: one scale for the whole picture.

    Attributes
    ----------
    ends_px, ends_ideal : ndarray of shape (2, 2)
        The bar's ends, px, as clicked and undistorted.
    mm_per_px : float
    relative : dict of str to float
        Relative standard uncertainty of a length by source; ``tilt`` is for the bar's own place, and
        what is measured takes the half-width over `alternatives` instead.
    max_tilt_deg : float or None
    fan : TiltFan or None
    """

    ends_px: FloatArray
    ends_ideal: FloatArray
    length_mm: float
    mm_per_px: float
    relative: dict[str, float]
    max_tilt_deg: float | None
    fan: TiltFan | None

    beyond: ClassVar[str] = "the bar"

    def _map(self, ideal: FloatArray) -> FloatArray:
        points: FloatArray = self.mm_per_px * (ideal - self.ends_ideal.mean(axis=0))
        return points

    def _map_jacobian(self, ideal: FloatArray) -> FloatArray:
        return np.broadcast_to(self.mm_per_px * np.eye(2), (len(ideal), 2, 2))

    def _map_sources(self, ideal: FloatArray) -> dict[str, FloatArray]:
        points = self._map(ideal)[:, :, None]
        return {name: points * share for name, share in self.relative.items()}

    def _trusted_widths(self) -> float:
        return _NEAR_LENGTHS

    @property
    def centre_px(self) -> FloatArray:
        """Middle of the bar in the picture, px."""
        centre: FloatArray = self.ends_px.mean(axis=0)
        return centre

    def alternatives(self, points_px: FloatArray) -> FloatArray | None:
        """Rectify under every tilt of the fan, each scaled by the bar; see `PlaneScale`."""
        if self.fan is None:
            return None
        ideal, _ = self.camera.ideal(points_px)
        ends = self.fan.plane(self.ends_ideal, self.camera.place)
        size = self.length_mm / np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        places: FloatArray = self.fan.plane(ideal, self.camera.place) * size[:, None, None]
        places *= self.parallax.factor
        return places

    def check_area(self, place: str) -> None:
        """Refuse an area at a stated largest tilt above 30 degrees; see `PlaneScale`."""
        if self.max_tilt_deg is None or self.max_tilt_deg <= MOST_TILT_FOR_AREA_DEG:
            return
        raise ScaleError(
            f"a bar with a largest tilt of {self.max_tilt_deg:g} deg cannot carry an area; "
            f"{MOST_TILT_FOR_AREA_DEG:g} deg is the most.",
            place=place,
            remedy="Photograph more squarely and state the smaller tilt, or use four points as the scale.",
        )


def fit_bar(scale: BarScale, photo: Photo, survey: SurveyFile, camera: Camera) -> BarPlane:
    """Fit the scale of a bar (metrology: s = L / d, relative variance (u_L/L)^2 + 2 sigma^2/d^2).

    Raises
    ------
    ScaleError
        If the bar is shorter than 50 px in the picture, or stands too high above the surface.
    """
    del photo
    ends_px = np.array(scale.image, dtype=np.float64)
    ideal, lens = camera.ideal(ends_px)
    along = ideal[1] - ideal[0]
    length_px = float(np.linalg.norm(along))
    _check_length(length_px, camera.place)
    tilt = None if scale.max_tilt_deg is None else math.radians(scale.max_tilt_deg)
    sigma = scale.sigma_px or survey.settings.reference_sigma_px
    mm_per_px = scale.length / length_px
    raised = parallax(scale.height, scale.u_height, _least_distance(camera, mm_per_px, tilt), camera)
    fan = None if not tilt else tilt_fan(camera, ideal, scale.length, tilt, scale.height)
    if fan is not None:
        # A tilt so large that not even the bar need be seen is an error of the photo, not of a mark.
        fan.plane(ideal, camera.place)
    ends_mm = raised.factor * mm_per_px * (ideal - ideal.mean(axis=0))
    return BarPlane(
        kind=scale.kind,
        camera=camera,
        parallax=raised,
        hull_mm=ends_mm,
        width_mm=raised.factor * scale.length,
        flags=camera.flags | raised.flags | _flags(scale),
        residuals_px=np.empty((0, 2)),
        chi2=0.0,
        dof=0,
        known=tilt is not None,
        ends_px=ends_px,
        ends_ideal=ideal,
        length_mm=scale.length,
        mm_per_px=mm_per_px,
        relative=_relative(scale, camera, sigma * _along(lens, along), length_px),
        max_tilt_deg=scale.max_tilt_deg,
        fan=fan,
    )


def _check_length(length_px: float, place: str) -> None:
    if length_px >= LEAST_BAR_PX:
        return
    raise ScaleError(
        f"the bar is {length_px:.1f} px long in the picture; at least {LEAST_BAR_PX:g} px are needed.",
        place=place,
        remedy="Use a longer bar, or photograph from nearer.",
    )


def _along(lens: FloatArray, along: FloatArray) -> float:
    """Return the standard uncertainty of the bar's length per px of click noise; sqrt 2 undistorted."""
    unit = along / np.linalg.norm(along)
    return float(np.sqrt(((unit @ lens) ** 2).sum()))


def _least_distance(camera: Camera, mm_per_px: float, tilt: float | None) -> float:
    """Least distance of the lens from the bar's plane: a bar down the slope looks short by cos^2 t."""
    foreshortening = math.cos(tilt or 0.0) ** 2
    return float(mm_per_px * camera.pinholes()[0, :2].min() * foreshortening)


def _relative(scale: BarScale, camera: Camera, u_length_px: float, length_px: float) -> dict[str, float]:
    relative = {
        REFERENCE_POINTS: u_length_px / length_px,
        REFERENCE_TOLERANCE: (scale.u_length or 0.0) / scale.length,
        LENS: math.sqrt(2.0) * camera.lens_u_px / length_px,
    }
    if scale.max_tilt_deg:
        half_width = 1.0 / math.cos(math.radians(scale.max_tilt_deg)) - 1.0
        relative[TILT] = half_width / math.sqrt(3.0)
    return {name: share for name, share in relative.items() if share > 0}


def _flags(scale: BarScale) -> frozenset[Flag]:
    flags = {Flag.TILT_NOT_STATED if scale.max_tilt_deg is None else Flag.TILT_ASSUMED}
    if scale.u_length is None:
        flags.add(Flag.TOLERANCE_NOT_STATED)
    return frozenset(flags)
