"""Putting a photo on its member's layout: where its marks are, what it shows, how well it fits."""

from __future__ import annotations

import numpy as np
import shapely

from corrosion.errors import CorrosionError, MarkError, PlacementError
from corrosion.layout import MemberLayout
from corrosion.marks import Outline, outline_of
from corrosion.model import LensProfile, Mark, Photo, Settings
from corrosion.placement.checks import (
    LeftOut,
    check_distance,
    check_hand,
    check_residuals,
    expected_hand,
    leave_one_out,
)
from corrosion.placement.fits import LayoutMap, Model, choose_model, fit
from corrosion.placement.outlines import Hull, footprint, mark_geometry, place_outline
from corrosion.placement.pairs import Pairs, Rectifier
from corrosion.results import PlacedOutline, PlacedPhoto
from corrosion.scale import PlaneScale
from corrosion.terms import Flag

__all__ = ["place_photo"]


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

    Two pairs, or more in one line, turn and shift the scaled photo (similarity). Three fit a similarity
    with residuals, or, without a scale that sees tilt, an affine map. Four or more fit a homography.

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
        Points outside the picture or the same, points and scale at odds by more than 15 %, misfit beyond
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
    rectifier = Rectifier(scale, lens, pairs.image)
    flags = check_distance(pairs, scale) | _lens_flag(photo, rectifier)
    drawn, problems = _drawn(photo, settings, size)
    fitted, fit_flags = _fitted(photo, pairs, rectifier, layout, list(drawn.values()))
    flags |= fit_flags
    marks = []
    for mark in photo.marks:
        try:
            if mark.id in drawn:
                marks.append(_place_mark(photo, mark, drawn[mark.id], fitted, flags))
        except CorrosionError as error:
            problems.append(str(error))
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


def _drawn(
    photo: Photo, settings: Settings, size: tuple[int, int] | None
) -> tuple[dict[str, Outline], list[str]]:
    """Outlines of the marks in the picture by mark, and why some have none."""
    drawn, problems = {}, []
    for mark in photo.marks:
        try:
            drawn[mark.id] = outline_of(mark, settings, size, f"photo {photo.id}, mark {mark.id}")
        except MarkError as error:
            problems.append(str(error))
    return drawn, problems


def _fitted(
    photo: Photo, pairs: Pairs, rectifier: Rectifier, layout: MemberLayout, drawn: list[Outline]
) -> tuple[LayoutMap, frozenset[Flag]]:
    model = choose_model(pairs, rectifier)
    hand = expected_hand(photo, layout.member)
    side: frozenset[Flag] = frozenset()
    if pairs.in_line:
        may_turn = photo.placement is not None and photo.placement.mirrored is None
        hand, side = _side(pairs, rectifier, layout, drawn, hand) if may_turn else (hand, side)
    else:
        check_hand(photo, layout.member, pairs)
    fitted = fit(pairs, rectifier, model, hand)
    left_out = leave_one_out(pairs, rectifier, model, hand) if fitted.dof else LeftOut.empty(len(pairs))
    return fitted, side | _tilt_flags(model, rectifier) | check_residuals(fitted, left_out)


def _tilt_flags(model: Model, rectifier: Rectifier) -> frozenset[Flag]:
    """Pass on what a scale says of unseen tilt, where the fit does not find the tilt itself."""
    if model == "homography" or rectifier.scale is None:
        return frozenset()
    return rectifier.scale.flags & {Flag.TILT_ASSUMED, Flag.TILT_NOT_STATED}


def _side(
    pairs: Pairs, rectifier: Rectifier, layout: MemberLayout, drawn: list[Outline], hand: int
) -> tuple[int, frozenset[Flag]]:
    """Choose the side that two pairs, or more in one line, cannot tell.

    The face decides. Where it puts a mark off the metal and the other side has every mark on it, the
    other side is taken and flagged.
    """
    try:
        by_rule, by_other = (
            [place_outline(o, fit(pairs, rectifier, "similarity", h), pairs.place) for o in drawn]
            for h in (hand, -hand)
        )
    except CorrosionError:
        # A mark that cannot be placed at all is no witness.
        return hand, frozenset()
    nearly = layout.polygon.buffer(pairs.u_layout)
    off = any(outline.disjoint(layout.polygon) for outline in by_rule)
    if off and all(nearly.covers(outline) for outline in by_other):
        return -hand, frozenset({Flag.SIDE_ASSUMED})
    return hand, frozenset()


def _place_mark(
    photo: Photo, mark: Mark, drawn: Outline, fitted: LayoutMap, flags: frozenset[Flag]
) -> PlacedOutline:
    outline = place_outline(drawn, fitted, f"photo {photo.id}, mark {mark.id}")
    far = Hull.of(fitted.pairs).is_far(outline)
    centre = outline.centroid
    return PlacedOutline(
        photo_id=photo.id,
        mark=mark,
        outline=outline,
        position=(float(centre.x), float(centre.y)),
        u_position=_u_position(drawn, fitted),
        flags=flags | drawn.flags | (frozenset({Flag.EXTRAPOLATED}) if far else frozenset()),
    )


def _u_position(drawn: Outline, fitted: LayoutMap) -> tuple[float, float]:
    """Give the standard uncertainties of a mark's station and offset, mm.

    The mark counts as one click at its centroid; a common edge offset leaves the centroid in place to
    first order.
    """
    centre = shapely.get_coordinates(mark_geometry(drawn).centroid)[0]
    u_station, u_offset = np.sqrt(np.diag(fitted.covariance(centre, drawn.sigma_px)))
    return float(u_station), float(u_offset)
