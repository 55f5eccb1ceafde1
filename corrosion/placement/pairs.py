"""Point pairs of a placement, checked, and the pixels they rest on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corrosion.errors import PlacementError
from corrosion.lens import undistort
from corrosion.model import LensProfile, Photo, Settings
from corrosion.quantity import FloatArray
from corrosion.scale import PlaneScale
from corrosion.scale.plane import TILT

U_LAYOUT_MM = 1.0
"""Standard uncertainty of a layout coordinate where none is stated: a rivet or rib line taken off a
drawing is good to 0.5 to 1 mm (engineering judgement, metrology notes section 5)."""

LEAST_THICKNESS = 0.02
"""Smallest to largest extent of the points, below which they count as lying in one line."""


@dataclass(frozen=True, eq=False)
class Pairs:
    """Control points: the same n places in the picture and on the layout.

    Attributes
    ----------
    place : str
        ``photo f1``, for messages.
    image : ndarray of shape (n, 2)
        px, as clicked.
    layout : ndarray of shape (n, 2)
        (station, offset), mm.
    sigma_px, u_layout : float
        Standard uncertainties of one image and one layout coordinate.
    """

    place: str
    image: FloatArray
    layout: FloatArray
    sigma_px: float
    u_layout: float

    @classmethod
    def of(cls, photo: Photo, settings: Settings) -> Pairs:
        """Collect and check the pairs of a photo.

        Raises
        ------
        PlacementError
            If there are none, or two coincide.
        """
        place = f"photo {photo.id}"
        given = photo.placement
        if given is None:
            raise PlacementError(
                "there are no point pairs.", place=place, remedy="Give at least two under 'placement'."
            )
        u_layout = given.u_layout if given.u_layout is not None else settings.u_layout
        pairs = cls(
            place=place,
            image=np.array(given.image, dtype=np.float64),
            layout=np.array(given.layout, dtype=np.float64),
            sigma_px=given.sigma_px or settings.reference_sigma_px,
            u_layout=U_LAYOUT_MM if u_layout is None else u_layout,
        )
        pairs.check()
        return pairs

    def __len__(self) -> int:
        return len(self.image)

    def without(self, index: int) -> Pairs:
        """Return the pairs with one left out."""
        kept = np.arange(len(self)) != index
        return Pairs(self.place, self.image[kept], self.layout[kept], self.sigma_px, self.u_layout)

    def farthest(self) -> tuple[int, int]:
        """Return the two points that are farthest apart on the layout."""
        apart = np.linalg.norm(self.layout[:, None] - self.layout[None], axis=2)
        first, second = np.unravel_index(int(np.argmax(apart)), apart.shape)
        return int(first), int(second)

    @property
    def in_line(self) -> bool:
        """Whether all points lie nearly in one line, as a row of fasteners does; two always do."""
        return any(_thickness(points) < LEAST_THICKNESS for points in (self.image, self.layout))

    @property
    def fix_a_plane(self) -> bool:
        """Whether four of the points are in general position: not all but one in one line."""
        if len(self) < 4:
            return False
        kept = (np.delete(p, i, axis=0) for p in (self.image, self.layout) for i in range(len(self)))
        return all(_thickness(points) >= LEAST_THICKNESS for points in kept)

    def check(self) -> None:
        """Refuse points that coincide.

        Raises
        ------
        PlacementError
        """
        for what, points in (("picture", self.image), ("layout", self.layout)):
            self._check_apart(what, points)

    def check_within(self, size: tuple[int, int]) -> None:
        """Refuse points outside a picture of this (width, height), px.

        Raises
        ------
        PlacementError
        """
        outside = ((self.image < -0.5) | (self.image > np.array(size) - 0.5)).any(axis=1)
        if outside.any():
            worst = int(np.argmax(outside))
            x, y = self.image[worst]
            raise PlacementError(
                f"point {worst + 1} at ({x:g}, {y:g}) px lies outside the picture of "
                f"{size[0]} x {size[1]} px.",
                place=self.place,
                remedy="Give points of the upright, uncropped picture.",
            )

    def _check_apart(self, what: str, points: FloatArray) -> None:
        for one in range(len(points)):
            for other in range(one):
                if np.array_equal(points[one], points[other]):
                    x, y = points[one]
                    raise PlacementError(
                        f"points {other + 1} and {one + 1} are the same place ({x:g}, {y:g}) "
                        f"in the {what}.",
                        place=self.place,
                        remedy="Give each point once.",
                    )


def _thickness(points: FloatArray) -> float:
    large, small = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return float(small / large)


@dataclass(frozen=True, eq=False)
class Rectifier:
    """Takes pixels to the plane a fit starts from: scaled mm, or ideal pixels where there is no scale.

    Both frames are turned like the picture: x right, y down.

    Attributes
    ----------
    scale : PlaneScale or None
    lens : LensProfile or None
        Where there is no scale, which would bring its own.
    anchor_px : ndarray of shape (n, 2)
        Control points; what a tilt leaves of their shape is what a fit cannot take up.
    """

    scale: PlaneScale | None
    lens: LensProfile | None
    anchor_px: FloatArray

    def ideal(self, points_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Undistort points: ideal pixels (n, 2) and their Jacobian (n, 2, 2)."""
        if self.scale is not None:
            return self.scale.camera.ideal(points_px)
        if self.lens is not None:
            return undistort(points_px, self.lens)
        return points_px, np.broadcast_to(np.eye(2), (len(points_px), 2, 2))

    def plane(self, points_px: FloatArray) -> FloatArray:
        """Map pixels (n, 2) to the plane."""
        return self.ideal(points_px)[0] if self.scale is None else self.scale.to_plane(points_px)

    def jacobian(self, points_px: FloatArray) -> FloatArray:
        """Differentiate `plane`: (n, 2, 2)."""
        return self.ideal(points_px)[1] if self.scale is None else self.scale.jacobian_points(points_px)

    def shared(self, points_px: FloatArray) -> FloatArray:
        """Movements of plane points per standardised source they share: (n, 2, k)."""
        sources = dict(self.scale.shared_sensitivities(points_px)) if self.scale else {}
        tilted = self._tilted(points_px)
        if self.scale is not None and tilted is not None:
            # The bare relative doubt of a length would be taken up by the fit; its pattern is not.
            sources[self.scale.source(TILT)] = tilted
        return np.concatenate([np.empty((len(points_px), 2, 0)), *sources.values()], axis=2)

    def _tilted(self, points_px: FloatArray) -> FloatArray | None:
        """Movements under every tilt the scale cannot see, (n, 2, h); None where it sees tilt.

        Each hypothesis is turned, shifted and scaled onto the plane by the control points, and counts
        with 1 / h of the variance.
        """
        if self.scale is None:
            return None
        n = len(self.anchor_px)
        every = self.scale.alternatives(np.concatenate([self.anchor_px, points_px]))
        if every is None:
            return None
        found = every[..., 0] + 1j * every[..., 1]
        wanted = self.plane(self.anchor_px) @ np.array([1.0, 1j])
        middle = found[:, :n].mean(axis=1, keepdims=True)
        centred = found[:, :n] - middle
        turn = (centred.conj() @ (wanted - wanted.mean())) / (np.abs(centred) ** 2).sum(axis=1)
        aligned = turn[:, None] * (found[:, n:] - middle) + wanted.mean()
        off = (aligned - self.plane(points_px) @ np.array([1.0, 1j])) / np.sqrt(len(every))
        return np.stack([off.real.T, off.imag.T], axis=1)

    @property
    def u_lens_px(self) -> float:
        """Residual standard uncertainty of an undistorted coordinate, px."""
        lens = self.scale.camera.lens if self.scale is not None else self.lens
        return 0.0 if lens is None else lens.u_px
