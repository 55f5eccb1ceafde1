"""Scale references: from a photo's pixels to millimetres on its surface plane."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from corrosion.errors import ScaleError
from corrosion.lens import moved_profiles
from corrosion.model import Photo, Placement, PointsScale, SurveyFile
from corrosion.scale.bar import BarPlane, fit_bar
from corrosion.scale.camera import Camera
from corrosion.scale.card import fit_card
from corrosion.scale.cylinder import CylinderScale, on_cylinder
from corrosion.scale.disc import DiscPlane, fit_disc
from corrosion.scale.planar import PlanarScale
from corrosion.scale.plane import PlaneScale
from corrosion.scale.points import fit_points
from corrosion.scale.rule import RulePlane, fit_rule
from corrosion.scale.target import fit_target
from corrosion.terms import Flag

__all__ = [
    "SCALE_KINDS",
    "BarPlane",
    "Camera",
    "CylinderScale",
    "DiscPlane",
    "PlanarScale",
    "PlaneScale",
    "RulePlane",
    "fit_scale",
]

SCALE_KINDS: Final[dict[str, Callable[[Any, Photo, SurveyFile, Camera], PlaneScale]]] = {
    "bar": fit_bar,
    "points": fit_points,
    "card": fit_card,
    "disc": fit_disc,
    "rule": fit_rule,
    "target": fit_target,
}
"""The one place where a kind of scale reference is known by its name in the survey file."""

_LAYOUT_PAIRS = 4


def fit_scale(photo: Photo, survey: SurveyFile, size: tuple[int, int] | None = None) -> PlaneScale:
    """Fit the scale reference of a photo.

    Where there is none but four or more points put the photo on its layout, the drawing is the scale.

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
        Flag: `Flag.LAYOUT_SCALE` where the drawing is the only scale.

    Raises
    ------
    ScaleError
        If the photo has no scale, or its reference cannot be trusted.
    LensError
        If the lens profile does not fit the picture.
    """
    camera = Camera.of(photo, survey, size)
    # A drawing shows a cylinder unrolled, which no camera sees: it is no scale for one.
    drawn = photo.placement if photo.surface is None else None
    if photo.scale is None and drawn is not None and len(drawn.image) >= _LAYOUT_PAIRS:
        return _from_layout(drawn, photo, survey, camera)
    if photo.scale is None:
        raise ScaleError(
            "there is no scale reference, so nothing on it can be measured.",
            place=f"photo {photo.id}",
            remedy="Mark a bar, a card or four known points, or take the photo again with a scale in it.",
        )
    reference, fit = photo.scale, SCALE_KINDS[photo.scale.kind]
    scale = _with_lens_doubt(camera, lambda seen_by: fit(reference, photo, survey, seen_by))
    return scale if photo.surface is None else on_cylinder(scale, photo.surface)


def _with_lens_doubt(camera: Camera, fit: Callable[[Camera], PlaneScale]) -> PlaneScale:
    """Fit, and fit again with every part of the lens profile a little off."""
    scale = fit(camera)
    if camera.lens is None:
        return scale
    return replace(
        scale, lens_moved=tuple(fit(camera.with_lens(moved)) for moved in moved_profiles(camera.lens))
    )


def _from_layout(placement: Placement, photo: Photo, survey: SurveyFile, camera: Camera) -> PlaneScale:
    points = PointsScale(
        image=placement.image,
        plane=placement.layout,
        u_plane=placement.u_layout if placement.u_layout is not None else survey.settings.u_layout,
        sigma_px=placement.sigma_px,
    )
    scale = _with_lens_doubt(camera, lambda seen_by: fit_points(points, photo, survey, seen_by))
    return replace(scale, kind="layout", flags=scale.flags | {Flag.LAYOUT_SCALE})
