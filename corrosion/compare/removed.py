"""Thickness removed between two surveys: the sum now minus the sum then, place by place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corrosion.compare.growth import Terms
from corrosion.compare.ratio import critical
from corrosion.compare.results import MemberChange
from corrosion.compare.shares import of_survey
from corrosion.model import Member
from corrosion.quantity import FloatArray, Measured, total
from corrosion.removal import MemberRemoval
from corrosion.removal.cells import key_points
from corrosion.removal.entries import Entry
from corrosion.results import MemberAssessment, Point

SAME_FOOTPRINT = 0.99
"""Share of overlap from which two outlines of equal depth are one record carried over; coordinates are
rounded on their way through files (a choice of ours)."""

GRID = 24
"""Places across an entry at which two sums are compared, besides the deepest ones (a choice of ours)."""


@dataclass(frozen=True)
class Sum:
    """One survey's side of a member."""

    assessed: MemberAssessment
    removal: MemberRemoval


def member_change(earlier: Sum, later: Sum, terms: Terms) -> MemberChange:
    """Compare what two surveys say was removed of one member.

    Parameters
    ----------
    earlier, later : Sum
    terms : Terms

    Returns
    -------
    MemberChange
        Entries that both surveys hold unchanged are one reading: their errors cancel.
    """
    carried = _carried(earlier.removal.entries, later.removal.entries)
    most, at, least, least_at = _extremes(earlier, later, terms, carried)
    return MemberChange(
        member_id=later.assessed.member.id,
        earlier=earlier.assessed.deepest,
        later=later.assessed.deepest,
        most=most,
        at=at,
        least=least,
        least_at=least_at,
        missing=_missing(earlier.removal, later.removal, terms),
        volume=_volume(earlier, later, terms),
        notes=tuple(_layout_changes(earlier.assessed.member, later.assessed.member)),
    )


def _carried(earlier: list[Entry], later: list[Entry]) -> dict[str, str]:
    """Later entries that are entries of the earlier survey, unchanged: later id to earlier id."""
    carried: dict[str, str] = {}
    for entry in later:
        twin = next((one for one in earlier if _same(one, entry)), None)
        if twin is not None:
            carried[entry.id] = twin.id
    return carried


def _same(one: Entry, other: Entry) -> bool:
    alike = (
        one.face is other.face
        and one.from_original == other.from_original
        and np.isclose(one.depth, other.depth, rtol=1e-6)
        and np.isclose(one.u, other.u, rtol=1e-6)
        and (one.date == other.date or one.date is None or other.date is None)
    )
    if not alike:
        return False
    common = one.footprint.intersection(other.footprint).area
    return bool(common >= SAME_FOOTPRINT * max(one.footprint.area, other.footprint.area))


def _extremes(
    earlier: Sum, later: Sum, terms: Terms, carried: dict[str, str]
) -> tuple[Measured | None, Point | None, Measured | None, Point | None]:
    """Largest difference with its place, and the most negative one if it is beyond its uncertainty."""
    points = _points(earlier.removal, later.removal, carried)
    if len(points) == 0:
        return None, None, None, None
    difference = later.removal.field(points).removed - earlier.removal.field(points).removed
    at, low = (_at(points, int(pick(difference))) for pick in (np.argmax, np.argmin))
    most = _difference(earlier, later, at, terms, carried)
    least = _difference(earlier, later, low, terms, carried)
    lost = least.value < -critical(terms.level) * least.u
    more = most.value >= 0.0
    return most if more else None, at if more else None, least if lost else None, low if lost else None


def _points(earlier: MemberRemoval, later: MemberRemoval, carried: dict[str, str]) -> FloatArray:
    """Places, on both layouts, where the sums of two surveys may differ most.

    Where only carried entries lie nothing differs. Elsewhere the deepest places of every entry and of
    every overlap are looked at, and a grid over each entry that is not carried.
    """
    kept = set(carried.values())
    fresh = [one.footprint for one in earlier.entries if one.id not in kept]
    fresh += [one.footprint for one in later.entries if one.id not in carried]
    looked = [deepest_points(one) for one in (earlier, later)]
    points = np.concatenate([np.empty((0, 2)), *looked, *(grid_over(shape) for shape in fresh)])
    for removal in (earlier, later):
        points = points[removal.layout.contains(points)]
    return points


def deepest_points(removal: MemberRemoval) -> FloatArray:
    """Points (n, 2), mm, at which a member's sum may be deepest: of each entry and each overlap."""
    return key_points(removal.entries) if removal.entries else np.empty((0, 2))


def grid_over(shape: BaseGeometry, across: int = GRID) -> FloatArray:
    """Points of a grid, `across` each way, that lie inside a shape: (n, 2), mm."""
    low_s, low_o, high_s, high_o = shape.bounds
    step = (np.arange(across) + 0.5) / across
    stations, offsets = np.meshgrid(low_s + step * (high_s - low_s), low_o + step * (high_o - low_o))
    points = np.column_stack([stations.ravel(), offsets.ravel()])
    return np.asarray(points[shapely.intersects_xy(shape, points[:, 0], points[:, 1])])


def _at(points: FloatArray, index: int) -> Point:
    return float(points[index, 0]), float(points[index, 1])


def _difference(earlier: Sum, later: Sum, at: Point, terms: Terms, carried: dict[str, str]) -> Measured:
    now, then = later.removal.spot(at).removed, earlier.removal.spot(at).removed
    names = {f"depth of {after}": f"depth of {before}" for after, before in carried.items()}
    kept = {f"depth of {before}" for before in carried.values()}
    now = replace(now, own={names.get(name, f"later {name}"): part for name, part in now.own.items()})
    then = replace(
        then, own={name if name in kept else f"earlier {name}": part for name, part in then.own.items()}
    )
    # The same key on both sides is one reading seen twice.
    after = of_survey(replace(now, own={}), "later", terms.common)
    before = of_survey(replace(then, own={}), "earlier", terms.common)
    parts = [
        replace(after, shared={**after.shared, **_vectors(now)}),
        replace(before, shared={**before.shared, **_vectors(then)}).scaled(-1.0),
    ]
    return total(parts, "mm")


def _vectors(measured: Measured) -> dict[str, FloatArray]:
    return {f"own {name}": np.array([part]) for name, part in measured.own.items()}


def _missing(earlier: MemberRemoval, later: MemberRemoval, terms: Terms) -> tuple[str, ...]:
    """Entries of the earlier survey at whose deepest place the later sum is smaller beyond doubt."""
    if not earlier.entries:
        return ()
    points = np.array([entry.profile.deepest for entry in earlier.entries])
    then, now = earlier.field(points), later.field(points)
    short = then.removed - now.removed > critical(terms.level) * np.hypot(then.u, now.u)
    return tuple(entry.id for entry, less in zip(earlier.entries, short, strict=True) if less)


def _volume(earlier: Sum, later: Sum, terms: Terms) -> Measured:
    now = of_survey(later.assessed.removed_volume_mm3, "later", terms.common, "volume")
    then = of_survey(earlier.assessed.removed_volume_mm3, "earlier", terms.common, "volume")
    return total([now, then.scaled(-1.0)], "mm3")


def _layout_changes(before: Member, after: Member) -> list[str]:
    """Say what of a member's layout is not as it was, so that places or limits may not compare."""
    notes = []
    if not shapely.Polygon(before.outline).equals(shapely.Polygon(after.outline)):
        notes.append("its outline was redrawn: places compare only if the frame stayed the same")
    if not np.isclose(before.thickness, after.thickness):
        notes.append(f"its thickness is {after.thickness:g} mm now, {before.thickness:g} mm then")
    if before.limit != after.limit or before.limit_zones != after.limit_zones:
        notes.append("its limits changed; the later survey's hold here")
    if before.offset_is != after.offset_is or before.outer_view != after.outer_view:
        notes.append("its offset is stated another way: check that both surveys count from the same line")
    return notes
