"""What is known of the camera that took one photo."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from corrosion.errors import LensError
from corrosion.lens import check_lens, check_profile, undistort
from corrosion.model import Distance, LensProfile, Photo, SurveyFile
from corrosion.quantity import FloatArray
from corrosion.terms import Flag, View


@dataclass(frozen=True)
class Camera:
    """Lens, picture size and distance of one photo.

    Attributes
    ----------
    place : str
        ``photo f1``; heads error messages and source names.
    lens : LensProfile or None
        The calibrated lens, already checked against the size.
    size : (width, height) or None
        Upright picture, px.
    least_size : (width, height)
        Smallest picture that holds every point marked in it, px.
    least_focal_ratio : float
        Smallest focal length to assume, as a share of the long side, where none is known.
    distance : Distance or None
        Lens to surface along the surface normal, mm.
    flags : frozenset of Flag
    """

    place: str
    lens: LensProfile | None
    size: tuple[int, int] | None
    least_size: tuple[float, float]
    least_focal_ratio: float
    distance: Distance | None
    flags: frozenset[Flag] = frozenset()
    _last: dict[bytes, tuple[FloatArray, FloatArray]] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, photo: Photo, survey: SurveyFile, size: tuple[int, int] | None) -> Camera:
        """Collect what photo and survey say.

        Raises
        ------
        LensError
            If the profile was made for another picture size, device, adapter, focus or distance, is not
            good enough, or does not exist.
        """
        place = f"photo {photo.id}"
        lens = _lens_of(photo, survey, place)
        known = size or photo.size
        bare = photo.view is View.BORESCOPE and lens is None
        flags = frozenset({Flag.LENS_UNKNOWN}) if bare else frozenset()
        if lens is not None:
            check_lens(lens, known, place=place)
            flags = check_profile(lens, photo, place=place)
            known = lens.size
        ratio = survey.settings.least_focal_ratio
        return cls(place, lens, known, _least_size(photo), ratio, photo.distance, flags)

    def ideal(self, points_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Undistort points of the picture.

        Returns
        -------
        points : ndarray of shape (n, 2)
            Ideal pixels; the given ones where no lens profile is known.
        jacobian : ndarray of shape (n, 2, 2)
        """
        points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
        if self.lens is None:
            return points, np.broadcast_to(np.eye(2), (len(points), 2, 2))
        # Every question about one mark begins here with the same points.
        key = points.tobytes()
        found = self._last.get(key)
        if found is None:
            try:
                found = undistort(points, self.lens)
            except LensError as error:
                raise error.at(self.place) from error
            self._last.clear()
            self._last[key] = found
        return found

    @property
    def lens_u_px(self) -> float:
        """Residual standard uncertainty of an undistorted coordinate, px."""
        return 0.0 if self.lens is None else self.lens.u_px

    @property
    def focal_known(self) -> bool:
        """Whether a calibration gives the focal length."""
        return self.lens is not None and self.lens.focal_known

    def with_lens(self, lens: LensProfile) -> Camera:
        """Give the same camera another profile."""
        return replace(self, lens=lens, _last={})

    def pinholes(self) -> FloatArray:
        """Pinhole cameras this may be: the calibrated one, or those with the least focal length.

        Where not even the picture size is known, the picture reaches at least from its corner (0, 0)
        over all points marked in it, and perhaps twice as far, either way.

        Returns
        -------
        ndarray of shape (m, 4)
            (fx, fy, cx, cy) in px; the smallest picture first.
        """
        if self.lens is not None and self.lens.focal_known:
            return np.array([self.lens.matrix])
        sizes = np.array([self.size or self.least_size], dtype=np.float64)
        if self.size is None:
            sizes = sizes * np.array([[1, 1], [2, 1], [1, 2], [2, 2]])
        focal = self.least_focal_ratio * sizes.max(axis=1)
        return np.column_stack([focal, focal, (sizes - 1.0) / 2.0])


def _lens_of(photo: Photo, survey: SurveyFile, place: str) -> LensProfile | None:
    if photo.lens is None:
        return None
    for lens in survey.lenses:
        if lens.id == photo.lens:
            return lens
    raise LensError(
        f"lens profile {photo.lens!r} is not in the survey.",
        place=place,
        remedy="Add it under 'lenses', or take the name off the photo.",
    )


def _least_size(photo: Photo) -> tuple[float, float]:
    """Least picture, from (0, 0), that holds all points of scale and marks."""
    numbers: list[tuple[float, float]] = [(1.0, 1.0)]
    for shape in (photo.scale, *(mark.shape for mark in photo.marks)):
        given = None if shape is None else shape.model_dump()
        for name in ("image", "edges", "coordinates", "center"):
            numbers.extend(_points_in((given or {}).get(name)))
    width, height = np.array(numbers).max(axis=0)
    return float(width) + 1.0, float(height) + 1.0


def _points_in(nest: Any) -> Iterator[tuple[float, float]]:
    if not isinstance(nest, (list, tuple)) or not nest:
        return
    if isinstance(nest[0], (int, float)):
        yield float(nest[0]), float(nest[1])
        return
    for inner in nest:
        yield from _points_in(inner)
