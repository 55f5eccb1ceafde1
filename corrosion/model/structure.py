"""The structure: members, their limits with sources, stations and fasteners."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from corrosion.model.base import (
    Identifier,
    LayoutPoint,
    LayoutRing,
    Length,
    NonNegativeLength,
    Part,
    PositiveLength,
    Text,
    ZoneNumber,
)
from corrosion.model.bounds import LEAST_DENSITY, MOST_DENSITY


class Limit(Part):
    """Blend limit: most thickness that may be removed, and who says so.

    Either `fraction` of the reference thickness, or `depth`; the source is not optional.
    """

    fraction: Annotated[float, Field(gt=0, lt=1)] | None = None
    depth: PositiveLength | None = None
    source: Annotated[str, Field(min_length=1, max_length=500)]

    @model_validator(mode="after")
    def _one_of(self) -> Limit:
        if (self.fraction is None) == (self.depth is None):
            raise ValueError("give exactly one of 'fraction' and 'depth'")
        if not self.source.strip():
            raise ValueError("a limit needs its source: document, paragraph, revision")
        return self


class LimitZone(Part):
    """Part of a member with a limit of its own, for instance along a fastener row.

    Inside the zone its limit replaces the member's. Where zones overlap the smaller limit holds.
    """

    id: Identifier
    outline: LayoutRing
    limit: Limit


class ThicknessZone(Part):
    """Part of a member with another original thickness: a chem-milled pocket, a land, a doubler."""

    id: Identifier
    outline: LayoutRing
    thickness: PositiveLength
    u_thickness: NonNegativeLength = 0.0


class Fastener(Part):
    """A fastener on the layout."""

    id: Identifier | None = None
    at: LayoutPoint
    diameter: PositiveLength


class StationLine(Part):
    """A named station drawn on the map: a frame, rib or bulkhead. `at` is the layout station."""

    label: Annotated[str, Field(min_length=1, max_length=40)]
    at: Length


class Plug(Part):
    """Origin of a plug's stations on the layout: ``340B`` begins at `at`."""

    station: Annotated[str, Field(pattern=r"^[+-]?\d+(\.\d+)?[A-Z]{1,2}$", examples=["340B"])]
    at: Length


class Member(Part):
    """One sheet, web, cap or rib, developed flat.

    `outline` is in (station, offset). `thickness` is the drawing's; `thickness_measured`, read on
    unblended metal near by, is better and takes its place as the reference of a fractional limit.
    `outer_view` says how the layout looks to someone facing the outer face with stations growing to
    the right; the inner face shows the mirror image.
    """

    id: Identifier
    name: Text = ""
    kind: Annotated[str, Field(min_length=1, max_length=40, examples=["skin", "spar web", "rib"])]
    zone: ZoneNumber
    material: Annotated[str, Field(min_length=1, max_length=80, examples=["2024-T3 clad"])]
    thickness: PositiveLength
    u_thickness: NonNegativeLength = 0.0
    thickness_measured: PositiveLength | None = None
    u_thickness_measured: NonNegativeLength = 0.0
    clad_thickness: NonNegativeLength | None = None
    density_kg_m3: Annotated[float, Field(ge=LEAST_DENSITY, le=MOST_DENSITY)] | None = None
    offset_is: Annotated[str, Field(max_length=40, examples=["chordwise", "buttock line"])] = ""
    outer_view: Literal["offset-up", "offset-down"] = "offset-up"
    main_direction: Literal["station", "offset"] = "station"
    outline: LayoutRing
    limit: Limit | None = None
    limit_zones: list[LimitZone] = []
    thickness_zones: list[ThicknessZone] = []
    fasteners: list[Fastener] = []
    stations: list[StationLine] = []


class Structure(Part):
    """An assembly under survey."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    zone: ZoneNumber | None = None
    aircraft: Text = ""
    serial: Text = ""
    note: Text = ""
    plugs: list[Plug] = []
    members: list[Member] = []

    @model_validator(mode="after")
    def _unique_members(self) -> Structure:
        ids = [member.id for member in self.members]
        for one in ids:
            if ids.count(one) > 1:
                raise ValueError(f"member id {one!r} occurs {ids.count(one)} times")
        return self
