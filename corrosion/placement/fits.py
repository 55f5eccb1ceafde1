"""Maps from the picture to the layout, fitted to point pairs, with what is uncertain of them.

Four or more pairs in general position give a homography. Pairs in one line, two always are, give a
similarity; the rest a similarity (scaled photo) or an affine map (no scale, or one that cannot see
tilt). All keep first-order sensitivities, so a mark's position
carries clicks, layout and scale together: C = Jh C_h Jh^T + Jx S Jx^T.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.linalg import cho_solve, cholesky

from corrosion.placement.pairs import Pairs, Rectifier
from corrosion.quantity import FloatArray
from corrosion.scale.homography import Homography, Reference, fit_homography

Model = Literal["similarity", "affine", "homography"]
PARAMETERS: dict[Model, int] = {"similarity": 4, "affine": 6, "homography": 8}

TILT_BLIND = frozenset({"bar", "rule"})
"""Scale kinds that measure along one line and leave foreshortening in the plane."""


@dataclass(frozen=True, eq=False)
class LayoutMap(ABC):
    """A fitted map from the picture to the layout.

    Attributes
    ----------
    residuals : ndarray of shape (n, 2)
        Layout points minus mapped image points, mm.
    chi2, dof : float, int
        Weighted sum of squared residuals and its degrees of freedom.
    """

    rectifier: Rectifier
    pairs: Pairs
    residuals: FloatArray
    chi2: float
    dof: int

    @abstractmethod
    def __call__(self, points_px: FloatArray) -> FloatArray:
        """Map pixels (n, 2) to (station, offset), mm."""

    @abstractmethod
    def jacobian(self, points_px: FloatArray) -> FloatArray:
        """Differentiate the map: (n, 2, 2), mm/px. Its determinant flips sign at the horizon."""

    @abstractmethod
    def doubts(self, points_px: FloatArray) -> FloatArray:
        """Movements of mapped points per standardised doubt of the fit and the scale: (n, 2, k), mm."""

    def covariance(self, point_px: FloatArray, sigma_px: float) -> FloatArray:
        """Covariance (2, 2) of one mapped point clicked with `sigma_px`, mm2, the layout's included."""
        one = point_px.reshape(1, 2)
        doubt = self.doubts(one)[0]
        click = sigma_px * self.jacobian(one)[0]
        covariance: FloatArray = doubt @ doubt.T + click @ click.T + self.pairs.u_layout**2 * np.eye(2)
        return covariance

    @property
    def rms(self) -> float | None:
        """Root mean square residual per coordinate over the degrees of freedom, mm; None for none."""
        return float(np.sqrt((self.residuals**2).sum() / self.dof)) if self.dof else None


def choose_model(pairs: Pairs, rectifier: Rectifier) -> Model:
    """Choose the map the pairs can carry."""
    if rectifier.scale is not None and not rectifier.scale.flat:
        # No plane-to-plane map rolls out a cylinder; its scale has done so already.
        return "similarity"
    if pairs.fix_a_plane:
        return "homography"
    metric = rectifier.scale is not None and rectifier.scale.kind not in TILT_BLIND
    return "similarity" if pairs.in_line or metric else "affine"


def can_carry(pairs: Pairs, model: Model) -> bool:
    """Whether pairs, some left out, still fix a map."""
    if model == "homography":
        return pairs.fix_a_plane
    return len(pairs) >= 2 and (model == "similarity" or not pairs.in_line)


def fit(pairs: Pairs, rectifier: Rectifier, model: Model, hand: int) -> LayoutMap:
    """Fit a map.

    Parameters
    ----------
    hand : int
        +1 if the layout turns like the picture (x right, y down), -1 if it is a mirror image. Only a
        similarity needs to be told.
    """
    if model == "homography":
        return _fit_homography(pairs, rectifier)
    return _fit_linear(pairs, rectifier, "affine" if model == "affine" else "similarity", hand)


def hand_of(pairs: Pairs) -> int:
    """Tell from three or more pairs whether the layout turns like the picture (+1) or not (-1)."""
    image = pairs.image - pairs.image.mean(axis=0)
    linear, *_ = np.linalg.lstsq(image, pairs.layout - pairs.layout.mean(axis=0), rcond=None)
    return 1 if np.linalg.det(linear) > 0 else -1


@dataclass(frozen=True, eq=False)
class LinearMap(LayoutMap):
    """A map linear in its parameters, over rectified points.

    Attributes
    ----------
    hand : int or None
        Of a similarity; None for an affine map.
    parameters : ndarray of shape (m,)
    own : ndarray of shape (m, 4 n)
        Movements of the parameters per standardised click and layout error.
    shared : ndarray of shape (m, k)
        The same per source that the control points share with the marks.
    """

    hand: int | None
    parameters: FloatArray
    own: FloatArray
    shared: FloatArray

    def __call__(self, points_px: FloatArray) -> FloatArray:
        """Map pixels to the layout; see `LayoutMap`."""
        return _design(self.rectifier.plane(points_px), self.hand) @ self.parameters

    def jacobian(self, points_px: FloatArray) -> FloatArray:
        """Differentiate the map; see `LayoutMap`."""
        return _linear_part(self.parameters, self.hand) @ self.rectifier.jacobian(points_px)

    def doubts(self, points_px: FloatArray) -> FloatArray:
        """Sensitivities of mapped points; see `LayoutMap`.

        A source shared by marks and control points moves both: a scale that is 1 % long leaves a mark
        half-way between two control points where it was.
        """
        design = _design(self.rectifier.plane(points_px), self.hand)
        moved = _linear_part(self.parameters, self.hand) @ self.rectifier.shared(points_px)
        return np.concatenate([design @ self.own, moved + design @ self.shared], axis=2)


def _design(plane: FloatArray, hand: int | None) -> FloatArray:
    """Differentiate the mapped points by the parameters: (n, 2, m)."""
    x, y = plane.T
    one, zero = np.ones_like(x), np.zeros_like(x)
    if hand is None:
        rows = [[x, y, one, zero, zero, zero], [zero, zero, zero, x, y, one]]
    else:
        rows = [[x, -hand * y, one, zero], [hand * y, x, zero, one]]
    return np.moveaxis(np.array(rows), 2, 0)


def _linear_part(parameters: FloatArray, hand: int | None) -> FloatArray:
    origin, right, down = _design(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), hand) @ parameters
    return np.column_stack([right - origin, down - origin])


def _fit_linear(
    pairs: Pairs, rectifier: Rectifier, model: Literal["similarity", "affine"], hand: int
) -> LinearMap:
    """Generalised least squares: the points' errors are correlated through the scale they share."""
    turned = hand if model == "similarity" else None
    plane, jacobian = rectifier.plane(pairs.image), rectifier.jacobian(pairs.image)
    common = rectifier.shared(pairs.image)
    design = _design(plane, turned).reshape(2 * len(pairs), -1)
    wanted = pairs.layout.ravel()
    first, *_ = np.linalg.lstsq(design, wanted, rcond=None)
    linear = _linear_part(np.asarray(first, dtype=np.float64), turned)
    clicks = _block_diagonal(pairs.sigma_px * linear @ jacobian)
    layout = pairs.u_layout * np.eye(len(wanted))
    moved = (linear @ common).reshape(2 * len(pairs), -1)
    spread = cholesky(clicks @ clicks.T + layout @ layout.T + moved @ moved.T, lower=True)
    gain = np.linalg.solve(
        design.T @ cho_solve((spread, True), design), cho_solve((spread, True), design).T
    )
    parameters: FloatArray = gain @ wanted
    residuals = wanted - design @ parameters
    return LinearMap(
        rectifier=rectifier,
        pairs=pairs,
        residuals=residuals.reshape(-1, 2),
        chi2=float(residuals @ cho_solve((spread, True), residuals)),
        dof=len(wanted) - PARAMETERS[model],
        hand=turned,
        parameters=parameters,
        own=np.hstack([gain @ clicks, gain @ layout]),
        shared=-gain @ moved,
    )


@dataclass(frozen=True, eq=False)
class HomographyMap(LayoutMap):
    """A homography between the ideal picture and the layout."""

    homography: Homography

    def __call__(self, points_px: FloatArray) -> FloatArray:
        """Map pixels to the layout; see `LayoutMap`."""
        return self.homography.back(self.rectifier.ideal(points_px)[0])[0]

    def jacobian(self, points_px: FloatArray) -> FloatArray:
        """Differentiate the map; see `LayoutMap`."""
        ideal, lens = self.rectifier.ideal(points_px)
        by_image, _ = self.homography.jacobians(self.homography.back(ideal)[0])
        jacobian: FloatArray = by_image @ lens
        return jacobian

    def doubts(self, points_px: FloatArray) -> FloatArray:
        """Sensitivities of mapped points; see `LayoutMap`."""
        fitted = self.homography
        _, by_parameters = fitted.jacobians(self(points_px))
        doubts: FloatArray = by_parameters @ np.hstack(
            [fitted.image_part, fitted.lens_part, fitted.plane_part]
        )
        return doubts


def _fit_homography(pairs: Pairs, rectifier: Rectifier) -> HomographyMap:
    ideal, lens = rectifier.ideal(pairs.image)
    homography = fit_homography(
        Reference(
            image=ideal,
            plane=pairs.layout,
            image_factor=_block_diagonal(pairs.sigma_px * lens),
            u_image=rectifier.u_lens_px,
            u_plane=pairs.u_layout,
            plane_common=np.empty((2 * len(pairs), 0)),
        )
    )
    return HomographyMap(
        rectifier=rectifier,
        pairs=pairs,
        residuals=pairs.layout - homography.back(ideal)[0],
        chi2=homography.chi2,
        dof=homography.dof,
        homography=homography,
    )


def _block_diagonal(blocks: FloatArray) -> FloatArray:
    """Put n blocks of 2 x 2 on a diagonal: (2n, 2n)."""
    n = len(blocks)
    out = np.zeros((n, 2, n, 2))
    out[np.arange(n), :, np.arange(n), :] = blocks
    return out.reshape(2 * n, 2 * n)
