"""Scale from a disc of known diameter: the ellipse it is seen as.

With semi-axes a and b the area scale at the disc is D^2 / (4 a b), whatever lens and tilt. The linear map
that takes the ellipse back to the circle also undoes the foreshortening. It cannot see which side is
farther off: away from the disc the area scale changes by 3 d sin t / Z one way or the other. Both poses of
the circle are therefore kept as hypotheses (Q = K^T C K and its eigenvectors, as in the two-pose solution
of a circle's view), unless a point on the farther side is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from corrosion.errors import ScaleError
from corrosion.model import DiscScale, Photo, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.reference_sizes import COIN_U_MM, coin_named
from corrosion.scale.camera import Camera
from corrosion.scale.ellipse import Ellipse, fit_ellipse, points_of, shape_of, widest_gap_rad
from corrosion.scale.matrix_plane import STEP, MatrixPlane, apply, rotation_to_axis
from corrosion.scale.parallax import parallax
from corrosion.scale.plane import LENS, REFERENCE_POINTS, REFERENCE_TOLERANCE
from corrosion.terms import Flag

RIM_EDGE = "rim edge offset"
LEAST_AXIS_PX = 30.0
LEAST_AXIS_RATIO = 0.5
MOST_RMS_PX = 1.0
MOST_GAP_RAD = math.pi
MOST_SIDE_DOUBT = 0.10
# Where the seen rim lies within the width of its edge, px (a rule of ours; half a pixel each way).
DEFAULT_EDGE_PX = 0.3
# Without a calibration or a distance: from the least focal length to assume up to a very long one.
_FOCAL_MULTIPLES = (1.0, 1.5, 2.25, 4.0, 10.0)
_DISTANCE_STEPS = 12


@dataclass(frozen=True, eq=False)
class DiscPlane(MatrixPlane):
    """The scale of a disc; `matrix` is affine unless the farther side is known.

    `sides` are the supposed matrices of the ellipse as fitted, without the doubt of its shape. `disc` is
    what the matrix was made from, for draws.
    """

    sides: FloatArray
    disc: Disc

    beyond: ClassVar[str] = "the disc"

    def _trusted_widths(self) -> float:
        return 1.0

    def check_reach(self, points_px: FloatArray, place: str) -> frozenset[Flag]:
        """Also refuse marks where the unknown side of the tilt matters too much; see `PlaneScale`."""
        self.check_horizon(points_px, place)
        doubt = self.side_doubt(points_px.mean(axis=0))
        if doubt > MOST_SIDE_DOUBT:
            raise ScaleError(
                f"the disc cannot tell which side is farther off, and at this mark areas change by up to "
                f"{doubt:.0%} with that; {MOST_SIDE_DOUBT:.0%} is the most.",
                place=place,
                remedy="Lay the disc beside the mark, photograph more squarely, or state the photo's "
                "'distance', the disc's 'max_tilt_deg', or a point on the farther side as its 'far'.",
            )
        return super().check_reach(points_px, place)

    def side_doubt(self, point_px: FloatArray) -> float:
        """Largest relative departure of the area scale at a point under either pose: 3 d sin t / Z."""
        square = point_px + 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        ideal, _ = self.camera.ideal(square)
        area = _area(apply(self.matrix, ideal))
        return float(np.abs(_area(apply(self.sides, ideal)) / area - 1.0).max())


def fit_disc(scale: DiscScale, photo: Photo, survey: SurveyFile, camera: Camera) -> DiscPlane:
    """Fit the scale of a disc to points on its rim.

    Raises
    ------
    ScaleError
        Rim not found yet; disc smaller than 30 px, seen by less than half its rim or at more than
        60 deg; points more than 1 px off an ellipse; raised too high at an unknown distance.
    """
    del photo
    disc = Disc.of(scale, survey, camera)
    poses, sides = disc.possible(scale)
    raised = parallax(disc.height, scale.u_height, disc.least_distance(), camera)
    sided = disc.side_known(scale)
    matrix = _middle(poses) if sided else disc.affine(disc.ellipse.parameters)
    rim = raised.factor * apply(matrix, points_of(disc.ellipse.parameters, 64))
    flags = camera.flags | raised.flags
    if not sided:
        flags |= {Flag.TILT_DIRECTION_UNKNOWN}
    if scale.u_diameter is None and scale.coin is None:
        flags |= {Flag.TOLERANCE_NOT_STATED}
    return DiscPlane(
        kind=scale.kind,
        camera=camera,
        parallax=raised,
        hull_mm=rim,
        width_mm=raised.factor * disc.diameter,
        flags=flags,
        residuals_px=disc.ellipse.residuals[:, None] * [[1.0, 0.0]],
        chi2=float((disc.ellipse.residuals**2).sum() / disc.sigma**2),
        dof=len(disc.ellipse.residuals) - 5,
        known=True,
        matrix=matrix,
        moved=disc.moved(matrix),
        supposed=poses,
        sides=sides,
        disc=disc,
        reference_px=np.array(scale.image, dtype=np.float64),
        tilt_rad=disc.tilt,
    )


def _area(squares: FloatArray) -> FloatArray:
    x, y = squares[..., 0], squares[..., 1]
    return np.asarray(
        np.abs((x * np.roll(y, -1, axis=-1) - np.roll(x, -1, axis=-1) * y).sum(axis=-1)) / 2.0
    )


def _middle(matrices: FloatArray) -> FloatArray:
    """Mean matrix, each scaled to 1 in its last entry."""
    mean: FloatArray = (matrices / matrices[:, 2:, 2:]).mean(axis=0)
    return mean


@dataclass(frozen=True, eq=False)
class Disc:
    """A disc of `diameter` +- `u_diameter` at `height`, mm, seen as `ellipse` (ideal pixels)."""

    camera: Camera
    diameter: float
    u_diameter: float
    height: float
    ellipse: Ellipse
    sigma: float
    u_edge: float

    @classmethod
    def of(cls, scale: DiscScale, survey: SurveyFile, camera: Camera) -> Disc:
        """Fit the rim."""
        diameter, u_diameter, height = _size(scale, camera.place)
        points = np.array(scale.image, dtype=np.float64).reshape(-1, 2)
        ideal, _ = camera.ideal(points)
        ellipse = _fitted(ideal, camera.place)
        sigma = scale.sigma_px or survey.settings.reference_sigma_px
        # The stated noise of a point, or what the points themselves show, whichever is larger.
        spread = (max(sigma, ellipse.rms) / max(ellipse.rms, 1e-9)) ** 2
        ellipse = replace(ellipse, covariance=spread * ellipse.covariance)
        u_edge = DEFAULT_EDGE_PX if scale.u_edge_px is None else scale.u_edge_px
        return cls(camera, diameter, u_diameter, height, ellipse, sigma, u_edge)

    @property
    def tilt(self) -> float:
        """Angle of the line of sight to the surface normal, rad, as the axes have it."""
        a, b = self.ellipse.semi_axes
        return math.acos(min(1.0, b / a))

    def affine(self, parameters: FloatArray) -> FloatArray:
        """Matrix that takes the ellipse to a circle of the disc's diameter about (0, 0)."""
        linear = self.diameter / 2.0 * np.linalg.inv(shape_of(parameters))
        matrix = np.eye(3)
        matrix[:2, :2] = linear
        matrix[:2, 2] = -linear @ parameters[:2]
        return matrix

    def moved(self, matrix: FloatArray) -> dict[str, FloatArray]:
        """Matrices at `STEP` standard uncertainties of each source.

        Near the disc they differ as the affine matrices do, so those carry the change.
        """
        parameters = self.ellipse.parameters
        back = np.linalg.inv(self.affine(parameters))
        values, vectors = np.linalg.eigh(self.ellipse.covariance)
        parts = (vectors * np.sqrt(np.maximum(values, 0.0))).T
        grown = np.array([0.0, 0.0, 1.0, 0.0, 1.0])

        def changed(step: FloatArray) -> FloatArray:
            return matrix @ back @ self.affine(parameters + STEP * step)

        moved = {REFERENCE_POINTS: np.array([changed(part) for part in parts])}
        # A rim seen too far out everywhere enlarges both semi-axes alike.
        if self.u_edge:
            moved[RIM_EDGE] = changed(self.u_edge * grown)[None]
        if self.camera.lens_u_px:
            moved[LENS] = changed(self.camera.lens_u_px * grown)[None]
        if self.u_diameter:
            larger = np.diag([1.0 + STEP * self.u_diameter / self.diameter] * 2 + [1.0])
            moved[REFERENCE_TOLERANCE] = (larger @ matrix)[None]
        return moved

    def possible(self, scale: DiscScale) -> tuple[FloatArray, FloatArray]:
        """Matrices (h, 3, 3) of the poses that the stated farther side and largest tilt leave.

        Of every focal length and of every likely shape of the ellipse there are two poses to begin with.
        """
        poses, tilts, as_fitted = self._poses()
        kept = np.ones(len(poses), dtype=bool)
        if scale.max_tilt_deg is not None:
            kept &= tilts <= scale.max_tilt_deg
        if scale.far is not None:
            kept &= self._on_the_side(poses, scale.far)
        if not kept.any():
            raise ScaleError(
                f"the disc is seen at a tilt of {tilts.min():.0f} deg or more, but the largest is "
                f"stated as {scale.max_tilt_deg:g} deg.",
                place=self.camera.place,
                remedy="Correct 'max_tilt_deg', or mark the rim again.",
            )
        sides = poses[kept & as_fitted]
        return poses[kept], sides if len(sides) else poses[kept]

    def _poses(self) -> tuple[FloatArray, FloatArray, np.ndarray]:
        """All poses, their tilts in deg, and whether they are of the ellipse as fitted."""
        matrices, tilts, as_fitted = [], [], []
        for number, parameters in enumerate(self._shapes()):
            rim = points_of(parameters, 64)
            for pinhole in self._pinholes(rim, parameters):
                for normal in _normals(parameters, pinhole):
                    matrices.append(self._rectified(pinhole, normal, rim))
                    tilts.append(math.degrees(math.acos(min(1.0, float(normal[2])))))
                    as_fitted.append(number == 0)
        return np.array(matrices), np.array(tilts), np.array(as_fitted)

    def side_known(self, scale: DiscScale) -> bool:
        """Whether the farther side is named, or the largest tilt rules the other pose out by far.

        Near square on the two poses are close and a small error of the rim swaps them, so a pose must
        exceed the stated tilt by half of it and 5 degrees (a rule of ours) to be ruled out.
        """
        if scale.far is not None:
            return True
        if scale.max_tilt_deg is None:
            return False
        poses, tilts, _ = self._poses()
        return self._agree_on_a_side(poses[tilts <= 1.5 * scale.max_tilt_deg + 5.0])

    def _agree_on_a_side(self, poses: FloatArray) -> bool:
        """Whether all poses slope the same way."""
        w = poses[:, 2, :2] @ self.ellipse.centre + poses[:, 2, 2]
        slopes = poses[:, 2, :2] / w[:, None]
        return bool((slopes @ slopes.mean(axis=0) > 0).all())

    def _shapes(self) -> list[FloatArray]:
        """Return the ellipse, and ones stretched either way by two standard uncertainties of its shape.

        Near square on, the tilt hangs on the difference of the axes, and so on the rim's uncertainty.
        """
        u_fit = math.sqrt(float(np.trace(self.ellipse.covariance[2:, 2:])) / 3.0)
        by = 2.0 * math.hypot(u_fit, self.u_edge)
        stretch = by * np.array([[0, 0, 1.0, 0, -1.0], [0, 0, 0, 1.0, 0]])
        every = [self.ellipse.parameters, *(self.ellipse.parameters + s for s in (*stretch, *-stretch))]
        return [p for p in every if np.linalg.eigvalsh(shape_of(p)).min() > 0]

    def _pinholes(self, rim: FloatArray, parameters: FloatArray) -> FloatArray:
        known = self.camera.pinholes()
        if self.camera.focal_known:
            return known
        if self.camera.distance is None:
            return np.vstack([known * [m, m, 1.0, 1.0] for m in _FOCAL_MULTIPLES])
        stated = self.camera.distance
        found = []
        for pinhole in known:
            for sign in (-2.0, 0.0, 2.0):
                distance = max(1e-3, stated.value - self.height + sign * stated.u)
                found.append(self._at_distance(pinhole, distance, rim, parameters))
        return np.array(found)

    def _at_distance(
        self, pinhole: FloatArray, distance: float, rim: FloatArray, parameters: FloatArray
    ) -> FloatArray:
        """Set the focal length so that the disc lies at `distance` along the surface normal."""
        for _ in range(_DISTANCE_STEPS):
            _, found = _metric(pinhole, _normals(parameters, pinhole)[0], rim, self.diameter)
            pinhole = pinhole * [distance / found, distance / found, 1.0, 1.0]
        return pinhole

    def _rectified(self, pinhole: FloatArray, normal: FloatArray, rim: FloatArray) -> FloatArray:
        """Map by one pose, moved so that the disc's centre is at (0, 0) there too."""
        matrix, _ = _metric(pinhole, normal, rim, self.diameter)
        middle = apply(matrix, rim).mean(axis=0)
        shift = np.eye(3)
        shift[:2, 2] = -middle
        return np.asarray(shift @ matrix)

    def least_distance(self) -> float:
        """Least distance of the lens from the disc's plane along its normal, mm."""
        rim = points_of(self.ellipse.parameters, 64)
        pinhole = self.camera.pinholes()[0]
        return _metric(pinhole, _normals(self.ellipse.parameters, pinhole)[0], rim, self.diameter)[1]

    def _on_the_side(self, poses: FloatArray, far: tuple[float, float]) -> np.ndarray:
        """Which poses have their surface farther off at `far` than at the disc."""
        ideal, _ = self.camera.ideal(np.array([far, self.ellipse.centre]))
        w = poses[:, 2, :2] @ ideal.T + poses[:, 2, 2:]
        # w is 1 / depth up to a factor, so it falls towards the farther side.
        chosen = w[:, 0] < w[:, 1]
        if not chosen.any():
            raise ScaleError(
                "the point named as the disc's farther side fits neither pose of it.",
                place=self.camera.place,
                remedy="Name a point where the surface is clearly farther from the lens, or leave it out.",
            )
        return np.asarray(chosen)


def _metric(
    pinhole: FloatArray, normal: FloatArray, rim: FloatArray, diameter: float
) -> tuple[FloatArray, float]:
    """Matrix of a plane with this normal, scaled by the disc; and its distance along the normal, mm."""
    fx, fy, cx, cy = pinhole
    k = np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])
    matrix = rotation_to_axis(normal) @ np.linalg.inv(k)
    distance = (
        diameter / 2.0 * math.sqrt(math.pi / _polygon_growth(len(rim)) / float(_area(apply(matrix, rim))))
    )
    return np.diag([distance, distance, 1.0]) @ matrix, distance


def _polygon_growth(count: int) -> float:
    """Circle's area over that of the inscribed regular polygon."""
    step = 2.0 * math.pi / count
    return step / math.sin(step)


def _normals(parameters: FloatArray, pinhole: FloatArray) -> list[FloatArray]:
    """Return both unit normals, towards positive depth, of the plane of a circle seen as an ellipse."""
    fx, fy, cx, cy = pinhole
    inverse = np.linalg.inv(shape_of(parameters))
    a = inverse @ inverse
    c = parameters[:2]
    conic = np.block([[a, -(a @ c)[:, None]], [-(a @ c)[None, :], np.array([[c @ a @ c - 1.0]])]])
    k = np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])
    values, axes = np.linalg.eigh(k.T @ conic @ k)
    l3, l2, l1 = values
    first = math.sqrt(max(0.0, (l1 - l2) / (l1 - l3)))
    third = math.sqrt(max(0.0, (l2 - l3) / (l1 - l3)))
    both = [axes @ np.array([third, 0.0, sign * first]) for sign in (1.0, -1.0)]
    return [np.asarray(n if n[2] > 0 else -n) for n in both]


def _size(scale: DiscScale, place: str) -> tuple[float, float, float]:
    """Diameter, its standard uncertainty, and the rim's height."""
    if scale.coin is not None:
        coin = coin_named(scale.coin, place=place)
        u = COIN_U_MM if scale.u_diameter is None else scale.u_diameter
        return coin.diameter_mm, u, scale.height or coin.thickness_mm
    assert scale.diameter is not None  # noqa: S101 -- the model has checked
    return scale.diameter, scale.u_diameter or 0.0, scale.height


def _fitted(points: FloatArray, place: str) -> Ellipse:
    if len(points) == 0:
        raise ScaleError(
            "the disc's rim has not been found in the picture yet.",
            place=place,
            remedy="Find it (photo page, or 'corrosion find'), or click points round the rim.",
        )
    ellipse = fit_ellipse(points)
    if ellipse is None:
        raise ScaleError(
            f"the {len(points)} rim points lie on no ellipse.",
            place=place,
            remedy="Click six or more points all round the rim.",
        )
    _check(ellipse, points, place)
    return ellipse


def _check(ellipse: Ellipse, points: FloatArray, place: str) -> None:
    a, b = ellipse.semi_axes
    gap = widest_gap_rad(ellipse, points)
    problem = remedy = ""
    if 2.0 * a < LEAST_AXIS_PX:
        problem = f"the disc is {2 * a:.0f} px wide; at least {LEAST_AXIS_PX:g} px are needed."
        remedy = "Photograph from nearer, or use a larger disc."
    elif gap > MOST_GAP_RAD:
        problem = f"{math.degrees(gap):.0f} deg of the disc's rim are not seen; 180 deg is the most."
        remedy = "Uncover the disc, or mark its rim all round."
    elif b / a < LEAST_AXIS_RATIO:
        problem = f"the disc is seen at about {math.degrees(math.acos(b / a)):.0f} deg; 60 deg is the most."
        remedy = "Photograph more squarely."
    elif ellipse.rms > MOST_RMS_PX:
        problem = f"the rim points lie {ellipse.rms:.1f} px off an ellipse; {MOST_RMS_PX:g} px is the most."
        remedy = "Mark the rim again; is it a round disc lying flat?"
    if problem:
        raise ScaleError(problem, place=place, remedy=remedy)
