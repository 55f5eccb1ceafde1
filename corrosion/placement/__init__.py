"""Putting a photo on its member's layout: where its marks are, what it shows, how well it fits."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corrosion.errors import CorrosionError, PlacementError
from corrosion.layout import MemberLayout
from corrosion.model import LensProfile, Mark, Photo, Settings
from corrosion.placement.checks import (
    LeftOut,
    check_distance,
    check_hand,
    check_residuals,
    expected_hand,
    leave_one_out,
)
from corrosion.placement.fits import LayoutMap, choose_model, fit
from corrosion.placement.outlines import Hull, footprint, mark_geometry, place_mark
from corrosion.placement.pairs import Pairs, Rectifier
from corrosion.results import PlacedOutline, PlacedPhoto
from corrosion.scale import PlaneScale
from corrosion.terms import Flag

__all__ = ["LayoutMap", "LeftOut", "leave_one_out", "mark_geometry", "place_photo"]


def place_photo(
    photo: Photo,
    scale: PlaneScale | None,
    layout: MemberLayout,
    settings: Settings,
    size: tuple[int, int] | None,
    *,
    lens: LensProfile | None = None,
) -> PlacedPhoto:
    """Put a photo on its member's layout by its point pairs.

    Two pairs turn and shift the scaled photo (similarity). Three fit a similarity with residuals, or,
    without a scale that sees tilt, an affine map. Four or more fit a homography.

    Parameters
    ----------
    photo : Photo
        Of a survey in millimetres, with `placement` and `face`.
    scale : PlaneScale or None
        The photo's fitted scale; None makes the layout its only scale (`Flag.LAYOUT_SCALE`).
    layout : MemberLayout
    settings : Settings
    size : (width, height) or None
        Of the upright picture, px; without it there is no footprint.
    lens : LensProfile, optional
        Of a photo without a scale; a scale brings its own.

    Returns
    -------
    PlacedPhoto
        Marks that the fit cannot carry are left out and named in `problem`. Residuals are layout minus
        mapped points, mm, and empty where the fit is exact by construction.

    Raises
    ------
    PlacementError
        Points in line or outside the picture, points and scale at odds by more than 15 %, misfit beyond
        chi squared's 99 % point, or a view of the other side than the photo's face.
    LensError
        If a point lies where the lens profile does not reach.
    """
    pairs = Pairs.of(photo, settings)
    if photo.face is None:
        raise PlacementError(
            "its face is not stated.", place=pairs.place, remedy="Tag the photo 'outer' or 'inner'."
        )
    if size is not None:
        pairs.check_within(size)
    rectifier = Rectifier(scale, lens)
    flags = check_distance(pairs, rectifier) | _lens_flag(photo, rectifier)
    fitted, fit_flags = _fitted(photo, pairs, rectifier, layout)
    flags |= fit_flags
    marks, problems = _place_marks(photo, fitted, settings, flags)
    return PlacedPhoto(
        photo_id=photo.id,
        member_id=layout.member.id,
        face=photo.face,
        footprint=None if size is None else footprint(fitted, size, layout.polygon),
        marks=marks,
        residuals_mm=[(float(s), float(o)) for s, o in fitted.residuals] if fitted.dof else [],
        rms_mm=fitted.rms,
        flags=flags,
        problem=" ".join(problems) or None,
    )


def _lens_flag(photo: Photo, rectifier: Rectifier) -> frozenset[Flag]:
    """Flag a photo whose lens is named but was not handed over: nothing has undistorted it."""
    unknown = photo.lens is not None and rectifier.scale is None and rectifier.lens is None
    return frozenset({Flag.LENS_UNKNOWN}) if unknown else frozenset()


def _fitted(
    photo: Photo, pairs: Pairs, rectifier: Rectifier, layout: MemberLayout
) -> tuple[LayoutMap, frozenset[Flag]]:
    model = choose_model(pairs, rectifier)
    hand = expected_hand(photo, layout.member)
    if len(pairs) == 2:
        hand, side = _side(photo, pairs, rectifier, layout, hand)
        fitted = fit(pairs, rectifier, model, hand)
        return fitted, side | check_residuals(fitted, LeftOut.empty(len(pairs)))
    check_hand(photo, layout.member, pairs)
    fitted = fit(pairs, rectifier, model, hand)
    left_out = leave_one_out(pairs, rectifier, model, hand) if fitted.dof else LeftOut.empty(len(pairs))
    return fitted, check_residuals(fitted, left_out)


def _side(
    photo: Photo, pairs: Pairs, rectifier: Rectifier, layout: MemberLayout, hand: int
) -> tuple[int, frozenset[Flag]]:
    """Choose the side two pairs cannot tell.

    The face decides. Where it puts a mark off the metal and the other side has every mark on it, the
    other side is taken and flagged. A stated `mirrored` is never overruled.
    """
    if photo.placement is None or photo.placement.mirrored is not None or not photo.marks:
        return hand, frozenset()
    by_rule = _outlines(photo, fit(pairs, rectifier, "similarity", hand))
    by_other = _outlines(photo, fit(pairs, rectifier, "similarity", -hand))
    off = any(outline.disjoint(layout.polygon) for outline in by_rule)
    nearly = layout.polygon.buffer(pairs.u_layout)
    if off and len(by_other) == len(photo.marks) and all(nearly.covers(outline) for outline in by_other):
        return -hand, frozenset({Flag.SIDE_ASSUMED})
    return hand, frozenset()


def _outlines(photo: Photo, fitted: LayoutMap) -> list[BaseGeometry]:
    """Outlines of the marks that can be placed."""
    placed = []
    for mark in photo.marks:
        try:
            placed.append(place_mark(mark, fitted, f"photo {photo.id}"))
        except CorrosionError:
            continue
    return placed


def _place_marks(
    photo: Photo, fitted: LayoutMap, settings: Settings, flags: frozenset[Flag]
) -> tuple[list[PlacedOutline], list[str]]:
    hull = Hull.of(fitted.pairs.layout)
    placed, problems = [], []
    for mark in photo.marks:
        try:
            outline = place_mark(mark, fitted, f"photo {photo.id}")
        except CorrosionError as error:
            problems.append(str(error))
            continue
        far = frozenset({Flag.EXTRAPOLATED}) if hull.is_far(outline) else frozenset()
        centre = outline.centroid
        placed.append(
            PlacedOutline(
                photo_id=photo.id,
                mark=mark,
                outline=outline,
                position=(float(centre.x), float(centre.y)),
                u_position=_u_position(mark, fitted, settings),
                flags=flags | far,
            )
        )
    return placed, problems


def _u_position(mark: Mark, fitted: LayoutMap, settings: Settings) -> tuple[float, float]:
    """Give the standard uncertainties of a mark's station and offset, mm.

    The mark counts as one click at its centroid; that a common edge offset leaves the centroid in place
    is first-order.
    """
    centre = shapely.get_coordinates(mark_geometry(mark.shape).centroid)[0]
    covariance = fitted.covariance(centre, mark.sigma_px or settings.mark_sigma_px)
    u_station, u_offset = np.sqrt(np.diag(covariance))
    return float(u_station), float(u_offset)
