"""A member's layout: where its metal is, how thick it is there and how much of it may go.

The layout frame is (station, offset) in mm on the developed surface, the same for both faces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from corrosion.errors import LayoutError
from corrosion.model import Limit, Member, Structure
from corrosion.quantity import FloatArray
from corrosion.terms import Flag
from corrosion.units import parse_station

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class _Zone:
    """Part of a member with its own thickness or limit."""

    outline: Polygon
    thickness: float = 0.0
    u_thickness: float = 0.0
    limit: Limit | None = None


@dataclass(frozen=True)
class MemberLayout:
    """A member, checked, with its geometry ready. Lengths in mm; points are arrays (n, 2)."""

    member: Member
    polygon: Polygon
    limit_zones: tuple[_Zone, ...]
    thickness_zones: tuple[_Zone, ...]

    @classmethod
    def of(cls, member: Member, structure: Structure) -> MemberLayout:
        """Check a member (in mm) and build its layout.

        Raises
        ------
        LayoutError
            If an outline crosses itself, a zone lies off the member, or a limit is not less than the
            thickness.
        """
        place = f"structure {structure.name!r}, member {member.id!r}"
        outline = _outline(member.outline, place)
        layout = cls(
            member=member,
            polygon=outline,
            limit_zones=tuple(
                _Zone(_zone_outline(z.outline, outline, f"{place}, limit zone {z.id!r}"), limit=z.limit)
                for z in member.limit_zones
            ),
            thickness_zones=tuple(
                _Zone(
                    _zone_outline(z.outline, outline, f"{place}, thickness zone {z.id!r}"),
                    z.thickness,
                    z.u_thickness,
                )
                for z in member.thickness_zones
            ),
        )
        layout._check_limits(place)
        return layout

    def _check_limits(self, place: str) -> None:
        zoned = shapely.union_all([zone.outline for zone in self.limit_zones])
        rules = [(self.member.limit, self.polygon.difference(zoned), place)]
        rules += [
            (zone.limit, zone.outline.intersection(self.polygon), f"{place}, limit zone {named.id!r}")
            for zone, named in zip(self.limit_zones, self.member.limit_zones, strict=True)
        ]
        for limit, where, who in rules:
            thinnest = self._thinnest_in(where)
            if limit is not None and limit.depth is not None and limit.depth >= thinnest:
                raise LayoutError(
                    f"the blend limit of {limit.depth:g} mm is not less than the {thinnest:g} mm of metal.",
                    place=who,
                    remedy="Check the unit of the limit and of the thickness.",
                )

    def _thinnest_in(self, where: BaseGeometry) -> float:
        """Least thickness over an area, mm; infinite over none."""
        thinnest, left = np.inf, where
        for zone in self.thickness_zones:
            if where.intersection(zone.outline).area > 0.0:
                thinnest = min(thinnest, zone.thickness)
            left = left.difference(zone.outline)
        return min(thinnest, self._reference[0]) if left.area > 0.0 else thinnest

    @property
    def _reference(self) -> tuple[float, float]:
        """Reference thickness outside thickness zones and its standard uncertainty, mm."""
        m = self.member
        if m.thickness_measured is not None:
            return m.thickness_measured, m.u_thickness_measured
        return m.thickness, m.u_thickness

    @property
    def thickness_is_nominal(self) -> bool:
        """Whether the reference thickness is the drawing's, not a measured one."""
        return self.member.thickness_measured is None

    @cached_property
    def has_unlimited_area(self) -> bool:
        """Whether some part of the member has no limit set."""
        if self.member.limit is not None:
            return False
        limited = shapely.union_all([zone.outline for zone in self.limit_zones])
        return bool(self.polygon.difference(limited).area > 0.0)

    def contains(self, points: FloatArray) -> BoolArray:
        """Whether each point lies on the member, its edge included."""
        return _inside(self.polygon, points)

    def thickness_at(self, points: FloatArray) -> FloatArray:
        """Give the reference thickness at each point, mm; where thickness zones overlap, the thinnest."""
        return self._thickness(points)[0]

    def u_thickness_at(self, points: FloatArray) -> FloatArray:
        """Give the standard uncertainty of the reference thickness at each point, mm."""
        return self._thickness(points)[1]

    def _thickness(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        thickness = np.full(len(points), self._reference[0])
        u = np.full(len(points), self._reference[1])
        # Thickest first, so that the thinnest has the last word.
        for zone in sorted(self.thickness_zones, key=lambda z: -z.thickness):
            inside = _inside(zone.outline, points)
            thickness[inside], u[inside] = zone.thickness, zone.u_thickness
        return thickness, u

    def limit_at(self, points: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
        """Limit at each point and which limit it is.

        Returns
        -------
        limit : ndarray of shape (n,)
            Most that may be removed, mm; NaN where no limit is set.
        index : ndarray of shape (n,), int64
            -1 for none, 0 for the member's own, k for limit zone k - 1. A zone replaces the member's
            limit; where zones overlap the smallest holds.
        """
        thickness = self.thickness_at(points)
        own = self.member.limit
        limit = _most(own, thickness)
        index = np.full(len(points), -1 if own is None else 0, dtype=np.int64)
        zoned = np.zeros(len(points), dtype=bool)
        for number, zone in enumerate(self.limit_zones, start=1):
            here = _most(zone.limit, thickness)
            takes = _inside(zone.outline, points) & (~zoned | (here < limit))
            limit = np.where(takes, here, limit)
            index = np.where(takes, number, index)
            zoned |= takes
        return limit, index

    def u_limit_at(self, points: FloatArray) -> FloatArray:
        """Give the standard uncertainty of the limit, mm, which a fraction takes from the thickness."""
        index = self.limit_at(points)[1]
        fractions = np.array([limit.fraction or 0.0 if limit else 0.0 for limit in self._limits])
        return np.asarray(fractions[index] * self.u_thickness_at(points))

    @property
    def _limits(self) -> list[Limit | None]:
        """Limits by index: the member's, the zones', and none as the last (index -1)."""
        return [self.member.limit, *(zone.limit for zone in self.limit_zones), None]

    def limit_source_at(self, point: FloatArray | Sequence[float]) -> str:
        """Document that sets the limit at one point; empty where none is set."""
        index = int(self.limit_at(np.asarray(point, dtype=np.float64).reshape(1, 2))[1][0])
        limit = self._limits[index]
        return limit.source if limit else ""

    def cut(self, station: float) -> BaseGeometry:
        """Cut across the member at a station: the line's part on the metal."""
        _, low, _, high = self.polygon.bounds
        return self.polygon.intersection(LineString([(station, low - 1.0), (station, high + 1.0)]))

    def section_width(self, station: float) -> float:
        """Width of metal on a cut at a station, mm."""
        return float(self.cut(station).length)

    def section_area(self, station: float) -> float:
        """Area of metal on a cut at a station, mm2, exact with thickness zones."""
        left = self.cut(station)
        area = 0.0
        for zone in sorted(self.thickness_zones, key=lambda z: z.thickness):
            area += float(left.intersection(zone.outline).length) * zone.thickness
            left = left.difference(zone.outline)
        return area + float(left.length) * self._reference[0]


def _most(limit: Limit | None, thickness: FloatArray) -> FloatArray:
    if limit is None:
        return np.full(len(thickness), np.nan)
    if limit.depth is not None:
        return np.full(len(thickness), limit.depth)
    return np.asarray((limit.fraction or 0.0) * thickness)


def _inside(outline: Polygon, points: FloatArray) -> BoolArray:
    shapely.prepare(outline)
    return np.asarray(shapely.intersects_xy(outline, points[:, 0], points[:, 1]), dtype=bool)


def _outline(ring: list[tuple[float, float]], place: str) -> Polygon:
    outline = Polygon(ring)
    if not outline.is_valid or outline.area <= 0.0:
        why = "it encloses no area" if outline.is_valid else explain_validity(outline)
        raise LayoutError(
            f"the outline is not a simple shape ({why}).",
            place=place,
            remedy="List its corners once round, without crossing.",
        )
    return outline


def _zone_outline(ring: list[tuple[float, float]], member: Polygon, place: str) -> Polygon:
    outline = _outline(ring, place)
    if outline.intersection(member).area <= 0.0:
        raise LayoutError(
            "the zone lies off its member.", place=place, remedy="Check its coordinates and their unit."
        )
    return outline


def station_mm(
    station: float | str, structure: Structure, mm_per_unit: float
) -> tuple[float, frozenset[Flag]]:
    """Layout station, mm, of a station as written in the survey's unit.

    A plug's stations count from the plug's origin in the structure's table; a suffix the table lacks
    counts as unplugged and is flagged.

    Parameters
    ----------
    station : float or str
        Such as 412.0 or ``"340B+10.25"``.
    structure : Structure
        In millimetres.
    mm_per_unit : float
        Millimetres in the unit the station is written in.

    Raises
    ------
    UnitsError
        If the station cannot be read.
    """
    read = parse_station(station)
    if not read.plug:
        return read.number * mm_per_unit, frozenset()
    for plug in structure.plugs:
        origin = parse_station(plug.station)
        if origin.plug == read.plug and origin.text == read.text[: len(origin.text)]:
            return plug.at + (read.number - origin.number) * mm_per_unit, frozenset()
    return read.number * mm_per_unit, frozenset({Flag.PLUG_UNKNOWN})
