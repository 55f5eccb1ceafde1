"""A photo of the survey: its scale, its place on the layout, its marks and their depths."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from corrosion.errors import UnitsError
from corrosion.model.base import (
    Count,
    Identifier,
    InFileUnits,
    IsoDate,
    LayoutPoint,
    NonNegativeLength,
    NonNegativePixel,
    NonNegativeRatio,
    Part,
    PixelPoint,
    PlainLength,
    PlainPositiveLength,
    PositiveCount,
    PositiveLength,
    PositivePixel,
    Ratio,
    Shape,
    Text,
    ZoneNumber,
)
from corrosion.model.bounds import MOST_COUNT, MOST_LENGTH
from corrosion.model.camera import CylinderSurface
from corrosion.model.light import DepthByLight
from corrosion.terms import (
    DepthMethod,
    Face,
    MarkKind,
    MeasuredFrom,
    ProfileKind,
    Relation,
    View,
)
from corrosion.units import parse_station

ID1_SIZE_MM = (85.60, 53.98)
"""ISO/IEC 7810 ID-1 card, nominal width and height in mm (value from memory)."""


def _readable_station(station: float | str) -> float | str:
    try:
        number = parse_station(station).number
    except UnitsError as error:
        raise ValueError(str(error)) from error
    if abs(number) > MOST_LENGTH:
        raise ValueError(f"a station is at most {MOST_LENGTH:.0f} from its origin")
    return station


StationText = Annotated[float | str, Field(union_mode="left_to_right"), AfterValidator(_readable_station)]
"""A station as written, in the file's unit: 412.5 or ``"340B+10.25"``."""

PlanePoint = Annotated[tuple[PlainLength, PlainLength], InFileUnits()]


class _ScaleBase(Part):
    # Standard uncertainty of one clicked coordinate, px; None takes the survey's setting.
    sigma_px: PositivePixel | None = None
    # How far the reference stands above the surface under inspection.
    height: NonNegativeLength = 0.0
    u_height: NonNegativeLength = 0.0


class BarScale(_ScaleBase):
    """Two points a known distance apart. Blind to tilt: state the largest tilt for an uncertainty."""

    kind: Literal["bar"] = "bar"
    image: tuple[PixelPoint, PixelPoint]
    length: PositiveLength
    u_length: NonNegativeLength | None = None
    max_tilt_deg: Annotated[float, Field(ge=0, lt=90)] | None = None


class PointsScale(_ScaleBase):
    """Four or more points of known place on the surface plane."""

    kind: Literal["points"] = "points"
    image: list[PixelPoint] = Field(min_length=4)
    plane: list[PlanePoint] = Field(min_length=4)
    # Standard uncertainty of one plane coordinate, independent from point to point.
    u_plane: NonNegativeLength | None = None
    # Relative standard uncertainty of the reference as a whole, for instance of its print scale.
    u_scale: NonNegativeRatio = 0.0

    @model_validator(mode="after")
    def _same_count(self) -> PointsScale:
        if len(self.image) != len(self.plane):
            raise ValueError(
                f"{len(self.image)} image points but {len(self.plane)} plane points: they pair up"
            )
        return self


class CardScale(_ScaleBase):
    """A rectangle of known size: an ID-1 card unless `size` says otherwise.

    `image` holds its four corners in order round the card, the first two along the first side of
    `size`. Cards have rounded corners: either click where the straight edges would meet, or give
    `edges`, two or more points on each straight edge in the same order round the card (the first edge
    along the first side of `size`); the corners are then where fitted lines meet.
    """

    kind: Literal["card"] = "card"
    image: tuple[PixelPoint, PixelPoint, PixelPoint, PixelPoint] | None = None
    edges: tuple[list[PixelPoint], list[PixelPoint], list[PixelPoint], list[PixelPoint]] | None = None
    size: Annotated[tuple[PlainPositiveLength, PlainPositiveLength], InFileUnits()] | None = None
    u_size: NonNegativeLength | None = None

    @model_validator(mode="after")
    def _corners_or_edges(self) -> CardScale:
        if (self.image is None) == (self.edges is None):
            raise ValueError("give exactly one of 'image' (4 corners) and 'edges' (4 edges)")
        for edge in self.edges or ():
            if len(edge) < 2:
                raise ValueError("each card edge needs at least 2 points")
        return self


class CheckBar(Part):
    """A printed sheet's check bars as measured, nominally 100 mm each; `u` of one measurement.

    Printers stretch: x is across the sheet's upright text, y along it. Where only one was measured the
    other is taken as equal, with more doubt.
    """

    x: PositiveLength
    y: PositiveLength | None = None
    u: NonNegativeLength | None = None


class TargetScale(_ScaleBase):
    """A printed target, found in the picture by `corrosion.find`, which fills in `image` and `plane`.

    Either the tool's own sheet (named by `sheet`, or recognised by its markers) with its measured
    `check_bar`, or plain square markers whose black `side` is known, with their `dictionary`.

    `image` and `plane` are the found points and their places on the sheet as designed. For plain markers
    they are four corners each, and `plane` is each marker's own square.
    """

    kind: Literal["target"] = "target"
    sheet: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    check_bar: CheckBar | None = None
    side: PositiveLength | None = None
    u_side: NonNegativeLength | None = None
    dictionary: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    # Take this marker number only, where others of another size lie about.
    marker: Count | None = None
    image: list[PixelPoint] = []
    plane: list[PlanePoint] = []

    @model_validator(mode="after")
    def _sheet_or_marker(self) -> TargetScale:
        if self.side is not None and (self.sheet is not None or self.check_bar is not None):
            raise ValueError(
                "a plain marker has its 'side'; only a printed sheet has 'sheet' and 'check_bar'"
            )
        if self.side is not None and self.dictionary is None:
            raise ValueError("name the plain marker's 'dictionary', for instance '4x4_50'")
        if self.side is None and (self.dictionary is not None or self.marker is not None):
            raise ValueError("'dictionary' and 'marker' go with a plain marker: give its 'side'")
        if len(self.image) != len(self.plane):
            raise ValueError(
                f"{len(self.image)} image points but {len(self.plane)} plane points: they pair up"
            )
        if self.side is not None and len(self.image) % 4:
            raise ValueError(f"{len(self.image)} image points are not four corners for each plain marker")
        return self


class DiscScale(_ScaleBase):
    """A coin or another disc of known diameter: `image` are points on its rim.

    `seed` is any point inside it, from which `corrosion.find` finds the rim and fills in `image`. Either
    `coin` names one of the published sizes, or `diameter` gives it; a fastener's head has no published
    size here: give its diameter and tolerance from its drawing. `height` is that of the rim that was
    found; a named coin's is its thickness unless stated.
    """

    kind: Literal["disc"] = "disc"
    seed: PixelPoint | None = None
    coin: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    diameter: PositiveLength | None = None
    u_diameter: NonNegativeLength | None = None
    image: list[PixelPoint] = []
    # Standard uncertainty of where the rim is, common to all its points, px.
    u_edge_px: NonNegativePixel | None = None
    # A disc is seen alike in two poses. A point of the picture on the side where the surface is farther
    # from the lens tells which, and so may the largest tilt (optical axis to surface normal).
    far: PixelPoint | None = None
    max_tilt_deg: Annotated[float, Field(ge=0, lt=90)] | None = None

    @model_validator(mode="after")
    def _has_a_size(self) -> DiscScale:
        if (self.coin is None) == (self.diameter is None):
            raise ValueError("give exactly one of 'coin' (a published size) and 'diameter'")
        if self.seed is None and not self.image:
            raise ValueError("give a 'seed' inside the disc, or points on its rim as 'image'")
        return self


class RuleTick(Part):
    """One tick found on a rule: its running number and one or more points along it."""

    number: Annotated[int, Field(ge=-MOST_COUNT, le=MOST_COUNT)]
    points: list[PixelPoint] = Field(min_length=1)


class RuleScale(_ScaleBase):
    """A graduated rule: `image` is a line along it across its ticks, `tick` the distance of two ticks.

    `labels` are the readings of the rule at the two ends of the line, which show a `tick` that is half or
    twice the true one. `corrosion.find` finds the ticks and fills in `ticks`.
    """

    kind: Literal["rule"] = "rule"
    image: tuple[PixelPoint, PixelPoint]
    tick: PositiveLength
    labels: Annotated[tuple[PlainLength, PlainLength], InFileUnits()] | None = None
    # Relative standard uncertainty of the graduation as a whole.
    u_scale: NonNegativeRatio | None = None
    max_tilt_deg: Annotated[float, Field(ge=0, lt=90)] | None = None
    ticks: list[RuleTick] = []


Scale = Annotated[
    BarScale | PointsScale | CardScale | TargetScale | DiscScale | RuleScale, Field(discriminator="kind")
]


class Distance(Part):
    """Lens to surface along the surface normal. A bare number is read as the value."""

    value: PositiveLength
    u: NonNegativeLength = 0.0

    @model_validator(mode="before")
    @classmethod
    def _bare_number(cls, given: object) -> object:
        bare = isinstance(given, (int, float)) and not isinstance(given, bool)
        return {"value": given} if bare else given


class Placement(Part):
    """Point pairs that put the photo on its member's layout.

    Two pairs: the scaled photo is turned and shifted. Three or more that are not in line fix a mirror
    view too; four or more give residuals. `mirrored` overrides the side that two pairs cannot tell.
    """

    image: list[PixelPoint] = Field(min_length=2)
    layout: list[LayoutPoint] = Field(min_length=2)
    # Standard uncertainty of one layout coordinate, and of one clicked image coordinate (px).
    u_layout: NonNegativeLength | None = None
    sigma_px: PositivePixel | None = None
    mirrored: bool | None = None

    @model_validator(mode="after")
    def _same_count(self) -> Placement:
        if len(self.image) != len(self.layout):
            raise ValueError(
                f"{len(self.image)} image points but {len(self.layout)} layout points: they pair up"
            )
        return self


class DepthReading(Part):
    """One depth at the deepest place of a mark. `u` is the reading's own, random uncertainty."""

    value: NonNegativeLength
    u: NonNegativeLength
    method: DepthMethod
    instrument: Identifier | None = None
    relation: Relation = Relation.EQUAL
    date: IsoDate | None = None
    note: Text = ""


class RunOut(Part):
    """Run-out ratio of a faired removal, stated one way or the other, never as a bare number.

    `total` is total length to depth (20 means 20:1), `per_side` the run-out of each side to depth
    (10 means 10:1 per side, the same dish).
    """

    total: Ratio | None = None
    per_side: Ratio | None = None

    @model_validator(mode="after")
    def _one_of(self) -> RunOut:
        if (self.total is None) == (self.per_side is None):
            raise ValueError("give exactly one of 'total' and 'per_side'")
        return self

    @property
    def side(self) -> float:
        """Run-out of one side divided by depth."""
        if self.per_side is not None:
            return self.per_side
        return (self.total or 0.0) / 2.0


class Mark(Part):
    """An outline on a photo. `feature` names the thing seen, so that two photos of it count once."""

    id: Identifier
    kind: MarkKind
    shape: Shape
    feature: Identifier | None = None
    depths: list[DepthReading] = []
    # What indicative depths are read from; they count only where nothing read the metal.
    light: list[DepthByLight] = []
    profile: ProfileKind = ProfileKind.FLAT
    run_out: RunOut | None = None
    measured_from: MeasuredFrom | None = None
    date: IsoDate | None = None
    # Standard uncertainty of one outline vertex (independent), and of where the edge is (common), px.
    sigma_px: PositivePixel | None = None
    u_edge_px: NonNegativePixel | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _blend_out_says_from_where(self) -> Mark:
        if self.kind is not MarkKind.BLEND_OUT:
            return self
        if (self.depths or self.light) and self.measured_from is None:
            raise ValueError(
                "a blend-out's depth must say 'measured_from': 'original' contour or 'current' surface"
            )
        if self.profile is ProfileKind.FAIRED and self.run_out is None:
            raise ValueError("a faired blend-out needs its 'run_out' ratio, total or per side")
        return self


class Photo(Part):
    """One photo of the survey. `file` is relative to the survey file."""

    id: Identifier
    file: Annotated[str, Field(min_length=1, max_length=400)]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None = None
    size: tuple[PositiveCount, PositiveCount] | None = None
    view: View = View.FLASHLIGHT
    zone: ZoneNumber | None = None
    member: Identifier | None = None
    face: Face | None = None
    station: StationText | None = None
    taken: Text = ""
    # What took it, as the lens profile names it.
    device: Text = ""
    adapter: Text = ""
    focus: Text = ""
    lens: Identifier | None = None
    distance: Distance | None = None
    surface: CylinderSurface | None = None
    scale: Scale | None = None
    placement: Placement | None = None
    marks: list[Mark] = []
    note: Text = ""

    @model_validator(mode="after")
    def _unique_marks(self) -> Photo:
        ids = [mark.id for mark in self.marks]
        for one in ids:
            if ids.count(one) > 1:
                raise ValueError(f"mark id {one!r} occurs {ids.count(one)} times in one photo")
        return self
