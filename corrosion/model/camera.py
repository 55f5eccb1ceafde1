"""What took a photo, and the shape of what it shows: lens profiles and curved surfaces."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from corrosion.model.base import (
    Count,
    Identifier,
    InFileUnits,
    NonNegativeLength,
    NonNegativePixel,
    Part,
    Pixel,
    PixelPoint,
    PlainPositiveLength,
    PositiveCount,
    PositiveLength,
    PositivePixel,
    Readout,
    Text,
)
from corrosion.model.bounds import MOST_COEFFICIENT

Coefficient = Annotated[float, Field(ge=-MOST_COEFFICIENT, le=MOST_COEFFICIENT)]


class LensProfile(Part):
    """A calibrated lens, bound to one device and picture size.

    `matrix` is (fx, fy, cx, cy) in pixels, pixel-centre convention; `distortion` holds OpenCV's
    coefficients, (k1, k2, p1, p2, k3) for ``pinhole`` and (k1, k2, k3, k4) for ``fisheye``.

    It holds for what it was made with: `device`, `adapter` (a probe's tip), `focus` and the
    `distance_range` of the board. `covariance` is that of (fx, fy, cx, cy) and the distortion in this
    order. `field` goes round where the board was seen: beyond it the model is a guess.
    """

    id: Identifier
    model: Literal["pinhole", "fisheye"] = "pinhole"
    device: Text = ""
    size: tuple[PositiveCount, PositiveCount]
    matrix: tuple[PositivePixel, PositivePixel, Pixel, Pixel]
    distortion: list[Coefficient] = Field(min_length=4, max_length=8)
    # Residual uncertainty of an undistorted coordinate, px, from the calibration's RMS.
    u_px: NonNegativePixel = 0.0
    adapter: Text = ""
    focus: Text = ""
    distance_range: Annotated[tuple[PlainPositiveLength, PlainPositiveLength], InFileUnits()] | None = None
    covariance: list[list[Readout]] | None = None
    # False where the focal length is only assumed, as after straightening one edge.
    focal_known: bool = True
    # How the calibration went: misfit, number of views, share of the frame that board corners covered.
    rms_px: NonNegativePixel | None = None
    views: Count | None = None
    covered: Annotated[float, Field(ge=0, le=1)] | None = None
    field: list[PixelPoint] = []
    note: Text = ""

    @model_validator(mode="after")
    def _consistent(self) -> LensProfile:
        count = 4 + len(self.distortion)
        if self.covariance is not None and [len(row) for row in self.covariance] != [count] * count:
            raise ValueError(
                f"'covariance' must have {count} rows of {count}: 4 of the matrix, then distortion"
            )
        if self.distance_range is not None and self.distance_range[0] >= self.distance_range[1]:
            raise ValueError("'distance_range' is (nearest, furthest)")
        if self.field and len(self.field) < 3:
            raise ValueError("'field' needs 3 points or more")
        return self


class CylinderSurface(Part):
    """The photographed surface is a cylinder: a leading edge, a tube. It is unrolled.

    `seen_from` says which side the camera sees: the outside, which bulges towards it, or the inside of a
    tube or of a concave skin, whose sides come towards it. `axis` are two picture points on the line along
    which the scale's plane touches the surface; seen square on, that is the middle line. `sigma_px` is the
    standard uncertainty of such a point.
    """

    kind: Literal["cylinder"] = "cylinder"
    seen_from: Literal["outside", "inside"] = "outside"
    radius: PositiveLength
    u_radius: NonNegativeLength | None = None
    axis: tuple[PixelPoint, PixelPoint] | None = None
    sigma_px: PositivePixel | None = None
