"""Scale from a graduated rule: its ticks give the pitch and the tilt of the surface.

The ticks are fitted as a pencil of lines (`corrosion.scale.pencil`), whose horizon l and the camera K give
the surface's normal K^T l. The picture is rectified by turning that normal onto the optical axis; there the
ticks are parallel and equally spaced, and their spacing is the scale. What is not known of the camera
(focal length, middle of the picture, lens distortion) is in the budget as `lens`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from corrosion.errors import ScaleError
from corrosion.model import Photo, RuleScale, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.matrix_plane import STEP, MatrixPlane, apply, camera_matrix, rotation_to_axis
from corrosion.scale.parallax import parallax
from corrosion.scale.pencil import Pencil, fit_pencil, pitch_px
from corrosion.scale.plane import LENS, REFERENCE_POINTS, REFERENCE_TOLERANCE
from corrosion.terms import Flag

LEAST_PITCH_PX = 4.0
LEAST_TICKS = 8
MOST_LABEL_MISFIT = 0.03
MOST_SIGMA_PX = 1.0
MOST_TILT_FOR_AREA_DEG = 30.0
FOUND_SIGMA_PX = 0.1
# A surface photographed by hand, nothing said of its tilt (a rule of ours, used as a loose expectation).
_USUAL_TILT_DEG = 30.0
_MOST_EXPECTED_DEG = 60.0
# Without a calibration: focal length about 1.1 of the long side, within a factor of 1.4; the middle of the
# picture within 1 % of the side; distortion left over after the camera's own correction (rules of ours).
_USUAL_FOCAL, _U_LN_FOCAL = 1.1, 0.35
U_MIDDLE = 0.01
U_K1 = 0.02
_DISTANCE_STEPS = 8


@dataclass(frozen=True, eq=False)
class RulePlane(MatrixPlane):
    """The scale of a rule.

    `bent` is the matrix if the lens had the radial distortion k1 = `STEP` x 0.02 left, or None where the
    lens is calibrated; `pinhole` is (f, cx, cy). `rule`, `u_ln_focal` and `u_scale` are for draws.
    """

    bent: FloatArray | None
    pinhole: FloatArray
    rule: Rule
    u_ln_focal: float
    u_scale: float

    beyond: ClassVar[str] = "the rule"

    def _trusted_widths(self) -> float:
        return 1.0

    def _map_sources(self, ideal: FloatArray) -> dict[str, FloatArray]:
        sources = super()._map_sources(ideal)
        if self.bent is not None:
            change = apply(self.bent, bend(ideal, self.pinhole, STEP * U_K1)) - self._map(ideal)
            parts = [change[:, :, None] / STEP]
            sources[LENS] = np.concatenate([*parts, sources[LENS]], axis=2)
        return sources

    def check_reach(self, points_px: FloatArray, place: str) -> frozenset[Flag]:
        """Also refuse what lies beyond the horizon; see `PlaneScale`."""
        self.check_horizon(points_px, place)
        return super().check_reach(points_px, place)

    def check_area(self, place: str) -> None:
        """Refuse an area seen at more than 30 degrees; see `PlaneScale`."""
        tilt = math.degrees(self.tilt_rad)
        if tilt > MOST_TILT_FOR_AREA_DEG:
            raise ScaleError(
                f"the rule's ticks show a tilt of {tilt:.0f} deg; a rule carries an area up to "
                f"{MOST_TILT_FOR_AREA_DEG:g} deg only.",
                place=place,
                remedy="Photograph more squarely, or use four points or a printed target as the scale.",
            )


def bend(ideal: FloatArray, pinhole: FloatArray, k1: float | FloatArray) -> FloatArray:
    """Move ideal pixels (..., n, 2) by a radial distortion k1 about the middle of the picture."""
    f, cx, cy = pinhole
    away = ideal - [cx, cy]
    r2 = (away**2).sum(axis=-1, keepdims=True) / f**2
    bent: FloatArray = [cx, cy] + away * (1.0 + k1 * r2)
    return bent


def fit_rule(scale: RuleScale, photo: Photo, survey: SurveyFile, camera: Camera) -> RulePlane:
    """Fit the scale of a rule to the ticks found on it.

    Returns
    -------
    RulePlane
        Flags: `Flag.PERSPECTIVE_FITTED`, `Flag.RULE_UNCHECKED`, `Flag.TOLERANCE_NOT_STATED`.

    Raises
    ------
    ScaleError
        Ticks not found yet, fewer than 8, pitch below 4 px, more than 1 px off equal spacing; labels that
        contradict the stated tick by more than 3 %; raised too high at an unknown distance.
    """
    del photo, survey
    rule = Rule.of(scale, camera)
    _check(rule.pencil, camera.place)
    _check_labels(scale, rule, camera)
    pinhole, u_ln_focal = rule.camera_at_distance()
    matrix, normal = rule.rectified(pinhole)
    distance = rule.distance(pinhole)
    least = distance * camera.pinholes()[0, 0] / pinhole[0]
    raised = parallax(scale.height, scale.u_height, min(distance, least), camera)
    ends = rule.ends()
    hull = raised.factor * apply(matrix, ends)
    return RulePlane(
        kind=scale.kind,
        camera=camera,
        parallax=raised,
        hull_mm=hull,
        width_mm=float(np.linalg.norm(hull[1] - hull[0])),
        flags=camera.flags | raised.flags | _flags(scale, rule.pencil),
        residuals_px=rule.pencil.residuals_px[:, None] * [[1.0, 0.0]],
        chi2=float((rule.pencil.residuals_px**2).sum() / FOUND_SIGMA_PX**2),
        dof=len(rule.numbers) - 5,
        known=True,
        matrix=matrix,
        moved=rule.moved(pinhole, u_ln_focal, scale.u_scale or 0.0),
        supposed=None,
        reference_px=rule.seen_px,
        tilt_rad=math.acos(min(1.0, float(normal[2]))),
        bent=rule.bent(pinhole),
        pinhole=pinhole,
        rule=rule,
        u_ln_focal=u_ln_focal,
        u_scale=scale.u_scale or 0.0,
    )


@dataclass(frozen=True, eq=False)
class Rule:
    """Ticks of a rule `tick` mm apart: `numbers` (n,), `points` (n, 2) ideal pixels."""

    camera: Camera
    tick: float
    height: float
    numbers: FloatArray
    points: FloatArray
    seen_px: FloatArray
    direction: FloatArray
    pencil: Pencil
    horizon: FloatArray

    @classmethod
    def of(cls, scale: RuleScale, camera: Camera) -> Rule:
        """Fit the ticks."""
        pairs = [(tick.number, point) for tick in scale.ticks for point in tick.points]
        if not pairs:
            raise ScaleError(
                "the rule's ticks have not been found in the picture yet.",
                place=camera.place,
                remedy="Find them (photo page, or 'corrosion find'), or use the rule as a bar.",
            )
        first = min(number for number, _ in pairs)
        last = max(number for number, _ in pairs)
        numbers = np.array([number for number, _ in pairs], dtype=np.float64) - (first + last) / 2.0
        seen = np.array([point for _, point in pairs], dtype=np.float64)
        if len(np.unique(numbers)) < LEAST_TICKS:
            _refuse_few(len(np.unique(numbers)), camera.place)
        points, _ = camera.ideal(seen)
        line, _ = camera.ideal(np.array(scale.image, dtype=np.float64))
        sign = 1.0 if np.corrcoef(numbers, points @ (line[1] - line[0]))[0, 1] > 0 else -1.0
        horizon = _expected(camera, scale.max_tilt_deg)
        direction = sign * (line[1] - line[0])
        sigma = scale.sigma_px or FOUND_SIGMA_PX
        pencil = fit_pencil(numbers, points, direction, horizon, sigma)
        return cls(camera, scale.tick, scale.height, numbers, points, seen, direction, pencil, horizon)

    def ends(self) -> FloatArray:
        """First and last tick in the picture, ideal pixels."""
        return np.array([self.points[self.numbers == k].mean(axis=0) for k in _span(self.numbers)])

    def rectified(
        self, pinhole: FloatArray, parameters: FloatArray | None = None, pencil: Pencil | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Matrix to the rule's plane, mm, with its middle at (0, 0); and the plane's normal.

        `pinhole` (..., 3) and `parameters` (..., 5) may be many draws.
        """
        ticks = pencil or self.pencil
        a, b, g, h, p = np.moveaxis(ticks.parameters if parameters is None else parameters, -1, 0)
        m1 = np.stack([np.ones_like(a), a, b], axis=-1) @ ticks.frame
        m2 = np.stack([g, h, p], axis=-1) @ ticks.frame
        k = camera_matrix(pinhole[..., [0, 0]], pinhole[..., 1:])
        normal = (m2[..., None, :] @ k)[..., 0, :]
        normal *= np.copysign(1.0, normal[..., 2:]) / np.linalg.norm(normal, axis=-1, keepdims=True)
        plain = rotation_to_axis(normal) @ np.linalg.inv(k)
        back = np.linalg.inv(plain)
        start, spacing = ((m[..., None, :] @ back)[..., 0, :] for m in (m1, m2))
        size = self.tick * np.hypot(start[..., 0], start[..., 1]) / np.abs(spacing[..., 2])
        matrix = plain * np.stack([size, size, np.ones_like(size)], axis=-1)[..., None]
        shift = np.zeros_like(matrix)
        shift[...] = np.eye(3)
        shift[..., :2, 2] = -apply(matrix, self.points.mean(axis=0)[None])[..., 0, :]
        return shift @ matrix, normal

    def distance(self, pinhole: FloatArray) -> float:
        """Lens to the rule's plane along its normal, mm.

        The matrix is diag(Z, Z, 1) R K^-1, of determinant (Z / f)^2.
        """
        matrix, _ = self.rectified(pinhole)
        return float(pinhole[0] * math.sqrt(abs(np.linalg.det(matrix))))

    def camera_at_distance(self) -> tuple[FloatArray, float]:
        """Pinhole (f, cx, cy) and the standard uncertainty of ln f."""
        fx, fy, cx, cy = self.camera.pinholes()[0]
        if self.camera.focal_known:
            return np.array([math.sqrt(fx * fy), cx, cy]), 0.0
        pinhole = np.array([_USUAL_FOCAL * fx / self.camera.least_focal_ratio, cx, cy])
        stated = self.camera.distance
        if stated is None:
            return pinhole, _U_LN_FOCAL
        wanted = max(1e-3, stated.value - self.height)
        for _ in range(_DISTANCE_STEPS):
            pinhole[0] *= wanted / self.distance(pinhole)
        return pinhole, max(0.01, stated.u / wanted)

    def moved(self, pinhole: FloatArray, u_ln_focal: float, u_scale: float) -> dict[str, FloatArray]:
        """Matrices at `STEP` standard uncertainties of each source."""
        base = self.pencil.parameters
        parts = [self.rectified(pinhole, base + STEP * part)[0] for part in self.pencil.factor.T]
        moved = {REFERENCE_POINTS: np.array(parts)}
        matrix, _ = self.rectified(pinhole)
        if u_scale:
            moved[REFERENCE_TOLERANCE] = (np.diag([1.0 + STEP * u_scale] * 2 + [1.0]) @ matrix)[None]
        if not self.camera.focal_known:
            side = 2.0 * max(pinhole[1], pinhole[2])
            shifts = [pinhole * [math.exp(STEP * u_ln_focal), 1.0, 1.0]]
            shifts += [pinhole + STEP * U_MIDDLE * side * np.eye(3)[axis] for axis in (1, 2)]
            moved[LENS] = np.array([self.rectified(other)[0] for other in shifts])
        elif self.camera.lens_u_px:
            moved[LENS] = (np.diag([1.0 + STEP * self.lens_share] * 2 + [1.0]) @ matrix)[None]
        return moved

    @property
    def lens_share(self) -> float:
        """Relative standard uncertainty of the rule's length in the picture by a calibrated lens."""
        along = float(np.linalg.norm(np.diff(self.ends(), axis=0)))
        return math.sqrt(2.0) * self.camera.lens_u_px / along

    def bent(self, pinhole: FloatArray) -> FloatArray | None:
        """Matrix fitted anew to ticks that a little distortion has moved."""
        if self.camera.focal_known:
            return None
        points = bend(self.points, pinhole, STEP * U_K1)
        pencil = fit_pencil(self.numbers, points, self.direction, self.horizon, self.pencil.sigma_px)
        return self.rectified(pinhole, pencil=pencil)[0]


def _span(numbers: FloatArray) -> tuple[float, float]:
    return float(numbers.min()), float(numbers.max())


def _expected(camera: Camera, max_tilt_deg: float | None) -> FloatArray:
    """Rows that turn the horizon into the tangent of the tilt along x and y, over its standard deviation.

    The normal of a horizon l is K^T l: its first two components over the third are the tangents.
    """
    focal = float(camera.pinholes()[0, 0])
    if not camera.focal_known:
        focal *= _USUAL_FOCAL / camera.least_focal_ratio
    most = _USUAL_TILT_DEG if max_tilt_deg is None else min(max_tilt_deg, _MOST_EXPECTED_DEG)
    deviation = max(math.tan(math.radians(most)), 1e-3) / math.sqrt(3.0)
    return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]) * (focal / deviation)


def _refuse_few(count: int, place: str) -> None:
    raise ScaleError(
        f"only {count} ticks of the rule were found; at least {LEAST_TICKS} are needed.",
        place=place,
        remedy="Draw the line over more of the rule, or use the rule as a bar.",
    )


def _check(pencil: Pencil, place: str) -> None:
    pitch = pitch_px(pencil)
    if pitch < LEAST_PITCH_PX:
        raise ScaleError(
            f"the rule's ticks are {pitch:.1f} px apart; at least {LEAST_PITCH_PX:g} px are needed.",
            place=place,
            remedy="Photograph from nearer, or use a coarser graduation of the rule.",
        )
    if pencil.sigma_px > MOST_SIGMA_PX:
        raise ScaleError(
            f"the ticks lie {pencil.sigma_px:.1f} px off equal spacing; {MOST_SIGMA_PX:g} px is the most.",
            place=place,
            remedy="Draw the line along one graduation of one straight rule.",
        )


def _check_labels(scale: RuleScale, rule: Rule, camera: Camera) -> None:
    """Compare the distance of the two labelled ends with what the ticks say."""
    if scale.labels is None:
        return
    matrix, _ = rule.rectified(rule.camera_at_distance()[0])
    ends, _ = camera.ideal(np.array(scale.image, dtype=np.float64))
    along = np.diff(apply(matrix, rule.ends()), axis=0)[0]
    between = np.diff(apply(matrix, ends), axis=0)[0] @ along / np.linalg.norm(along)
    stated = abs(scale.labels[1] - scale.labels[0])
    if stated > 0 and abs(abs(between) / stated - 1.0) <= MOST_LABEL_MISFIT:
        return
    raise ScaleError(
        f"by its ticks of {scale.tick:g} mm the rule measures {abs(between):.2f} mm between the ends of "
        f"its line, which are labelled {stated:g} mm apart.",
        place=camera.place,
        remedy="Check the labels, and that 'tick' is the distance of the ticks the line crosses.",
    )


def _flags(scale: RuleScale, pencil: Pencil) -> frozenset[Flag]:
    flags = {Flag.PERSPECTIVE_FITTED} if pencil.perspective else set()
    if scale.labels is None:
        flags.add(Flag.RULE_UNCHECKED)
    if scale.u_scale is None:
        flags.add(Flag.TOLERANCE_NOT_STATED)
    return frozenset(flags)
