"""Homography from a plane to the picture, with the covariance of its fit.

Normalised direct linear transform, then Gauss-Newton on the weighted image residuals (R. Hartley and
A. Zisserman, "Multiple View Geometry in Computer Vision", 2nd ed., algorithms 4.2 and 4.3, from memory).
The covariance is that of the 8 parameters with h33 = 1 after normalisation, so it exists for 4 points
(A. Criminisi, I. Reid, A. Zisserman, "A Plane Measuring Device", BMVC 1997, warns of forms that do not).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corrosion.quantity import FloatArray

_MOST_STEPS = 30
_SETTLED = 1e-13


@dataclass(frozen=True, eq=False)
class Similarity:
    """``normalised = scale * (points - centre)``."""

    scale: float
    centre: FloatArray

    @classmethod
    def of(cls, points: FloatArray) -> Similarity:
        """Move the centroid to 0 and the mean distance from it to sqrt 2."""
        centre = points.mean(axis=0)
        mean = float(np.linalg.norm(points - centre, axis=1).mean())
        return cls(np.sqrt(2.0) / mean, centre)

    def __call__(self, points: FloatArray) -> FloatArray:
        """Normalise points of shape (n, 2)."""
        moved: FloatArray = self.scale * (points - self.centre)
        return moved

    @property
    def matrix(self) -> FloatArray:
        """The same as a 3 x 3 matrix."""
        x, y = -self.scale * self.centre
        return np.array([[self.scale, 0, x], [0, self.scale, y], [0, 0, 1]])


@dataclass(frozen=True, eq=False)
class Reference:
    """Points known in the picture and on the plane, with what is uncertain of them.

    Attributes
    ----------
    image : ndarray of shape (n, 2)
        Ideal pixels.
    plane : ndarray of shape (n, 2)
        mm.
    image_factor : ndarray of shape (2 n, m)
        Movements of the image coordinates (x0, y0, x1, ...) per standardised click error, px.
    u_image : float
        Further independent standard uncertainty of every image coordinate (lens), px.
    u_plane : float
        Independent standard uncertainty of every plane coordinate, mm.
    plane_common : ndarray of shape (2 n, q)
        Movements of the plane coordinates by q common causes such as print scale, mm.
    """

    image: FloatArray
    plane: FloatArray
    image_factor: FloatArray
    u_image: float
    u_plane: float
    plane_common: FloatArray


@dataclass(frozen=True, eq=False)
class Homography:
    """A fitted plane-to-picture homography.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3)
        Normalised plane to normalised image, h33 = 1.
    to_image, to_plane : Similarity
        The two normalisations.
    image_part, lens_part, plane_part : ndarray of shape (8, k)
        Movements of the 8 parameters per standardised source; each part times its transpose is that
        source's share of the covariance C_h.
    residuals : ndarray of shape (n, 2)
        Image minus fit, px.
    chi2 : float
        Weighted sum of squared residuals.
    dof : int
        2 n - 8.
    """

    matrix: FloatArray
    to_image: Similarity
    to_plane: Similarity
    image_part: FloatArray
    lens_part: FloatArray
    plane_part: FloatArray
    residuals: FloatArray
    chi2: float
    dof: int

    def denominators(self, plane: FloatArray) -> FloatArray:
        """Return the denominator w at plane points (n, 2): 1 amid the reference, 0 at the horizon."""
        w: FloatArray = self.to_plane(plane) @ self.matrix[2, :2] + 1.0
        return w

    def back(self, image: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Map ideal pixels (n, 2) to the plane; also w there, negative beyond the horizon.

        Returns
        -------
        plane : ndarray of shape (n, 2)
            mm.
        w : ndarray of shape (n,)
        """
        normalised = np.column_stack([self.to_image(image), np.ones(len(image))])
        q = normalised @ np.linalg.inv(self.matrix).T
        with np.errstate(divide="ignore", invalid="ignore"):
            plane = q[:, :2] / q[:, 2:] / self.to_plane.scale + self.to_plane.centre
            # x~ = H X~ / w, so the third component of H^-1 x~ is 1 / w.
            w = 1.0 / q[:, 2]
        return plane, w

    def jacobians(self, plane: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Differentiate the back-projection at plane points (n, 2).

        The picture point being fixed, J_X dX + J_h dh = 0, so dX/dx = J_X^-1 and dX/dh = -J_X^-1 J_h.

        Returns
        -------
        by_image : ndarray of shape (n, 2, 2)
            mm/px.
        by_parameters : ndarray of shape (n, 2, 8)
        """
        normalised = self.to_plane(plane)
        _, by_h, by_plane = project(self.matrix, normalised)
        inverse = np.linalg.inv(by_plane)
        by_image = np.asarray(inverse * (self.to_image.scale / self.to_plane.scale), dtype=np.float64)
        by_parameters: FloatArray = -(inverse @ by_h) / self.to_plane.scale
        return by_image, by_parameters

    @property
    def full_matrix(self) -> FloatArray:
        """Plane (mm) to picture (px), 3 x 3."""
        full: FloatArray = np.linalg.inv(self.to_image.matrix) @ self.matrix @ self.to_plane.matrix
        return full


def project(h: FloatArray, plane: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Project plane points and differentiate.

    Parameters
    ----------
    h : ndarray of shape (3, 3)
        With h33 = 1.
    plane : ndarray of shape (n, 2)

    Returns
    -------
    image : ndarray of shape (n, 2)
    by_h : ndarray of shape (n, 2, 8)
        Rows [X~/w, 0, -u X/w] and [0, X~/w, -v X/w].
    by_plane : ndarray of shape (n, 2, 2)
    """
    homogeneous = np.column_stack([plane, np.ones(len(plane))])
    q = homogeneous @ h.T
    w = q[:, 2:]
    image = q[:, :2] / w
    by_h = np.zeros((len(plane), 2, 8))
    by_h[:, 0, 0:3] = by_h[:, 1, 3:6] = homogeneous / w
    by_h[:, :, 6:8] = -image[:, :, None] * (plane / w)[:, None, :]
    by_plane = (h[:2, :2] - image[:, :, None] * h[2, :2]) / w[:, :, None]
    return image, by_h, by_plane


def fit_homography(reference: Reference) -> Homography:
    """Fit by maximum likelihood and propagate the reference's uncertainties.

    Parameters
    ----------
    reference : Reference
        At least 4 points, no three of the only four in line.

    Returns
    -------
    Homography
    """
    to_image, to_plane = Similarity.of(reference.image), Similarity.of(reference.plane)
    image, plane = to_image(reference.image), to_plane(reference.plane)
    clicks = to_image.scale * reference.image_factor
    h = _direct_linear_transform(plane, image)
    for _ in range(_MOST_STEPS):
        step, *_ = _step(h, plane, image, _covariance(h, plane, clicks, reference, to_image, to_plane))
        h = h + np.append(step, 0.0).reshape(3, 3)
        if float(np.abs(step).max()) < _SETTLED:
            break
    spread = _covariance(h, plane, clicks, reference, to_image, to_plane)
    _, gain, residuals, chi2 = _step(h, plane, image, spread)
    _, _, by_plane = project(h, plane)
    pull = gain @ _block_diagonal(by_plane) * to_plane.scale
    return Homography(
        matrix=h,
        to_image=to_image,
        to_plane=to_plane,
        image_part=_compressed(gain @ clicks),
        lens_part=_compressed(gain * (to_image.scale * reference.u_image)),
        plane_part=_compressed(np.hstack([pull * reference.u_plane, pull @ reference.plane_common])),
        residuals=residuals.reshape(-1, 2) / to_image.scale,
        chi2=chi2,
        dof=2 * len(image) - 8,
    )


def _direct_linear_transform(plane: FloatArray, image: FloatArray) -> FloatArray:
    homogeneous = np.column_stack([plane, np.ones(len(plane))])
    zero = np.zeros_like(homogeneous)
    rows_x = np.hstack([homogeneous, zero, -image[:, :1] * homogeneous])
    rows_y = np.hstack([zero, homogeneous, -image[:, 1:] * homogeneous])
    h: FloatArray = np.linalg.svd(np.vstack([rows_x, rows_y]))[2][-1].reshape(3, 3)
    h /= h[2, 2]
    return h


def _covariance(
    h: FloatArray,
    plane: FloatArray,
    clicks: FloatArray,
    reference: Reference,
    to_image: Similarity,
    to_plane: Similarity,
) -> FloatArray:
    """Covariance of the normalised image residuals, (2n, 2n): clicks, lens, and plane seen in the image.

    Common causes are left out: scaling or stretching the whole plane is a homography itself, so it
    leaves no residual and no weight changes because of it.
    """
    _, _, by_plane = project(h, plane)
    seen = _block_diagonal(by_plane) * (to_plane.scale * reference.u_plane)
    lens = (to_image.scale * reference.u_image) ** 2 * np.eye(2 * len(plane))
    spread: FloatArray = clicks @ clicks.T + lens + seen @ seen.T
    return spread


def _step(
    h: FloatArray, plane: FloatArray, image: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """One Gauss-Newton step: step (8,), gain (8, 2n), residuals (2n,) and their chi squared."""
    seen, by_h, _ = project(h, plane)
    residuals = (image - seen).ravel()
    design = by_h.reshape(-1, 8)
    weighted = np.linalg.solve(spread, np.column_stack([design, residuals]))
    gain: FloatArray = np.linalg.solve(design.T @ weighted[:, :8], weighted[:, :8].T)
    return gain @ residuals, gain, residuals, float(residuals @ weighted[:, 8])


def _block_diagonal(blocks: FloatArray) -> FloatArray:
    """Put n blocks of 2 x 2 on a diagonal: (2n, 2n)."""
    n = len(blocks)
    out = np.zeros((n, 2, n, 2))
    out[np.arange(n), :, np.arange(n), :] = blocks
    return out.reshape(2 * n, 2 * n)


def _compressed(part: FloatArray) -> FloatArray:
    """Return an (8, <= 8) factor with the same product with its transpose."""
    if not part.any():
        return np.zeros((8, 0))
    if part.shape[1] <= 8:
        return part
    lower: FloatArray = np.asarray(np.linalg.qr(part.T, mode="r")).T
    return lower
