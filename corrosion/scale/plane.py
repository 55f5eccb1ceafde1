"""What every fitted scale can do: take pixels to the surface plane, with all its doubts."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
import shapely

from corrosion.errors import ScaleError
from corrosion.lens import LENS_STEP
from corrosion.quantity import FloatArray
from corrosion.scale.camera import Camera
from corrosion.scale.parallax import Parallax
from corrosion.terms import Flag

REFERENCE_POINTS = "reference points"
REFERENCE_TOLERANCE = "reference tolerance"
HEIGHT = "height and distance"
TILT = "tilt"
LENS = "lens"
LENS_CALIBRATION = "calibration"

FARTHEST_WIDTHS = 2.0


@dataclass(frozen=True, eq=False)
class PlaneScale(ABC):
    """A fitted scale: the map from a photo's pixels to its surface plane in mm.

    The plane frame has an arbitrary origin and direction and is turned like the picture (x right,
    y down), whatever way the plane points were given: areas never come out mirrored.

    Attributes
    ----------
    kind : str
        Kind of the scale reference.
    camera : Camera
    parallax : Parallax
    hull_mm : ndarray of shape (m, 2)
        The reference's own extent on the surface plane: corners of its hull, or a bar's two ends.
    width_mm : float
        The reference's longer side.
    flags : frozenset of Flag
        Hold for everything measured with this scale.
    residuals_px : ndarray of shape (n, 2)
        Reference points minus fit, ideal pixels; empty where the fit is exact by construction.
    chi2 : float
    dof : int
    known : bool
        False where no uncertainty can honestly be given.
    lens_moved : tuple of PlaneScale
        The same reference fitted again with each independent part of the lens profile `LENS_STEP` of its
        standard uncertainty larger; empty where the profile states no covariance.
    """

    kind: str
    camera: Camera
    parallax: Parallax
    hull_mm: FloatArray
    width_mm: float
    flags: frozenset[Flag]
    residuals_px: FloatArray
    chi2: float
    dof: int
    known: bool
    lens_moved: tuple[PlaneScale, ...] = field(default=(), kw_only=True, repr=False)

    beyond: ClassVar[str] = "the reference"
    flat: ClassVar[bool] = True
    """Whether the surface is the reference's plane, so that a plane's map may stand for it."""

    @abstractmethod
    def _map(self, ideal: FloatArray) -> FloatArray:
        """Ideal pixels (n, 2) to the reference's plane, mm (n, 2)."""

    @abstractmethod
    def _map_jacobian(self, ideal: FloatArray) -> FloatArray:
        """Differentiate `_map`, shape (n, 2, 2)."""

    @abstractmethod
    def _map_sources(self, ideal: FloatArray) -> dict[str, FloatArray]:
        """Per source the derivative of `_map` by k standardised parts, shape (n, 2, k)."""

    def to_plane(self, points_px: FloatArray) -> FloatArray:
        """Map pixels of the picture, shape (n, 2), to the surface plane, mm, shape (n, 2)."""
        ideal, _ = self.camera.ideal(points_px)
        return self.parallax.factor * self._map(ideal)

    def jacobian_points(self, points_px: FloatArray) -> FloatArray:
        """Return d plane / d pixel, lens included: shape (n, 2, 2), mm/px."""
        ideal, lens = self.camera.ideal(points_px)
        jacobian: FloatArray = self.parallax.factor * self._map_jacobian(ideal) @ lens
        return jacobian

    def shared_sensitivities(self, points_px: FloatArray) -> dict[str, FloatArray]:
        """Movement of mapped points per standard uncertainty of what all marks of the photo share.

        Parameters
        ----------
        points_px : ndarray of shape (n, 2)

        Returns
        -------
        dict of str to ndarray of shape (n, 2, k)
            mm; names begin with ``photo <id>: ``, or ``lens <id>: `` for what all photos with one lens
            profile share. The columns are independent of each other.
        """
        ideal, _ = self.camera.ideal(points_px)
        factor = self.parallax.factor
        sources = {name: factor * moved for name, moved in self._map_sources(ideal).items()}
        if self.parallax.relative.size:
            from_centre = factor * self._map(ideal) - self.centre_mm
            sources[HEIGHT] = from_centre[:, :, None] * self.parallax.relative
        shared = {self.source(name): moved for name, moved in sources.items()}
        return shared | self._lens_sensitivities(points_px)

    def _lens_sensitivities(self, points_px: FloatArray) -> dict[str, FloatArray]:
        """Differences to the fits with a moved lens: reference and mark move together, as they must."""
        lens = self.camera.lens
        if lens is None or not self.lens_moved:
            return {}
        here = self.to_plane(points_px)
        moved = [(scale.to_plane(points_px) - here) / LENS_STEP for scale in self.lens_moved]
        return {f"lens {lens.id}: {LENS_CALIBRATION}": np.stack(moved, axis=-1)}

    def alternatives(self, points_px: FloatArray) -> FloatArray | None:
        """Places the points may truly have, for doubts that are no small linear change.

        Returns
        -------
        ndarray of shape (h, n, 2) or None
            One set of plane points per hypothesis, mm, each in its own frame. A measure's largest
            departure over the hypotheses is a half-width that takes the place of the source ``tilt``.
        """
        del points_px
        return None

    def check_area(self, place: str) -> None:  # noqa: B027 -- most kinds carry any area they can reach
        """Refuse areas where the scale cannot carry them.

        Raises
        ------
        ScaleError
        """

    def check_reach(self, points_px: FloatArray, place: str) -> frozenset[Flag]:
        """Flag points outside the reference, refuse those too far from it.

        Parameters
        ----------
        points_px : ndarray of shape (n, 2)
            All points of one mark.
        place : str
            Named in the error.

        Returns
        -------
        frozenset of Flag
            `Flag.EXTRAPOLATED` where the mark is not within the reference.

        Raises
        ------
        ScaleError
            If any point is more than two reference widths beyond the reference.
        """
        plane = self.to_plane(points_px)
        hull = shapely.convex_hull(shapely.multipoints(self.hull_mm))
        beyond = float(shapely.distance(hull, shapely.points(plane)).max())
        widths = beyond / self.width_mm
        if widths > FARTHEST_WIDTHS:
            raise ScaleError(
                f"the mark reaches {beyond:.1f} mm beyond {self.beyond}, which is "
                f"{widths:.1f} times its own width; at most {FARTHEST_WIDTHS:g} times can be trusted.",
                place=place,
                remedy="Take the photo again with the reference near the mark, or use a larger reference.",
            )
        outside = widths > self._trusted_widths()
        return frozenset({Flag.EXTRAPOLATED}) if outside else frozenset()

    def _trusted_widths(self) -> float:
        """How far beyond the reference, in its widths, a mark may lie without a flag."""
        return 1e-9

    @property
    def centre_mm(self) -> FloatArray:
        """Middle of the reference on the surface plane, mm, shape (2,)."""
        centre: FloatArray = self.hull_mm.mean(axis=0)
        return centre

    @property
    @abstractmethod
    def centre_px(self) -> FloatArray:
        """Middle of the reference points in the picture, px, shape (2,)."""

    def source(self, name: str) -> str:
        """Full name of a source of this photo, for budgets: ``photo f1: tilt``."""
        return f"{self.camera.place}: {name}"
