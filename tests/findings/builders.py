"""Photos with marks put straight on the layout; invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from corrosion.depth import governing_depth
from corrosion.findings import collect_findings
from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile, parse_survey
from corrosion.quantity import Measured
from corrosion.results import Finding, MarkMeasures, PhotoMeasures, PlacedOutline, PlacedPhoto
from corrosion.terms import Face, Flag

MEMBER: dict[str, Any] = {
    "id": "SK1",
    "kind": "skin",
    "zone": "334",
    "material": "2024-T3 clad",
    "thickness": 1.0,
    "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
}
ANYWHERE = {"type": "Point", "coordinates": [0, 0]}


class Scene:
    """Collects marks with their places and measures, photo by photo."""

    def __init__(self, *, date: str | None = None, members: list[dict[str, Any]] | None = None) -> None:
        self.date = date
        self.members = members or [MEMBER]
        self.photos: dict[str, dict[str, Any]] = {}
        self.outlines: dict[tuple[str, str], tuple[BaseGeometry, float, frozenset[Flag]]] = {}
        self.areas: dict[tuple[str, str], Measured] = {}

    def photo(self, name: str, **changes: Any) -> Scene:
        """Add a photo: of the outer face of SK1 unless told."""
        self.photos[name] = {
            "id": name,
            "file": f"photos/{name}.jpg",
            "member": "SK1",
            "face": "outer",
            "marks": [],
        } | changes
        return self

    def mark(
        self,
        photo: str,
        name: str,
        outline: BaseGeometry | None,
        *,
        kind: str = "blend-out",
        depth: float | None = None,
        measured_from: str | None = "original",
        u_position: float = 0.5,
        relative_u: float = 0.05,
        flags: frozenset[Flag] = frozenset(),
        reading: dict[str, str] | None = None,
        **changes: Any,
    ) -> Scene:
        """Add a mark; without an outline it is not placed."""
        if photo not in self.photos:
            self.photo(photo)
        mark: dict[str, Any] = {"id": name, "kind": kind, "shape": ANYWHERE}
        if depth is not None:
            mark["depths"] = [{"value": depth, "u": 0.01, "method": "gauge"} | (reading or {})]
            if kind == "blend-out":
                mark["measured_from"] = measured_from
        self.photos[photo]["marks"].append(mark | changes)
        if outline is not None:
            self.outlines[photo, name] = (outline, u_position, flags)
            if outline.area > 0:
                area = outline.area
                self.areas[photo, name] = Measured(area, "mm2", own={"clicks": relative_u * area})
        return self

    def survey(self) -> SurveyFile:
        """Build the survey file."""
        return parse_survey(
            {
                "format": "corrosion-survey",
                "version": 1,
                "units": "mm",
                "structure": {"name": "bench", "members": self.members},
                "survey": {"date": self.date} if self.date else {},
                "photos": list(self.photos.values()),
            }
        )

    def find(self) -> list[Finding]:
        """Collect the findings."""
        survey = self.survey()
        layouts = {m.id: MemberLayout.of(m, survey.structure) for m in survey.structure.members}
        return collect_findings(self._measures(survey), self._placed(survey), survey, layouts)

    def _measures(self, survey: SurveyFile) -> list[PhotoMeasures]:
        photos = []
        for photo in survey.photos:
            marks = []
            for mark in photo.marks:
                key = (photo.id, mark.id)
                quantities = {"area": self.areas[key]} if key in self.areas else {}
                depth = governing_depth(mark.depths, survey)
                marks.append(MarkMeasures(mark, quantities, np.empty((0, 2)), depth))
            photos.append(PhotoMeasures(photo.id, "points", marks, {}))
        return photos

    def _placed(self, survey: SurveyFile) -> list[PlacedPhoto]:
        photos = []
        for photo in survey.photos:
            marks = []
            for mark in photo.marks:
                if (photo.id, mark.id) not in self.outlines:
                    continue
                outline, u, flags = self.outlines[photo.id, mark.id]
                centre = outline.centroid
                marks.append(PlacedOutline(photo.id, mark, outline, (centre.x, centre.y), (u, u), flags))
            if photo.member and photo.face:
                photos.append(PlacedPhoto(photo.id, photo.member, photo.face, None, marks, [], None))
        return photos


def disc(station: float = 400.0, offset: float = 200.0, radius: float = 10.0) -> BaseGeometry:
    """Give a disc on the layout."""
    return Point(station, offset).buffer(radius)


def square(station: float, offset: float, side: float) -> BaseGeometry:
    """Give a square by its low corner: overlaps are exact."""
    return shapely.box(station, offset, station + side, offset + side)


def shown(footprint: BaseGeometry | None, face: Face = Face.OUTER, member: str = "SK1") -> PlacedPhoto:
    """Give a placed photo that shows a footprint."""
    return PlacedPhoto("f1", member, face, footprint, [], [], None)
