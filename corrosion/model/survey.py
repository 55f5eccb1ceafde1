"""The survey file: structure, photos, removals, readings and settings in one document."""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from corrosion.model.base import (
    AreaShape,
    Identifier,
    IsoDate,
    LayoutPoint,
    NonNegativeLength,
    NonNegativePixel,
    Part,
    PositiveLength,
    PositivePixel,
    Ratio,
    Text,
)
from corrosion.model.bounds import MOST_LUX
from corrosion.model.camera import LensProfile
from corrosion.model.decision import Decision
from corrosion.model.light import LightRule
from corrosion.model.photo import Photo, RunOut
from corrosion.model.planning import Planning
from corrosion.model.structure import Structure
from corrosion.terms import Face, MeasuredFrom, Origin, ProfileKind, Relation

FORMAT: Final = "corrosion-survey"
VERSION: Final = 1


class Instrument(Part):
    """A gauge. `u_systematic` is common to all its readings (setting, zero, calibration)."""

    id: Identifier
    kind: Text = ""
    u_systematic: NonNegativeLength = 0.0
    calibrated: IsoDate | None = None
    note: Text = ""


class Depth(Part):
    """A depth with its random standard uncertainty and the instrument that read it."""

    value: NonNegativeLength
    u: NonNegativeLength
    instrument: Identifier | None = None


class Removal(Part):
    """Metal taken off, known from a record, a measurement or a plan.

    `relation` and `indicative` say what the depth is worth, as for a reading on a mark: a bound, or a
    depth read by light alone.
    """

    id: Identifier
    member: Identifier
    face: Face
    footprint: AreaShape
    depth: Depth
    relation: Relation = Relation.EQUAL
    indicative: bool = False
    profile: ProfileKind = ProfileKind.FLAT
    run_out: RunOut | None = None
    measured_from: MeasuredFrom
    origin: Origin = Origin.EARLIER
    date: IsoDate | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _faired_has_ratio(self) -> Self:
        if self.profile is ProfileKind.FAIRED and self.run_out is None:
            raise ValueError("a faired removal needs its 'run_out' ratio, total or per side")
        return self


class ThicknessReading(Part):
    """Remaining thickness read at one place: ultrasonic, calliper."""

    id: Identifier
    member: Identifier
    at: LayoutPoint
    value: NonNegativeLength
    u: NonNegativeLength
    instrument: Identifier | None = None
    date: IsoDate | None = None
    note: Text = ""


class Settings(Part):
    """Choices of the survey, each stated in the results.

    `within_probability` is the largest probability of exceeding the limit that still counts as
    within (JCGM 106:2012 thinking). The pixel uncertainties are the defaults for clicks.
    """

    within_probability: Annotated[float, Field(gt=0, lt=0.5)] = 0.05
    reference_sigma_px: PositivePixel = 0.5
    mark_sigma_px: PositivePixel = 0.5
    edge_u_px: NonNegativePixel = 0.5
    u_layout: NonNegativeLength | None = None
    station_bin: PositiveLength | None = None
    # Smallest focal length to assume, as a share of the picture's long side, where none is known.
    least_focal_ratio: Ratio = 0.7
    # Without it a depth read by light never proves that a limit is kept.
    light_rule: LightRule | None = None


class SurveyInfo(Part):
    """Who looked, when, and the light and standard they worked to."""

    name: Text = ""
    date: IsoDate | None = None
    inspector: Text = ""
    illuminance_lx: Annotated[float, Field(ge=0, le=MOST_LUX)] | None = None
    light_standard: Text = ""
    note: Text = ""


class SurveyFile(Part):
    """A whole survey. Lengths are in `units`; call `corrosion.model.in_millimetres` before computing."""

    format: Literal["corrosion-survey"] = FORMAT
    version: Literal[1] = VERSION
    units: Literal["mm", "in"]
    # What people see; the file's own unit where not stated.
    display_units: Literal["mm", "in"] | None = None
    structure: Structure
    survey: SurveyInfo = SurveyInfo()
    settings: Settings = Settings()
    planning: Planning = Planning()
    instruments: list[Instrument] = []
    lenses: list[LensProfile] = []
    photos: list[Photo] = []
    removals: list[Removal] = []
    thickness_readings: list[ThicknessReading] = []
    decision: Decision | None = None

    @model_validator(mode="after")
    def _references_exist(self) -> Self:
        members = {m.id for m in self.structure.members}
        lenses = {lens.id for lens in self.lenses}
        for photo in self.photos:
            _must_exist(photo.member, members, f"photo {photo.id!r}", "member")
            _must_exist(photo.lens, lenses, f"photo {photo.id!r}", "lens")
        for removal in self.removals:
            _must_exist(removal.member, members, f"removal {removal.id!r}", "member")
        for reading in self.thickness_readings:
            _must_exist(reading.member, members, f"thickness reading {reading.id!r}", "member")
        for fact in self.planning.facts:
            _must_exist(fact.member, members, "planning facts", "member")
        for one in self.planning.reinforcements:
            _must_exist(one.member, members, f"reinforcement {one.id!r}", "member")
        for what, ids in (
            ("photo", [p.id for p in self.photos]),
            ("removal", [r.id for r in self.removals]),
            ("thickness reading", [r.id for r in self.thickness_readings]),
            ("instrument", [i.id for i in self.instruments]),
            ("lens", [lens.id for lens in self.lenses]),
        ):
            _must_be_unique(what, ids)
        return self


def _must_exist(name: str | None, known: set[str], who: str, what: str) -> None:
    if name is not None and name not in known:
        raise ValueError(f"{who} names {what} {name!r}, which the file does not define")


def _must_be_unique(what: str, ids: list[str]) -> None:
    seen: set[str] = set()
    for one in ids:
        if one in seen:
            raise ValueError(f"{what} id {one!r} occurs more than once")
        seen.add(one)
