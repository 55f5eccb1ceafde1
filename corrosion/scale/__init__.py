"""Scale references: from a photo's pixels to millimetres on its surface plane."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from corrosion.errors import ScaleError
from corrosion.model import Photo, SurveyFile
from corrosion.scale.bar import BarPlane, fit_bar
from corrosion.scale.camera import Camera
from corrosion.scale.card import fit_card
from corrosion.scale.planar import PlanarScale
from corrosion.scale.plane import PlaneScale
from corrosion.scale.points import fit_points

__all__ = ["SCALE_KINDS", "BarPlane", "Camera", "PlanarScale", "PlaneScale", "fit_scale"]

SCALE_KINDS: Final[dict[str, Callable[[Any, Photo, SurveyFile, Camera], PlaneScale]]] = {
    "bar": fit_bar,
    "points": fit_points,
    "card": fit_card,
}
"""The one place where a kind of scale reference is known by its name in the survey file."""


def fit_scale(photo: Photo, survey: SurveyFile, size: tuple[int, int] | None = None) -> PlaneScale:
    """Fit the scale reference of a photo.

    Parameters
    ----------
    photo : Photo
        Of a survey already in millimetres.
    survey : SurveyFile
        Its lens profiles and settings are used.
    size : (width, height), optional
        Upright picture, px; the photo's own where not given.

    Returns
    -------
    PlaneScale

    Raises
    ------
    ScaleError
        If the photo has no scale, or its reference cannot be trusted.
    LensError
        If the lens profile does not fit the picture.
    """
    if photo.scale is None:
        raise ScaleError(
            "there is no scale reference, so nothing on it can be measured.",
            place=f"photo {photo.id}",
            remedy="Mark a bar, a card or four known points, or take the photo again with a scale in it.",
        )
    camera = Camera.of(photo, survey, size)
    return SCALE_KINDS[photo.scale.kind](photo.scale, photo, survey, camera)
