"""What goes over the wire, beside the survey file's own parts. Lengths are in the structure's `units`."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from corrosion.model import (
    CylinderSurface,
    Distance,
    Instrument,
    LensProfile,
    Photo,
    Removal,
    Settings,
    Structure,
    SurveyInfo,
    ThicknessReading,
)
from corrosion.model.base import Identifier, Text, ZoneNumber
from corrosion.terms import Face, View

Units = Annotated[
    Literal["mm", "in"],
    Field(description="Unit of every length in the document; pixels and degrees are what they are."),
]
EXAMPLE_ID = "0f3c9d5e7a1b4c2d8e6f901122334455"
EXAMPLE_SHA256 = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
EXAMPLE_STRUCTURE: dict[str, Any] = {
    "name": "Horizontal stabilizer, left",
    "zone": "330",
    "members": [
        {
            "id": "SK1",
            "kind": "skin",
            "zone": "334",
            "material": "2024-T3 clad",
            "thickness": 1.02,
            "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
            "limit": {"fraction": 0.1, "source": "Repair scheme RS-12, paragraph 4, revision B"},
        }
    ],
}
EXAMPLE_MARKS: list[dict[str, Any]] = [
    {
        "id": "P1",
        "kind": "pit",
        "shape": {"type": "Polygon", "coordinates": [[[10, 10], [22, 11], [20, 24], [9, 21]]]},
        "depths": [{"value": 0.31, "u": 0.01, "method": "gauge", "instrument": "DG-2"}],
    }
]
EXAMPLE_SCALE: dict[str, Any] = {
    "kind": "bar",
    "image": [[100, 100], [600, 104]],
    "length": 50.0,
    "u_length": 0.1,
    "max_tilt_deg": 15,
}
EXAMPLE_PLACEMENT: dict[str, Any] = {
    "image": [[100, 100], [600, 104]],
    "layout": [[400, 120], [450, 120]],
}
EXAMPLE_REMOVAL: dict[str, Any] = {
    "id": "R1",
    "member": "SK1",
    "face": "outer",
    "footprint": {"type": "Circle", "center": [412, 130], "radius": 12},
    "depth": {"value": 0.05, "u": 0.01},
    "profile": "dished",
    "measured_from": "original",
    "date": "2031-04-17",
}
EXAMPLE_READING: dict[str, Any] = {
    "id": "T1",
    "member": "SK1",
    "at": [412, 130],
    "value": 0.97,
    "u": 0.01,
    "instrument": "UT-1",
}
EXAMPLE_SURVEY_FILE: dict[str, Any] = {
    "format": "corrosion-survey",
    "version": 1,
    "units": "mm",
    "structure": EXAMPLE_STRUCTURE,
    "photos": [
        {
            "id": "f1",
            "file": "photos/f1.jpg",
            "member": "SK1",
            "face": "inner",
            "scale": EXAMPLE_SCALE,
            "placement": EXAMPLE_PLACEMENT,
            "marks": EXAMPLE_MARKS,
        }
    ],
    "removals": [EXAMPLE_REMOVAL],
    "thickness_readings": [EXAMPLE_READING],
}


class Wire(BaseModel):
    """Base of the wire forms: an unknown field is an error."""

    model_config = ConfigDict(extra="forbid")


class StructureIn(Wire):
    """A structure to be entered."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"units": "mm", "structure": EXAMPLE_STRUCTURE}]}
    )
    units: Units
    structure: Structure


class StructureRecord(StructureIn):
    """A structure as stored. `version` is the ETag without its quotes."""

    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: int
    created: datetime


class StructureSummary(Wire):
    """A structure in a list."""

    id: str
    name: str
    units: Units
    members: int
    surveys: int
    created: datetime


class SurveyHead(Wire):
    """What a survey states beside its structure, photos, removals and readings."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "display_units": "in",
                    "survey": {"name": "First look", "date": "2031-04-17", "inspector": "Inspector A"},
                    "instruments": [{"id": "DG-2", "kind": "depth gauge", "u_systematic": 0.005}],
                }
            ]
        },
    )
    display_units: Annotated[
        Literal["mm", "in"] | None, Field(description="What people see; the structure's unit if unset.")
    ] = None
    survey: SurveyInfo = SurveyInfo()
    settings: Settings = Settings()
    instruments: list[Instrument] = []
    lenses: list[LensProfile] = []


class SurveyIn(SurveyHead):
    """A survey to be opened on a structure."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {"structure_id": EXAMPLE_ID, "survey": {"name": "First look", "date": "2031-04-17"}}
            ]
        },
    )
    structure_id: str


class SurveyRecord(SurveyIn):
    """A survey's head as stored."""

    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: int
    units: Units
    created: datetime


class SurveySummary(Wire):
    """A survey in a list. `waiting` photos are named by the survey but their pictures are not here yet."""

    id: str
    structure_id: str
    structure_name: str
    name: str
    units: Units
    photos: int
    waiting: int
    created: datetime


class Picture(Wire):
    """The stored original of a photo."""

    sha256: Annotated[str, Field(examples=[EXAMPLE_SHA256])]
    size_bytes: int
    media_type: Annotated[str, Field(examples=["image/jpeg"])]
    width: Annotated[int, Field(description="Pixels, upright.")]
    height: Annotated[int, Field(description="Pixels, upright.")]
    facts: Annotated[dict[str, Any], Field(description="What the file and its quality check say.")]
    original: Annotated[str, Field(description="Address of the exact bytes.")]
    picture: Annotated[str, Field(description="Address of the full picture, upright, for any browser.")]
    preview: str
    thumbnail: str


class PhotoRecord(Wire):
    """A photo as stored: the survey file's own part, and the picture once it is here."""

    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: int
    survey_id: str
    upload_name: str
    created: datetime
    photo: Photo
    picture: Picture | None


class PhotoTags(Wire):
    """Tags to change; a field left out stays as it is, null clears it."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"member": "SK1", "face": "inner", "station": "340B+10.25"}]},
    )
    view: View = View.FLASHLIGHT
    zone: ZoneNumber | None = None
    member: Identifier | None = None
    face: Face | None = None
    station: Annotated[float | str, Field(union_mode="left_to_right")] | None = None
    taken: Text = ""
    device: Text = ""
    adapter: Text = ""
    focus: Text = ""
    lens: Identifier | None = None
    distance: Distance | None = None
    surface: CylinderSurface | None = None
    note: Text = ""


class FileResult(Wire):
    """What became of one file of an upload."""

    name: Annotated[str, Field(description="File name as sent.", examples=["IMG_0412.jpg"])]
    status: Annotated[
        Literal["stored", "matched", "duplicate", "refused"],
        Field(
            description="stored: a new photo. matched: the picture a photo of the survey file waited for. "
            "duplicate: the survey already has these bytes. refused: see problem."
        ),
    ]
    sha256: str | None = None
    size_bytes: int = 0
    photo: PhotoRecord | None = None
    warnings: list[str] = []
    problem: dict[str, Any] | None = None


class UploadReport(Wire):
    """What became of each file, in the order sent. One bad file never loses the others."""

    files: list[FileResult]


class ImportReport(Wire):
    """An imported survey, its pictures, and the photos whose pictures are still to be uploaded."""

    survey: SurveyRecord
    files: list[FileResult]
    waiting: Annotated[list[str], Field(description="Photo ids of the survey file without a picture.")]


class RemovalRecord(Wire):
    """A removal entry as stored."""

    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: int
    survey_id: str
    removal: Removal


class ReadingRecord(Wire):
    """A remaining-thickness reading as stored."""

    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    version: int
    survey_id: str
    reading: ThicknessReading


class WithdrawnRecord(Wire):
    """A photo, removal or reading that was taken back: what it was, when it was withdrawn and why."""

    kind: Literal["photo", "removal", "reading"]
    id: Annotated[str, Field(examples=[EXAMPLE_ID])]
    survey_id: str
    created: datetime
    withdrawn_at: Annotated[datetime, Field(description="UTC.")]
    reason: Annotated[str, Field(examples=["Entered for the wrong member"])]
    part: Annotated[
        dict[str, Any], Field(description="The survey file's own part, as it was when it was withdrawn.")
    ]


class ProblemError(BaseModel):
    """One fault of a request."""

    path: Annotated[str, Field(examples=["body.photo.member"])]
    message: str
    value: Any = None


class Problem(BaseModel):
    """A problem (RFC 9457). `place` and `remedy` say where and what to do next."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "type": "/api/problems/stale",
                    "title": "Someone else changed this first",
                    "status": 412,
                    "detail": "photo 0f3c: version 3 was edited, but version 4 is current.",
                    "instance": "/api/photos/0f3c/marks",
                    "remedy": "Read it again, look at what changed, and repeat the edit.",
                }
            ]
        }
    )
    type: str
    title: str
    status: int
    detail: str
    instance: str = ""
    place: str = ""
    remedy: str = ""
    errors: list[ProblemError] = []
    incident: Annotated[str | None, Field(description="Of a 500: the number in the service's log.")] = None
