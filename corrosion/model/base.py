"""What all parts of the survey file share: strictness, lengths that know their unit, shapes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    StringConstraints,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from corrosion.model import bounds


@dataclass(frozen=True)
class InFileUnits:
    """Marks a number (or nested list of numbers) written in the file's unit to the given power."""

    power: int = 1


@dataclass(frozen=True)
class AtLeast:
    """Refuses positive numbers too small to be meant, and says so in the JSON Schema."""

    least: float

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Check after the number's other rules, so that 0 is still called not positive."""
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Add the bound to the number's schema."""
        return {**handler(core), "minimum": self.least}

    def _check(self, value: float) -> float:
        if value < self.least:
            raise PydanticCustomError(
                "too_small", "Input should be at least {least}", {"least": f"{self.least:.14f}".rstrip("0")}
            )
        return value


def _between(low: float, high: float) -> FieldInfo:
    return Field(ge=low, le=high, allow_inf_nan=False)  # type: ignore[no-any-return]


def _positive(high: float) -> FieldInfo:
    return Field(gt=0, le=high, allow_inf_nan=False)  # type: ignore[no-any-return]


Pixel = Annotated[float, _between(-bounds.MOST_PX, bounds.MOST_PX)]
PositivePixel = Annotated[float, _positive(bounds.MOST_PX), AtLeast(bounds.LEAST_PX)]
NonNegativePixel = Annotated[float, _between(0, bounds.MOST_PX)]
Ratio = Annotated[float, _positive(bounds.MOST_RATIO), AtLeast(bounds.LEAST_RATIO)]
NonNegativeRatio = Annotated[float, _between(0, bounds.MOST_RATIO)]
Amount = Annotated[float, _between(0, bounds.MOST_AMOUNT)]
Angle = Annotated[float, _between(-bounds.MOST_TURN_DEG, bounds.MOST_TURN_DEG)]
Readout = Annotated[float, _between(-bounds.MOST_READOUT, bounds.MOST_READOUT)]
Count = Annotated[int, Field(ge=0, le=bounds.MOST_COUNT)]
PositiveCount = Annotated[int, Field(gt=0, le=bounds.MOST_COUNT)]

PlainLength = Annotated[float, _between(-bounds.MOST_LENGTH, bounds.MOST_LENGTH)]
"""A length or coordinate whose list or pair is marked `InFileUnits` as a whole."""
PlainPositiveLength = Annotated[float, _positive(bounds.MOST_LENGTH), AtLeast(bounds.LEAST_LENGTH)]

Length = Annotated[PlainLength, InFileUnits()]
PositiveLength = Annotated[PlainPositiveLength, InFileUnits()]
NonNegativeLength = Annotated[float, _between(0, bounds.MOST_LENGTH), InFileUnits()]
PositiveArea = Annotated[float, _positive(bounds.MOST_AREA), AtLeast(bounds.LEAST_AREA), InFileUnits(2)]

PixelPoint = tuple[Pixel, Pixel]
"""(x, y) in the upright picture; the centre of the top-left pixel is (0, 0)."""

LayoutPoint = Annotated[tuple[PlainLength, PlainLength], InFileUnits()]
"""(station, offset) on the developed surface, in the file's unit."""

LayoutRing = Annotated[list[tuple[PlainLength, PlainLength]], Field(min_length=3), InFileUnits()]

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
    radius: PositivePixel


class EllipseShape(Part):
    """Ellipse by centre, semi-axes and the angle from the x axis to the first semi-axis.

    The angle is in degrees, positive from x towards y (clockwise on a screen, where y points down).
    """

    type: Literal["Ellipse"] = "Ellipse"
    center: PixelPoint
    semi_axes: tuple[PositivePixel, PositivePixel]
    angle_deg: Angle = 0.0


Shape = Annotated[
    PolygonShape | LineShape | PointShape | CircleShape | EllipseShape, Field(discriminator="type")
]
AreaShape = Annotated[PolygonShape | CircleShape | EllipseShape, Field(discriminator="type"), InFileUnits()]
"""A shape on the layout: every coordinate and axis in the file's unit (pixels have a length's bounds)."""
