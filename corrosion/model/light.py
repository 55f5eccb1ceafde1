"""What a depth by light was read from: a shadow in the photo, or the travel of a focus."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from corrosion.model.base import (
    Angle,
    AtLeast,
    InFileUnits,
    IsoDate,
    NonNegativeLength,
    NonNegativeRatio,
    Part,
    PixelPoint,
    PlainLength,
    PositiveLength,
    PositivePixel,
    Ratio,
    Readout,
    Text,
)
from corrosion.model.bounds import LEAST_RATIO

TwoPoints = tuple[PixelPoint, PixelPoint]


class LampAngle(Part):
    """A lamp at a known angle above the surface."""

    kind: Literal["lamp"] = "lamp"
    elevation_deg: Annotated[float, Field(gt=0, lt=90, allow_inf_nan=False)]
    u_elevation_deg: Annotated[float, Field(gt=0, le=90), AtLeast(LEAST_RATIO)]


class ShadowPost(Part):
    """A post of known height standing on the surface in the same light (a gnomon).

    `image` runs from the foot of the post to the tip of its shadow.
    """

    kind: Literal["post"] = "post"
    height: PositiveLength
    u_height: NonNegativeLength
    image: TwoPoints


Light = Annotated[LampAngle | ShadowPost, Field(discriminator="kind")]


class ShadowDepth(Part):
    """The shadow that a pit's rim throws into it.

    `image` runs along the light, from the rim to the shadow's tip; where the shadow ends on the far wall
    or there is none, across the whole pit.
    """

    kind: Literal["shadow"] = "shadow"
    image: TwoPoints
    light: Light
    ends_on: Literal["floor", "far wall", "no shadow"] = "floor"
    # Angle between the line of sight and the surface's normal, and which way the camera leans,
    # counted from the direction the light runs.
    sight_tilt_deg: Annotated[float, Field(ge=0, lt=90, allow_inf_nan=False)] = 0.0
    u_sight_tilt_deg: Annotated[float, Field(ge=0, le=90)] = 0.0
    sight_azimuth_deg: Angle = 0.0
    # Angle that the lamp's face subtends at the pit: it blurs the shadow's edge.
    lamp_width_deg: Annotated[float, Field(ge=0, lt=90, allow_inf_nan=False)] = 0.0
    floor_mirrors: bool = False
    sigma_px: PositivePixel | None = None
    date: IsoDate | None = None
    note: Text = ""


class FocusSetting(Part):
    """Readings of the travel scale with one height in focus.

    Give `sharpness` for a curve of at least five steps; without it the readings are repeats judged by eye,
    which need the `depth_of_field`.
    """

    readings: Annotated[list[PlainLength], Field(min_length=1, max_length=1000), InFileUnits()]
    sharpness: Annotated[list[Readout], Field(max_length=1000)] = []
    depth_of_field: PositiveLength | None = None
    # Direction of travel when it was set; both where they were mixed.
    approached: Literal["up", "down", "both"] = "up"

    @model_validator(mode="after")
    def _is_curve_or_judged(self) -> FocusSetting:
        if self.sharpness and len(self.sharpness) != len(self.readings):
            raise ValueError("a focus curve needs one 'sharpness' for each reading")
        if not self.sharpness and self.depth_of_field is None:
            raise ValueError("focus judged by eye needs 'depth_of_field'")
        return self


class FocusDepth(Part):
    """The travel between focus on a pit's rim and on its floor."""

    kind: Literal["focus"] = "focus"
    rim: FocusSetting
    floor: FocusSetting
    # True travel per travel reading.
    travel_scale: Ratio = 1.0
    u_travel_scale: NonNegativeRatio = 0.0
    backlash: NonNegativeLength | None = None
    date: IsoDate | None = None
    note: Text = ""


DepthByLight = Annotated[ShadowDepth | FocusDepth, Field(discriminator="kind")]


class LightRule(Part):
    """The user's rule that depths by light may prove a depth within its limit; it needs its source."""

    source: Annotated[str, Field(min_length=1, max_length=4000, pattern=r"\S")]
