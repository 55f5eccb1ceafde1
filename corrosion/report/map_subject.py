"""What one map shows: a member's outlines, photos, unseen areas, and the removal sampled on a grid."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.errors import LayoutError
from corrosion.layout import MemberLayout
from corrosion.model import Member
from corrosion.quantity import FloatArray
from corrosion.removal import MemberRemoval, RemovalField, collect_entries
from corrosion.removal.entries import shape_on_layout
from corrosion.report.numbers import length_text, shown
from corrosion.results import Assessment, Finding, MemberAssessment, ReadingCheck
from corrosion.terms import VERDICT_ORDER, Face, MarkKind, Origin, Verdict
from corrosion.units import LengthUnit

Window = tuple[float, float, float, float]
"""Part of a layout: least station, least offset, largest station, largest offset, mm."""

OVER, TOO_CLOSE, UNDETERMINED = (
    VERDICT_ORDER.index(verdict) for verdict in (Verdict.OVER, Verdict.TOO_CLOSE, Verdict.NOT_DETERMINED)
)


class FieldSource(Protocol):
    """Anything that sums removals at places, as `corrosion.removal.MemberRemoval` does."""

    def field(self, points_mm: FloatArray, *, face: Face | None = None) -> RemovalField:
        """Sum the removals at (n, 2) points in mm."""
        ...


@dataclass(frozen=True)
class Outline:
    """A thing on the metal: a removal (blend-out, earlier rework), a pit, an affected or a clear area.

    `depth` is its deepest depth as a reader sees it, in the display unit; empty where none was read.
    """

    name: str
    kind: MarkKind
    face: Face | None
    shape: BaseGeometry
    depth: str = ""
    planned: bool = False


@dataclass(frozen=True)
class Subject:
    """Everything a map of one member shows; lengths in mm.

    `face` is None for the sum of both faces. `unplaced` names what was found but cannot be drawn, as its
    photo is not placed on the layout.
    """

    assessed: MemberAssessment
    face: Face | None
    unit: LengthUnit
    polygon: Polygon
    outlines: list[Outline]
    photos: list[tuple[str, BaseGeometry]]
    unseen: dict[Face, BaseGeometry]
    unplaced: list[str]

    @property
    def member(self) -> Member:
        """The member drawn."""
        return self.assessed.member

    @property
    def readings(self) -> list[ReadingCheck]:
        """Thickness readings; they speak of both faces together, so a map of one face has none."""
        return self.assessed.readings if self.face is None else []

    @property
    def bounds(self) -> Window:
        """Bounds of the member."""
        return _window(self.polygon.bounds)

    def shapes(self, kind: MarkKind) -> list[Outline]:
        """Outlines of one kind."""
        return [outline for outline in self.outlines if outline.kind is kind]


@dataclass(frozen=True)
class Raster:
    """Removal on a grid of shape (rows, columns), first row at the least offset; NaN off the member.

    `x` and `y` are the stations and offsets of the cell centres, mm.
    """

    x: FloatArray
    y: FloatArray
    removed: FloatArray
    share: FloatArray
    margin: FloatArray
    verdict: NDArray[np.int64]

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Outer edges as left, right, bottom, top, mm."""
        half_x = 0.5 * (self.x[1] - self.x[0])
        half_y = 0.5 * (self.y[1] - self.y[0])
        return (
            float(self.x[0] - half_x),
            float(self.x[-1] + half_x),
            float(self.y[0] - half_y),
            float(self.y[-1] + half_y),
        )


def subject_of(assessment: Assessment, member_id: str, face: Face | None) -> Subject:
    """Collect what a map of one member shows.

    Raises
    ------
    LayoutError
        If the assessment has no such member.
    """
    assessed = next((m for m in assessment.members if m.member.id == member_id), None)
    if assessed is None:
        names = ", ".join(m.member.id for m in assessment.members)
        raise LayoutError(f"there is no member {member_id!r} to draw.", remedy=f"Members: {names}.")
    faces = tuple(Face) if face is None else (face,)
    photos = [
        (placed.photo_id, placed.footprint)
        for placed in assessment.placed
        if placed.member_id == member_id and placed.face in faces and _has_area(placed.footprint)
    ]
    survey = assessment.survey
    return Subject(
        assessed=assessed,
        face=face,
        unit=survey.display_units or survey.units,
        polygon=Polygon(assessed.member.outline),
        outlines=_outlines(assessment, member_id, faces),
        photos=[(name, shape) for name, shape in photos if shape is not None],
        unseen={f: cover.unseen for f, cover in assessed.coverage.items() if f in faces},
        unplaced=[
            short_name(finding)
            for finding in assessment.findings
            if finding.member_id == member_id and finding.outline is None and finding.face in (None, *faces)
        ],
    )


def removal_of(assessment: Assessment, member_id: str) -> MemberRemoval:
    """Rebuild the sum of a member's removals from its assessment."""
    survey = assessment.survey
    member = next(m for m in survey.structure.members if m.id == member_id)
    entries = collect_entries(member_id, survey, assessment.findings)
    layout = MemberLayout.of(member, survey.structure)
    return MemberRemoval(layout, entries, survey.settings.within_probability)


def _has_area(shape: BaseGeometry | None) -> bool:
    return shape is not None and not shape.is_empty


def _outlines(assessment: Assessment, member_id: str, faces: tuple[Face, ...]) -> list[Outline]:
    unit = assessment.survey.display_units or assessment.survey.units
    listed = [
        Outline(
            record.id,
            MarkKind.BLEND_OUT,
            record.face,
            shape_on_layout(record.footprint, place=f"removal {record.id!r}"),
            depth=length_text(record.depth.value, unit),
            planned=record.origin is Origin.PLANNED,
        )
        for record in assessment.survey.removals
        if record.member == member_id and record.face in faces
    ]
    for finding in assessment.findings:
        shape = finding.outline
        on_face = finding.face is None or finding.face in faces
        if finding.member_id == member_id and on_face and shape is not None and not shape.is_empty:
            listed.append(
                Outline(short_name(finding), finding.kind, finding.face, shape, _depth_text(finding, unit))
            )
    return listed


def short_name(finding: Finding) -> str:
    """Name of a finding on its own member's map, without the member and face it may begin with."""
    return finding.id.removeprefix(f"{finding.member_id}-{finding.face}-")


def _depth_text(finding: Finding, unit: LengthUnit) -> str:
    if finding.depth is None:
        return ""
    read = shown(finding.depth, unit, thickness=True)
    return f"{read.bound}{read.value}"


def has_something(assessment: Assessment, member_id: str) -> bool:
    """Whether anything was found on a member or taken off it."""
    found = any(finding.member_id == member_id for finding in assessment.findings)
    return found or any(record.member == member_id for record in assessment.survey.removals)


def sample(
    source: FieldSource, subject: Subject, window: Window, columns: int, *, everywhere: bool
) -> Raster:
    """Sample the removal on a grid of square cells over a window.

    Parameters
    ----------
    source : FieldSource
        Sums the removals.
    window : tuple of float
        Part of the layout, mm.
    columns : int
        Cells across the window.
    everywhere : bool
        Look at the whole member (for the margin left), not only where something was taken off.
    """
    left, bottom, right, top = window
    rows = max(2, round(columns * (top - bottom) / (right - left)))
    x = left + (np.arange(columns) + 0.5) * (right - left) / columns
    y = bottom + (np.arange(rows) + 0.5) * (top - bottom) / rows
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    inside = _contains(subject.polygon, points)
    if not everywhere:
        removals = [o.shape for o in subject.shapes(MarkKind.BLEND_OUT)]
        inside &= _contains(shapely.union_all(removals), points) if removals else False
    grids = {name: np.full(len(points), np.nan) for name in ("removed", "share", "margin")}
    verdict = np.zeros(len(points), dtype=np.int64)
    if inside.any():
        found = source.field(points[inside], face=subject.face)
        for name, grid in grids.items():
            grid[inside] = getattr(found, name)
        verdict[inside] = np.where(found.removed > 0.0, found.verdict, 0)
    shape = (rows, columns)
    return Raster(x, y, **{n: g.reshape(shape) for n, g in grids.items()}, verdict=verdict.reshape(shape))


def _contains(shape: BaseGeometry, points: FloatArray) -> NDArray[np.bool_]:
    shapely.prepare(shape)
    return np.asarray(shapely.intersects_xy(shape, points[:, 0], points[:, 1]), dtype=bool)


def detail_windows(subject: Subject, *, aspect: float, least_width: float, most: int) -> list[Window]:
    """Windows round the places worth a closer look, largest removal first, then by station.

    Parameters
    ----------
    aspect : float
        Width over height of a window.
    least_width : float
        Smallest width of a window, mm.
    most : int
        How many windows at most; the fullest are kept.

    Returns
    -------
    list of tuple
        Empty where a closer look would show no more than the member does.
    """
    shown = [o for o in subject.outlines if o.kind in (MarkKind.PIT, MarkKind.BLEND_OUT)]
    width = subject.bounds[2] - subject.bounds[0]
    room = least_width * 0.2
    boxes = [_window(o.shape.bounds) for o in shown]
    boxes += [(*c.reading.at, *c.reading.at) for c in subject.readings if not c.agrees]
    groups = _grouped(boxes, 1.5 * room)
    windows = _apart([_fitted(box, aspect, least_width, room) for box in groups], aspect)
    useful = [w for w in windows if w[2] - w[0] < 0.7 * width]
    fullest = sorted(useful, key=lambda w: -_how_full(shown, w))[:most]
    return sorted(fullest)


def _how_full(shown: Iterable[Outline], window: Window) -> int:
    inside = [o for o in shown if shapely.box(*window).intersects(o.shape)]
    return sum(10 if o.kind is MarkKind.BLEND_OUT else 1 for o in inside)


def _grouped(boxes: list[Window], room: float) -> list[Window]:
    """Merge boxes that come closer than `room` to each other until none do."""
    groups: list[Window] = []
    for given in boxes:
        box = given
        while near := [g for g in groups if _near(g, box, room)]:
            groups = [g for g in groups if g not in near]
            box = _hull([box, *near])
        groups.append(box)
    return groups


def _apart(windows: list[Window], aspect: float) -> list[Window]:
    """Join close-ups that would show much of the same metal."""
    kept: list[Window] = []
    for given in windows:
        window = given
        while alike := [w for w in kept if _overlap(w, window) > 0.1]:
            kept = [w for w in kept if w not in alike]
            window = _fitted(_hull([window, *alike]), aspect, 0.0, 0.0)
        kept.append(window)
    return kept


def _overlap(a: Window, b: Window) -> float:
    """Give the common area as a share of the smaller window."""
    wide = min(a[2], b[2]) - max(a[0], b[0])
    high = min(a[3], b[3]) - max(a[1], b[1])
    smaller = min((w[2] - w[0]) * (w[3] - w[1]) for w in (a, b))
    return max(wide, 0.0) * max(high, 0.0) / smaller


def _near(a: Window, b: Window, room: float) -> bool:
    return a[0] - room < b[2] and b[0] - room < a[2] and a[1] - room < b[3] and b[1] - room < a[3]


def _hull(boxes: list[Window]) -> Window:
    low_x, low_y, high_x, high_y = zip(*boxes, strict=True)
    return min(low_x), min(low_y), max(high_x), max(high_y)


def _fitted(box: Window, aspect: float, least_width: float, room: float) -> Window:
    """Grow a box to a window of the given aspect about its centre."""
    width = max(box[2] - box[0] + room, least_width, (box[3] - box[1] + room) * aspect)
    x, y = 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])
    return x - 0.5 * width, y - 0.5 * width / aspect, x + 0.5 * width, y + 0.5 * width / aspect


def _window(bounds: Iterable[float]) -> Window:
    left, bottom, right, top = (float(v) for v in bounds)
    return left, bottom, right, top
