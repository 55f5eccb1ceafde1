"""A scale that is one 3 x 3 matrix from the picture to the plane, and the matrices it might be instead."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from corrosion.errors import ScaleError
from corrosion.quantity import FloatArray
from corrosion.scale.plane import PlaneScale

LEAST_W_RATIO = 0.3
# Derivatives are differences over this share of a standard uncertainty.
STEP = 0.1


def apply(matrix: FloatArray, ideal: FloatArray) -> FloatArray:
    """Map points (n, 2) by a matrix (3, 3), or by each of (h, 3, 3): shape (n, 2) or (h, n, 2)."""
    homogeneous = np.column_stack([ideal, np.ones(len(ideal))])
    q = homogeneous @ np.swapaxes(matrix, -1, -2)
    with np.errstate(divide="ignore", invalid="ignore"):
        mapped: FloatArray = q[..., :2] / q[..., 2:]
    return mapped


def rotation_to_axis(normal: FloatArray) -> FloatArray:
    """Least rotation that turns a unit normal (..., 3) with positive z onto the z axis, (..., 3, 3)."""
    x, y, z = np.moveaxis(normal, -1, 0)
    k = 1.0 / (1.0 + z)
    rows = [[1 - k * x * x, -k * x * y, -x], [-k * x * y, 1 - k * y * y, -y], [x, y, z]]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def camera_matrix(focal: FloatArray, middle: FloatArray) -> FloatArray:
    """K of focal lengths in x and y and middles, (..., 2) each, px: (..., 3, 3)."""
    k = np.zeros((*middle.shape[:-1], 3, 3))
    k[..., 0, 0], k[..., 1, 1] = focal[..., 0], focal[..., 1]
    k[..., :2, 2] = middle
    k[..., 2, 2] = 1.0
    return k


@dataclass(frozen=True, eq=False)
class MatrixPlane(PlaneScale):
    """A plane scale given by matrices.

    Attributes
    ----------
    matrix : ndarray of shape (3, 3)
        Ideal pixels to the reference's plane, mm; its third row is positive at the reference.
    moved : mapping of str to ndarray of shape (k, 3, 3)
        Per source the matrix when each standardised part is `STEP` larger.
    supposed : ndarray of shape (h, 3, 3) or None
        Matrices that are just as possible; see `PlaneScale.alternatives`.
    reference_px : ndarray of shape (n, 2)
    tilt_rad : float
        Angle of the optical axis to the surface normal, as far as the reference tells.
    """

    matrix: FloatArray
    moved: Mapping[str, FloatArray]
    supposed: FloatArray | None
    reference_px: FloatArray
    tilt_rad: float

    def _map(self, ideal: FloatArray) -> FloatArray:
        return apply(self.matrix, ideal)

    def _map_jacobian(self, ideal: FloatArray) -> FloatArray:
        w = ideal @ self.matrix[2, :2] + self.matrix[2, 2]
        mapped = self._map(ideal)
        jacobian: FloatArray = (self.matrix[:2, :2] - mapped[:, :, None] * self.matrix[2, :2]) / w[
            :, None, None
        ]
        return jacobian

    def _map_sources(self, ideal: FloatArray) -> dict[str, FloatArray]:
        here = self._map(ideal)
        return {
            name: np.moveaxis(apply(matrices, ideal) - here, 0, -1) / STEP
            for name, matrices in self.moved.items()
        }

    def alternatives(self, points_px: FloatArray) -> FloatArray | None:
        """Map by every matrix that is just as possible; see `PlaneScale`."""
        if self.supposed is None:
            return None
        ideal, _ = self.camera.ideal(points_px)
        places: FloatArray = self.parallax.factor * apply(self.supposed, ideal)
        return places

    @property
    def centre_px(self) -> FloatArray:
        """Mean of the reference points in the picture, px."""
        centre: FloatArray = self.reference_px.mean(axis=0)
        return centre

    def check_horizon(self, points_px: FloatArray, place: str) -> None:
        """Refuse what lies beyond, or near, the horizon of the plane or of any supposed one.

        Raises
        ------
        ScaleError
        """
        ideal, _ = self.camera.ideal(points_px)
        middle, _ = self.camera.ideal(self.centre_px[None])
        own = self.matrix[None]
        every = own if self.supposed is None else np.concatenate([own, self.supposed])
        rows = every[:, 2]
        w = (rows[:, :2] @ ideal.T + rows[:, 2:]) / (rows[:, :2] @ middle.T + rows[:, 2:])
        if w.min() < LEAST_W_RATIO:
            raise ScaleError(
                "the mark lies so far up the slope from the reference that the picture may shrink it more "
                f"than {1 / LEAST_W_RATIO:.1f} times, or beyond the horizon.",
                place=place,
                remedy="Take the photo again more squarely, with the reference beside the mark.",
            )
