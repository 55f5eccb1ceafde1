"""Removal entries of one member, from findings and from the record, in the order they happened."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from corrosion.errors import RemovalError
from corrosion.model import (
    CircleShape,
    EllipseShape,
    Instrument,
    Mark,
    PolygonShape,
    Removal,
    RunOut,
    SurveyFile,
)
from corrosion.quantity import Measured
from corrosion.removal.profiles import Profile, make_profile
from corrosion.results import Finding
from corrosion.terms import Face, Flag, MarkKind, MeasuredFrom, Origin, ProfileKind, Relation

_CIRCLE_CORNERS = 128
_INSTRUMENT = "instrument "


@dataclass(frozen=True)
class Entry:
    """One removal on one face of a member.

    Attributes
    ----------
    footprint : Polygon
        On the layout, mm.
    depth, u : float
        Deepest depth and its random standard uncertainty, mm.
    instrument, u_systematic : str, float
        Gauge that read it and the standard uncertainty common to all its readings, mm.
    profile : Profile
        How the depth falls off towards the outline.
    from_original : bool
        True: the face's removal becomes the larger of what it was and this. False: this is added.
    area_u_share : float
        Relative standard uncertainty of the footprint's area, for volumes.
    """

    id: str
    face: Face
    footprint: Polygon
    depth: float
    u: float
    instrument: str
    u_systematic: float
    profile: Profile
    from_original: bool
    origin: Origin
    date: str | None
    area_u_share: float = 0.0
    flags: frozenset[Flag] = frozenset()


@dataclass(frozen=True)
class EntryList:
    """Entries in time order, and the blend-outs that cannot be summed, each with its reason."""

    entries: list[Entry]
    undetermined: list[tuple[Finding, str]]


def collect_entries(
    member_id: str, survey: SurveyFile, findings: list[Finding], *, planned: bool = False
) -> EntryList:
    """Gather a member's removal entries in the order they were made.

    Order: by date; an undated earlier rework comes first, an undated blend-out of this survey takes the
    survey's date or comes last, planned ones come after all others; ties keep the file's order.

    Parameters
    ----------
    survey : SurveyFile
        In millimetres.
    findings : list of Finding
        All findings of the survey; only blend-outs of this member count.
    planned : bool
        Whether planned removals count.

    Raises
    ------
    RemovalError
        If a removal contradicts itself.
    """
    dated: list[tuple[tuple[str, int, int], Entry]] = []
    undetermined: list[tuple[Finding, str]] = []
    records = [r for r in survey.removals if r.member == member_id]
    for number, record in enumerate(records):
        if record.origin is Origin.PLANNED and not planned:
            continue
        dated.append((_when(record.origin, record.date, survey, number), _from_record(record, survey)))
    for number, finding in enumerate(findings, start=len(records)):
        if finding.member_id != member_id or finding.kind is not MarkKind.BLEND_OUT:
            continue
        mark = _mark_of(finding, survey)
        reason = _why_not(finding, mark)
        if reason:
            undetermined.append((finding, reason))
            continue
        when = _when(Origin.SURVEY, mark.date, survey, number)
        dated.extend((when, entry) for entry in _from_finding(finding, mark, survey))
    dated.sort(key=lambda pair: pair[0])
    return EntryList([entry for _, entry in dated], undetermined)


def _when(origin: Origin, date: str | None, survey: SurveyFile, number: int) -> tuple[str, int, int]:
    rank = {Origin.EARLIER: 0, Origin.SURVEY: 1, Origin.PLANNED: 2}[origin]
    undated = {
        Origin.EARLIER: "0000-00-00",
        Origin.SURVEY: survey.survey.date or "9999-99-98",
        Origin.PLANNED: "9999-99-99",
    }[origin]
    return (date or undated, rank, number)


def _from_record(record: Removal, survey: SurveyFile) -> Entry:
    place = f"removal {record.id!r}"
    outline = shape_on_layout(record.footprint, place=place)
    profile, flags = make_profile(
        record.profile,
        outline,
        depth_mm=record.depth.value,
        run_out_side=record.run_out.side if record.run_out else None,
        place=place,
    )
    instrument = _instrument(record.depth.instrument, survey)
    return Entry(
        id=record.id,
        face=record.face,
        footprint=outline,
        depth=record.depth.value,
        u=record.depth.u,
        instrument=record.depth.instrument or "",
        u_systematic=instrument.u_systematic if instrument else 0.0,
        profile=profile,
        from_original=record.measured_from is MeasuredFrom.ORIGINAL,
        origin=record.origin,
        date=record.date,
        flags=flags | _date_flag(record.date) | _depth_flags(record),
    )


def _depth_flags(record: Removal) -> frozenset[Flag]:
    """Say of a recorded depth what `corrosion.depth` says of a mark's: a bound, or read by light."""
    said = {
        Flag.LOWER_BOUND: record.relation is Relation.AT_LEAST,
        Flag.UPPER_BOUND: record.relation is Relation.AT_MOST,
        Flag.INDICATIVE: record.indicative,
    }
    return frozenset(flag for flag, holds in said.items() if holds)


def _why_not(finding: Finding, mark: Mark) -> str:
    """Say why a blend-out cannot be summed; empty where it can."""
    if finding.depth is None:
        return "no depth was read for this blend-out; a photo alone never gives one"
    if finding.outline is None:
        return "its photo is not placed on the layout"
    if finding.face is None:
        return "its photo does not say which face it shows"
    if not _polygons(finding.outline):
        return "its mark has no area on the member"
    if mark.measured_from is None:
        return "its depth does not say which surface it was measured from"
    return ""


def _from_finding(finding: Finding, mark: Mark, survey: SurveyFile) -> list[Entry]:
    """Make the entry of a blend-out; an outline cut in two by the member's edge makes one each."""
    depth = finding.depth
    if depth is None or finding.face is None:  # `_why_not` has ruled this out
        return []
    pieces = _polygons(finding.outline)
    name, systematic = _systematic(depth)
    random_u = math.sqrt(max(depth.u**2 - systematic**2, 0.0))
    area = finding.quantities.get("area")
    share = area.u / area.value if area and area.known and area.value > 0 else 0.0
    entries = []
    for piece in pieces:
        profile, flags = make_profile(
            mark.profile,
            piece,
            depth_mm=depth.value,
            run_out_side=_side(mark.profile, mark.run_out),
            place=f"blend-out {finding.id!r}",
        )
        entries.append(
            Entry(
                id=finding.id,
                face=finding.face,
                footprint=piece,
                depth=depth.value,
                u=random_u,
                instrument=name,
                u_systematic=systematic,
                profile=profile,
                from_original=mark.measured_from is MeasuredFrom.ORIGINAL,
                origin=Origin.SURVEY,
                date=mark.date or survey.survey.date,
                area_u_share=share,
                flags=flags | depth.flags | finding.flags,
            )
        )
    return entries


def _side(profile: ProfileKind, run_out: RunOut | None) -> float | None:
    return run_out.side if profile is ProfileKind.FAIRED and run_out else None


def _systematic(depth: Measured) -> tuple[str, float]:
    """Take the instrument's common part out of a depth's budget."""
    for name, vector in depth.shared.items():
        if name.startswith(_INSTRUMENT):
            return name.removeprefix(_INSTRUMENT), float(np.linalg.norm(vector))
    return "", 0.0


def _mark_of(finding: Finding, survey: SurveyFile) -> Mark:
    photo_id, mark_id = finding.sources[0]
    for photo in survey.photos:
        if photo.id == photo_id:
            for mark in photo.marks:
                if mark.id == mark_id:
                    return mark
    raise RemovalError(f"mark {mark_id!r} of photo {photo_id!r} is not in the survey.")


def _instrument(name: str | None, survey: SurveyFile) -> Instrument | None:
    return next((i for i in survey.instruments if i.id == name), None)


def _date_flag(date: str | None) -> frozenset[Flag]:
    return frozenset() if date else frozenset({Flag.DATE_ASSUMED})


def _polygons(shape: BaseGeometry | None) -> list[Polygon]:
    if isinstance(shape, Polygon) and shape.area > 0:
        return [shape]
    if isinstance(shape, MultiPolygon):
        return [piece for piece in shape.geoms if piece.area > 0]
    return []


def shape_on_layout(shape: PolygonShape | CircleShape | EllipseShape, *, place: str) -> Polygon:
    """Turn a layout shape into a polygon, mm.

    Circles and ellipses become 128-gons of exactly their area (so their outline is off by less than
    4e-4 of the radius).

    Raises
    ------
    RemovalError
        If a polygon crosses itself or encloses nothing.
    """
    if isinstance(shape, CircleShape):
        return _ellipse(shape.center, (shape.radius, shape.radius), 0.0)
    if isinstance(shape, EllipseShape):
        return _ellipse(shape.center, shape.semi_axes, shape.angle_deg)
    outline = Polygon(shape.coordinates[0], shape.coordinates[1:])
    if not outline.is_valid or outline.area <= 0.0:
        raise RemovalError(
            f"the footprint is not a simple outline ({explain_validity(outline)}).",
            place=place,
            remedy="Draw it so that it does not cross itself.",
        )
    return outline


def _ellipse(centre: tuple[float, float], axes: tuple[float, float], angle_deg: float) -> Polygon:
    turn = 2.0 * np.pi / _CIRCLE_CORNERS
    grow = math.sqrt(turn / math.sin(turn))
    around = np.arange(_CIRCLE_CORNERS) * turn
    ring = np.column_stack([axes[0] * np.cos(around), axes[1] * np.sin(around)]) * grow
    turned = affinity.rotate(Polygon(ring), angle_deg, origin=(0.0, 0.0))
    return affinity.translate(turned, *centre)
