"""Pinhole camera with Brown distortion, in the pixel-centre convention of the project.

World ("view") frame of every picture, in mm: the metal surface is z = 0, x runs to the right and y
upwards as the photographer sees it, z points at the photographer. Camera frame as in OpenCV: x right,
y down, z forward. Pixel frame: centre of the top-left pixel at (0, 0).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Camera:
    """Where the camera stands and what its lens does.

    Attributes
    ----------
    size : (int, int)
        Width and height of the upright picture, px.
    focal_px : float
        Focal length, px.
    look_at_mm : (float, float)
        Point of the surface on the optical axis.
    distance_mm : float
        From the lens to that point, along the axis.
    tilt_deg, azimuth_deg : float
        Angle between axis and surface normal, and the direction in the surface towards which the
        camera has moved away from the normal.
    roll_deg : float
        Turn of the camera about its axis.
    principal_px : (float, float) or None
        Principal point; the middle of the picture where None.
    distortion : (float, float, float, float, float)
        OpenCV order k1, k2, p1, p2, k3.
    """

    size: tuple[int, int]
    focal_px: float
    look_at_mm: tuple[float, float]
    distance_mm: float
    tilt_deg: float = 0.0
    azimuth_deg: float = -90.0
    roll_deg: float = 0.0
    principal_px: tuple[float, float] | None = None
    distortion: tuple[float, float, float, float, float] = field(default=(0.0, 0.0, 0.0, 0.0, 0.0))

    @property
    def matrix(self) -> Array:
        """Camera matrix K, 3 x 3, px."""
        width, height = self.size
        cx, cy = self.principal_px or ((width - 1) / 2, (height - 1) / 2)
        return np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1]], dtype=float)

    @property
    def centre(self) -> Array:
        """Centre of projection in the world frame, mm."""
        tilt, azimuth = math.radians(self.tilt_deg), math.radians(self.azimuth_deg)
        away = np.array(
            [math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)]
        )
        return np.array([*self.look_at_mm, 0.0]) + self.distance_mm * away

    @property
    def rotation(self) -> Array:
        """World to camera rotation, rows = camera axes in world coordinates."""
        forward = np.array([*self.look_at_mm, 0.0]) - self.centre
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        roll = math.radians(self.roll_deg)
        rolled_right = math.cos(roll) * right + math.sin(roll) * down
        rolled_down = -math.sin(roll) * right + math.cos(roll) * down
        return np.stack([rolled_right, rolled_down, forward])

    @property
    def translation(self) -> Array:
        """World to camera translation, mm."""
        return -self.rotation @ self.centre

    @property
    def height_mm(self) -> float:
        """Distance from the lens to the surface along its normal, mm."""
        return float(self.centre[2])

    def project(self, points_mm: Array) -> Array:
        """Project world points, (N, 3) mm, to distorted pixels, (N, 2)."""
        points = np.atleast_2d(np.asarray(points_mm, dtype=float)).reshape(-1, 1, 3)
        turn, _ = cv2.Rodrigues(self.rotation)
        pixels, _ = cv2.projectPoints(
            points, turn, self.translation, self.matrix, np.array(self.distortion)
        )
        return pixels.reshape(-1, 2)

    def surface_at(self, pixels: Array) -> Array:
        """World points (N, 2) on the surface z = 0 seen at undistorted pixels, (N, 2)."""
        rays = np.c_[np.asarray(pixels, dtype=float), np.ones(len(pixels))] @ np.linalg.inv(self.matrix).T
        world = rays @ self.rotation
        along = -self.centre[2] / world[:, 2]
        return (self.centre + along[:, None] * world)[:, :2]

    @property
    def is_distorted(self) -> bool:
        """Whether the lens bends lines."""
        return any(self.distortion)

    def pinhole(self) -> Camera:
        """The straight-line camera to render with: oversize where the lens distorts."""
        if not self.is_distorted and self.principal_px is None:
            return self
        width, height = self.size
        edge = np.array(
            [[x, y] for x in (0, width / 2, width - 1) for y in (0, height / 2, height - 1)], float
        )
        ideal = self._ideal(edge)
        half = np.abs(ideal).max(axis=0) * self.focal_px + 8
        size = (2 * math.ceil(half[0]), 2 * math.ceil(half[1]))
        return Camera(
            size,
            self.focal_px,
            self.look_at_mm,
            self.distance_mm,
            self.tilt_deg,
            self.azimuth_deg,
            self.roll_deg,
        )

    def _ideal(self, pixels: Array) -> Array:
        """Normalized straight-line coordinates of distorted pixels, by Newton's method on the radius."""
        k1, k2, p1, p2, k3 = self.distortion
        if p1 or p2 or k3:
            raise ValueError("only the radial terms k1 and k2 are rendered")
        bent = (np.asarray(pixels, float) - self.matrix[:2, 2]) / self.focal_px
        wanted = np.linalg.norm(bent, axis=1)
        radius = wanted.copy()
        for _ in range(50):
            q = radius**2
            radius -= (radius * (1 + k1 * q + k2 * q * q) - wanted) / (1 + 3 * k1 * q + 5 * k2 * q * q)
        return bent * (radius / np.maximum(wanted, 1e-12))[:, None]

    def bend(self, straight: NDArray[np.float32]) -> NDArray[np.float32]:
        """Warp a picture rendered with `pinhole` into this camera's distorted picture."""
        if not self.is_distorted and self.principal_px is None:
            return straight
        width, height = self.size
        grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), -1).reshape(-1, 2).astype(float)
        ideal = self._ideal(grid)
        inner = self.pinhole().matrix
        where = ideal.reshape(height, width, 2) * inner[0, 0] + inner[:2, 2]
        where = where.astype(np.float32)
        return cv2.remap(
            straight, where[..., 0], where[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )

    def as_json(self) -> dict[str, object]:
        """Everything needed to project again."""
        return {
            "size_px": list(self.size),
            "matrix": self.matrix.tolist(),
            "distortion_k1_k2_p1_p2_k3": list(self.distortion),
            "rotation_world_to_camera": self.rotation.tolist(),
            "translation_mm": self.translation.tolist(),
            "centre_mm": self.centre.tolist(),
            "distance_along_axis_mm": self.distance_mm,
            "distance_along_normal_mm": self.height_mm,
            "tilt_deg": self.tilt_deg,
            "tilt_azimuth_deg": self.azimuth_deg,
            "roll_deg": self.roll_deg,
        }
