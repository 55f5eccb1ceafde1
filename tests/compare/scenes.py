"""Two looks at one invented skin: photos taken square on, ten pixels to the millimetre."""

from __future__ import annotations

import math
from typing import Any

from corrosion.model import parse_survey
from corrosion.results import Assessment
from corrosion.survey import assess

PX_PER_MM = 10.0
WIDTH, HEIGHT = 1000, 700
SOURCE = "Invented scheme RS-12, paragraph 4, revision B"
MEMBER: dict[str, Any] = {
    "id": "SK1",
    "kind": "skin",
    "zone": "334",
    "material": "2024-T3 clad",
    "thickness": 2.0,
    "outline": [[0, 0], [900, 0], [900, 400], [0, 400]],
    "limit": {"depth": 0.5, "source": SOURCE},
}
GAUGE = {"id": "DG-2", "kind": "depth gauge", "u_systematic": 0.01, "calibrated": "2030-01-01"}


def depth(value: float, u: float = 0.01, **more: Any) -> dict[str, Any]:
    """Make a depth reading, by the gauge DG-2 unless told."""
    return {"value": value, "u": u, "method": "gauge", "instrument": "DG-2"} | more


def mark(
    name: str,
    at: tuple[float, float],
    size: float,
    *depths: dict[str, Any],
    kind: str = "pit",
    origin: tuple[float, float] = (200.0, 200.0),
    **more: Any,
) -> dict[str, Any]:
    """Make a square mark round a layout place, mm, on the photo whose top left corner is `origin`."""
    x, y = (at[0] - origin[0]) * PX_PER_MM, (origin[1] - at[1]) * PX_PER_MM
    r = size * PX_PER_MM / 2.0
    corners = [[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]]
    shape = {"type": "Polygon", "coordinates": [corners]}
    given = {"id": name, "kind": kind, "shape": shape, "depths": list(depths)}
    if kind == "blend-out":
        given["measured_from"] = "original"
    return given | more


def photo(
    marks: list[dict[str, Any]], name: str = "f1", origin: tuple[float, float] = (200.0, 200.0), **more: Any
) -> dict[str, Any]:
    """Make a photo that shows 100 x 70 mm of the outer face, its top left corner at `origin`."""
    corners = [[0.0, 0.0], [900.0, 0.0], [900.0, 600.0], [0.0, 600.0]]
    layout = [[origin[0] + x / PX_PER_MM, origin[1] - y / PX_PER_MM] for x, y in corners]
    plane = [[x / PX_PER_MM, y / PX_PER_MM] for x, y in corners]
    return {
        "id": name,
        "file": f"{name}.jpg",
        "size": [WIDTH, HEIGHT],
        "member": "SK1",
        "face": "outer",
        "scale": {"kind": "points", "image": corners, "plane": plane, "u_plane": 0.05},
        "placement": {"image": corners, "layout": layout, "u_layout": 0.2},
        "marks": marks,
    } | more


def document(date: str | None, photos: list[dict[str, Any]], **parts: Any) -> dict[str, Any]:
    """Make a survey file; `parts` replace fields of it."""
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": "mm",
        "structure": {"name": "Stabilizer, left", "members": [MEMBER]},
        "survey": {"name": f"Look of {date}"} | ({"date": date} if date else {}),
        "instruments": [GAUGE],
        "photos": photos,
    } | parts


def look(date: str | None, *marks: dict[str, Any], **parts: Any) -> Assessment:
    """Assess a survey of one photo with these marks."""
    return assess(parse_survey(document(date, [photo(list(marks))], **parts)))


def years_between(first: str, second: str) -> float:
    """Years of 365.25 days between two ISO dates."""
    import datetime as dt  # noqa: PLC0415

    days = (dt.date.fromisoformat(second) - dt.date.fromisoformat(first)).days
    return days / 365.25


def rss(*parts: float) -> float:
    """Root of the sum of squares."""
    return math.sqrt(sum(part**2 for part in parts))


def in_inches(given: dict[str, Any]) -> dict[str, Any]:
    """Write a survey file of these scenes in inches; what the photos' pixels say stays."""
    names = {"thickness", "depth", "value", "u", "u_systematic", "u_plane", "u_layout"}

    def convert(node: Any, name: str) -> Any:
        if isinstance(node, dict):
            return {key: convert(one, key) for key, one in node.items()}
        if isinstance(node, list) and name in {"outline", "plane", "layout"}:
            return [[x / 25.4, y / 25.4] for x, y in node]
        if isinstance(node, list):
            return [convert(one, name) for one in node]
        return node / 25.4 if name in names and isinstance(node, float) else node

    converted: dict[str, Any] = convert(given, "")
    return converted | {"units": "in"}
