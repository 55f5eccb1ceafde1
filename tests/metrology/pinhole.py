"""A pinhole camera over a plane, written apart from the code under test, and surveys to go with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corrosion.model import Photo, SurveyFile, parse_survey

FloatArray = NDArray[np.float64]
SIZE = (1600, 1200)


@dataclass(frozen=True)
class Pinhole:
    """Camera looking along its own z axis at the plane; `see` projects plane mm to pixels.

    The plane's origin lies on the optical axis at `distance` (mm along that axis); its normal is turned
    by `tilt` (rad) towards image direction `direction` (rad), and the plane by `roll` about its normal.
    """

    tilt: float = 0.0
    direction: float = 0.0
    roll: float = 0.0
    distance: float = 300.0
    focal: float = 1200.0
    size: tuple[int, int] = SIZE
    shift: tuple[float, float] = (0.0, 0.0)

    def see(self, plane_mm: Any) -> FloatArray:
        """Project plane points (n, 2) to pixels (n, 2)."""
        points = np.asarray(plane_mm, dtype=np.float64) + np.array(self.shift)
        c, s = np.cos(self.roll), np.sin(self.roll)
        points = points @ np.array([[c, s], [-s, c]])
        c, s = np.cos(self.direction), np.sin(self.direction)
        # Components along the tilt axis and down the slope.
        across = points @ np.array([-s, c])
        down = points @ np.array([c, s])
        depth = self.distance + down * np.sin(self.tilt)
        down_seen = down * np.cos(self.tilt)
        x = across * -s + down_seen * c
        y = across * c + down_seen * s
        middle = (np.array(self.size) - 1.0) / 2.0
        return self.focal * np.column_stack([x, y]) / depth[:, None] + middle


def rectangle(width: float, height: float) -> FloatArray:
    """Corners of a rectangle about the origin."""
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([width, height]) / 2.0


def ngon(n: int, radius: float, centre: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """Corners of a regular polygon."""
    t = np.arange(n) * 2.0 * np.pi / n
    return radius * np.column_stack([np.cos(t), np.sin(t)]) + np.array(centre)


def area(polygon: FloatArray) -> float:
    """Shoelace, unsigned."""
    x, y = polygon.T
    return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2.0)


def pairs(points: FloatArray) -> list[list[float]]:
    """Plain lists for the survey file."""
    return [[float(x), float(y)] for x, y in points]


def polygon_mark(points: FloatArray, mark_id: str = "P1", kind: str = "pit", **more: Any) -> dict[str, Any]:
    """Write a polygon mark as the survey file does."""
    shape = {"type": "Polygon", "coordinates": [pairs(points)]}
    return {"id": mark_id, "kind": kind, "shape": shape, **more}


def survey_of(
    scale: dict[str, Any] | None,
    marks: list[dict[str, Any]],
    *,
    size: tuple[int, int] | None = SIZE,
    settings: dict[str, Any] | None = None,
    lens: dict[str, Any] | None = None,
    **photo: Any,
) -> tuple[Photo, SurveyFile]:
    """One photo in a survey, in mm."""
    body: dict[str, Any] = {"id": "f1", "file": "f1.jpg", "marks": marks, **photo}
    if scale is not None:
        body["scale"] = scale
    if size is not None:
        body["size"] = list(size)
    if lens is not None:
        body["lens"] = lens["id"]
    document = {
        "format": "corrosion-survey",
        "version": 1,
        "units": "mm",
        "structure": {"name": "Test panel"},
        "settings": settings or {},
        "lenses": [] if lens is None else [lens],
        "photos": [body],
    }
    survey = parse_survey(document)
    return survey.photos[0], survey
