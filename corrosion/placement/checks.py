"""What the point pairs say about themselves: residuals, distances, and which side is seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, chdtri

from corrosion.errors import PlacementError
from corrosion.model import Member, Photo
from corrosion.placement.fits import LayoutMap, Model, can_carry, fit, hand_of
from corrosion.placement.pairs import Pairs, Rectifier
from corrosion.quantity import FloatArray
from corrosion.scale import PlaneScale
from corrosion.terms import Face, Flag

REFUSE_LEVEL = 0.01
FLAG_LEVEL = 0.05
SCALE_DOUBT = 0.02
SCALE_REFUSED = 0.15
_SURE = 3.0


def expected_hand(photo: Photo, member: Member) -> int:
    """Tell whether the layout should turn like the picture (+1) or appear mirrored (-1).

    Facing the outer face with stations to the right, offsets grow up (against the picture's y) or
    down; the inner face is the mirror image, and `mirrored`, where stated, has the last word.
    """
    outer = -1 if member.outer_view == "offset-up" else 1
    stated = photo.placement.mirrored if photo.placement is not None else None
    mirrored = photo.face is Face.INNER if stated is None else stated
    return -outer if mirrored else outer


def check_hand(photo: Photo, member: Member, pairs: Pairs) -> None:
    """Refuse pairs, not all in one line, that show the other side than the photo is tagged with.

    Raises
    ------
    PlacementError
    """
    if hand_of(pairs) == expected_hand(photo, member):
        return
    stated = photo.placement is not None and photo.placement.mirrored is not None
    says = (
        f"'mirrored' is {photo.placement.mirrored}" if stated and photo.placement else f"face {photo.face}"
    )
    raise PlacementError(
        f"the points show the layout of member {member.id!r} from the other side than {says} says.",
        place=pairs.place,
        remedy="Check the face, the order of the points and the member's 'outer_view'; "
        "state 'mirrored' if the picture itself is mirrored, as in a mirror probe.",
    )


def check_distance(pairs: Pairs, scale: PlaneScale | None) -> frozenset[Flag]:
    """Compare the photo's scale with the layout over the two points farthest apart.

    Returns
    -------
    frozenset of Flag
        `Flag.SCALE_DISAGREES` beyond 2 % and 3 combined standard uncertainties; `Flag.LAYOUT_SCALE`
        where there is no scale to compare.

    Raises
    ------
    PlacementError
        Beyond 15 % and 3 combined standard uncertainties.
    """
    if scale is None:
        return frozenset({Flag.LAYOUT_SCALE})
    ends = list(pairs.farthest())
    drawn = float(np.linalg.norm(np.diff(pairs.layout[ends], axis=0)))
    measured, u_measured = _plane_distance(pairs, scale, pairs.image[ends])
    factor = drawn / measured
    u_factor = factor * math.hypot(math.sqrt(2.0) * pairs.u_layout / drawn, u_measured / measured)
    off = abs(factor - 1.0)
    if off <= _SURE * u_factor or off <= SCALE_DOUBT:
        return frozenset()
    if off > SCALE_REFUSED:
        raise PlacementError(
            f"points {ends[0] + 1} and {ends[1] + 1} are {drawn:.1f} mm apart on the layout but "
            f"{measured:.1f} mm by the photo's scale.",
            place=pairs.place,
            remedy="One of the points or the scale is wrong; check both.",
        )
    return frozenset({Flag.SCALE_DISAGREES})


def _plane_distance(pairs: Pairs, scale: PlaneScale, ends_px: FloatArray) -> tuple[float, float]:
    """Distance of two points by the scale and its standard uncertainty, mm."""
    across = np.diff(scale.to_plane(ends_px), axis=0)[0]
    distance = float(np.linalg.norm(across))
    along = across / distance
    clicks = pairs.sigma_px * along @ scale.jacobian_points(ends_px)
    common = [along @ np.diff(moved, axis=0)[0] for moved in scale.shared_sensitivities(ends_px).values()]
    return distance, float(np.sqrt((clicks**2).sum() + sum((part**2).sum() for part in common)))


@dataclass(frozen=True, eq=False)
class LeftOut:
    """How far each point lies from where the others put it.

    Attributes
    ----------
    residuals : ndarray of shape (n, 2)
        mm; NaN where the others cannot place it.
    standardised : ndarray of shape (n,)
        Length of the residual in combined standard uncertainties (Mahalanobis).
    chi2 : ndarray of shape (n,)
        Of the fit to the others. The wrong point is the one without which the rest agrees best; its
        standardised residual need not be the largest, since it bends the fits it takes part in.
    """

    residuals: FloatArray
    standardised: FloatArray
    chi2: FloatArray

    @classmethod
    def empty(cls, n: int) -> LeftOut:
        """Nothing left out yet: NaN everywhere."""
        return cls(np.full((n, 2), np.nan), np.full(n, np.nan), np.full(n, np.nan))


def leave_one_out(pairs: Pairs, rectifier: Rectifier, model: Model, hand: int) -> LeftOut:
    """Place every point by the others.

    Exact fits show no residual, and a wrong point bends a fit towards itself; this shows both.
    """
    left_out = LeftOut.empty(len(pairs))
    for i in range(len(pairs)):
        others = pairs.without(i)
        if not can_carry(others, model):
            continue
        fitted = fit(others, rectifier, model, hand)
        off = pairs.layout[i] - fitted(pairs.image[i : i + 1])[0]
        covariance = fitted.covariance(pairs.image[i], pairs.sigma_px)
        left_out.residuals[i] = off
        left_out.standardised[i] = math.sqrt(max(off @ np.linalg.solve(covariance, off), 0.0))
        left_out.chi2[i] = fitted.chi2 if fitted.dof else np.nan
    return left_out


def check_residuals(fitted: LayoutMap, left_out: LeftOut) -> frozenset[Flag]:
    """Judge the misfit of a placement.

    Returns
    -------
    frozenset of Flag
        `Flag.NO_RESIDUAL` where the fit is exact by construction; `Flag.RESIDUAL_HIGH` where chi
        squared is above its 95 % point or one point misses the others' prediction (95 %, all points
        together).

    Raises
    ------
    PlacementError
        If chi squared is above its 99 % point.
    """
    if fitted.dof == 0:
        checked = fitted.rectifier.scale is not None and len(fitted.pairs) == 2
        return frozenset() if checked else frozenset({Flag.NO_RESIDUAL})
    chance = float(chdtrc(fitted.dof, fitted.chi2))
    known = np.nan_to_num(left_out.standardised, nan=0.0)
    if chance < REFUSE_LEVEL:
        raise PlacementError(
            f"the points do not fit the layout: {_worst(fitted, left_out)}.",
            place=fitted.pairs.place,
            remedy="Check its place in the picture and on the layout, or widen 'u_layout' "
            "if the drawing is that coarse.",
        )
    limit = math.sqrt(float(chdtri(2, FLAG_LEVEL / len(fitted.pairs))))
    high = chance < FLAG_LEVEL or float(known.max()) > limit
    return frozenset({Flag.RESIDUAL_HIGH}) if high else frozenset()


def _worst(fitted: LayoutMap, left_out: LeftOut) -> str:
    """Name the worst point and how far off it is, where the others can tell."""
    if not np.isfinite(left_out.chi2).any():
        size = np.linalg.norm(fitted.residuals, axis=1).max()
        return f"they miss it by up to {size:.1f} mm, and one point more is needed to tell which is wrong"
    worst = int(np.nanargmin(left_out.chi2))
    off = float(np.linalg.norm(left_out.residuals[worst]))
    station, offset = fitted.pairs.layout[worst]
    where = f"point {worst + 1} at ({station:g}, {offset:g}) mm"
    return f"{where} is {off:.1f} mm from where the others put it"
