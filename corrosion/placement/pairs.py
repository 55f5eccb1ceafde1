"""Point pairs of a placement, checked, and the pixels they rest on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corrosion.errors import PlacementError
from corrosion.lens import undistort
from corrosion.model import LensProfile, Photo, Settings
from corrosion.quantity import FloatArray
from corrosion.scale import PlaneScale

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
            If there are none, two coincide, or three or more lie in one line.
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

    def check(self) -> None:
        """Refuse points that cannot fix the photo.

        Raises
        ------
        PlacementError
        """
        for what, points in (("picture", self.image), ("layout", self.layout)):
            self._check_apart(what, points)
            if len(points) > 2 and _in_line(points):
                raise PlacementError(
                    f"its {len(points)} points lie in one line in the {what}, or all but one of them do.",
                    place=self.place,
                    remedy="Choose points that enclose an area, or give just two.",
                )

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


def _in_line(points: FloatArray) -> bool:
    """Whether all points, or all but one of four or more, lie nearly in one line."""
    if _thickness(points) < LEAST_THICKNESS:
        return True
    if len(points) == 3:
        return False
    # A homography needs four points no three of which are in line; with all but one in line there are none.
    return any(_thickness(np.delete(points, i, axis=0)) < LEAST_THICKNESS for i in range(len(points)))


def _thickness(points: FloatArray) -> float:
    large, small = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return float(small / large)


@dataclass(frozen=True)
class Rectifier:
    """Takes pixels to the plane a fit starts from: scaled mm, or ideal pixels where there is no scale.

    Both frames are turned like the picture: x right, y down.
    """

    scale: PlaneScale | None
    lens: LensProfile | None

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
        sources = {} if self.scale is None else self.scale.shared_sensitivities(points_px)
        return np.concatenate([np.empty((len(points_px), 2, 0)), *sources.values()], axis=2)

    @property
    def u_lens_px(self) -> float:
        """Residual standard uncertainty of an undistorted coordinate, px."""
        lens = self.scale.camera.lens if self.scale is not None else self.lens
        return 0.0 if lens is None else lens.u_px
