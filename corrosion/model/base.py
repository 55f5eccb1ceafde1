"""What all parts of the survey file share: strictness, lengths that know their unit, shapes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator


@dataclass(frozen=True)
class InFileUnits:
    """Marks a number (or nested list of numbers) written in the file's unit to the given power."""

    power: int = 1


Finite = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NonNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]

Length = Annotated[float, Field(allow_inf_nan=False), InFileUnits()]
PositiveLength = Annotated[float, Field(gt=0, allow_inf_nan=False), InFileUnits()]
NonNegativeLength = Annotated[float, Field(ge=0, allow_inf_nan=False), InFileUnits()]

PixelPoint = tuple[Finite, Finite]
"""(x, y) in the upright picture; the centre of the top-left pixel is (0, 0)."""

LayoutPoint = Annotated[tuple[Finite, Finite], InFileUnits()]
"""(station, offset) on the developed surface, in the file's unit."""

LayoutRing = Annotated[list[tuple[Finite, Finite]], Field(min_length=3), InFileUnits()]

Identifier = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=r"^[^\x00-\x1f/\\]+$"),
]
Text = Annotated[str, Field(max_length=4000)]
IsoDate = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$", examples=["2031-04-17"])]
ZoneNumber = Annotated[str, Field(pattern=r"^\d{3}[A-Z0-9-]{0,6}$", examples=["334"])]


class Part(BaseModel):
    """Base of every part: immutable, and an unknown field is an error, not a silent loss."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class PolygonShape(Part):
    """GeoJSON-like polygon: outer ring first, then holes. Rings may be left unclosed."""

    type: Literal["Polygon"] = "Polygon"
    coordinates: list[list[PixelPoint]] = Field(min_length=1)

    @model_validator(mode="after")
    def _rings_enclose(self) -> PolygonShape:
        for ring in self.coordinates:
            corners = ring[:-1] if len(ring) > 1 and ring[0] == ring[-1] else ring
            if len(corners) < 3:
                raise ValueError(f"a ring needs 3 different corners, this one has {len(corners)}")
        return self


class LineShape(Part):
    """GeoJSON-like line."""

    type: Literal["LineString"] = "LineString"
    coordinates: list[PixelPoint] = Field(min_length=2)


class PointShape(Part):
    """GeoJSON-like point."""

    type: Literal["Point"] = "Point"
    coordinates: PixelPoint


class CircleShape(Part):
    """Circle by centre and radius (the photo's pixels, or the layout's unit)."""

    type: Literal["Circle"] = "Circle"
    center: PixelPoint
    radius: Positive


class EllipseShape(Part):
    """Ellipse by centre, semi-axes and the angle from the x axis to the first semi-axis.

    The angle is in degrees, positive from x towards y (clockwise on a screen, where y points down).
    """

    type: Literal["Ellipse"] = "Ellipse"
    center: PixelPoint
    semi_axes: tuple[Positive, Positive]
    angle_deg: Finite = 0.0


Shape = Annotated[
    PolygonShape | LineShape | PointShape | CircleShape | EllipseShape, Field(discriminator="type")
]
AreaShape = Annotated[PolygonShape | CircleShape | EllipseShape, Field(discriminator="type"), InFileUnits()]
"""A shape on the layout: every coordinate and axis in the file's unit."""
