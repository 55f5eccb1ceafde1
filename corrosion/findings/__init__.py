"""From marks to findings, and from photos to what was seen of each face."""

from __future__ import annotations

import math
from collections import Counter

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corrosion.depth import governing_depth
from corrosion.findings.grouping import Sighting, group_sightings
from corrosion.grades import depth_grade
from corrosion.layout import MemberLayout, station_mm
from corrosion.model import Photo, SurveyFile
from corrosion.quantity import Measured
from corrosion.results import Coverage, Finding, PhotoMeasures, PlacedPhoto
from corrosion.terms import Face, Flag, MarkKind

__all__ = ["collect_findings", "coverage"]

Layouts = dict[str, MemberLayout]


def collect_findings(
    measures: list[PhotoMeasures], placed: list[PlacedPhoto], survey: SurveyFile, layouts: Layouts
) -> list[Finding]:
    """Join the marks of all photos into findings.

    Marks of different photos are one finding when they bear one feature name, or when, unnamed, they
    are of one kind, member and face and cover each other (intersection over union at least 0.3; points
    within 3 combined standard uncertainties). Depths of blend-outs from the surface as found, or from
    different days, are never joined unasked: they add up.

    Parameters
    ----------
    measures, placed : list
        Of the survey's photos; a photo may be missing from either.
    survey : SurveyFile
        In millimetres.
    layouts : dict of member id to MemberLayout

    Returns
    -------
    list of Finding
        In file order. Unplaced marks are findings without an outline. The readings of joined marks
        count as those of one mark (`governing_depth`: the deepest that reads metal); the mark with the
        governing one is the first source. Outline and quantities come from the mark whose area is
        known best.
    """
    sightings = _sightings(measures, placed, survey)
    groups, doubtful = group_sightings(sightings, survey.survey.date)
    names = _names(sightings, groups)
    findings = []
    for name, group in zip(names, groups, strict=True):
        flags = frozenset({Flag.DOUBLE_COUNT}) if doubtful.intersection(group) else frozenset()
        findings.append(_finding(name, [sightings[i] for i in group], survey, layouts, flags))
    return findings


def _sightings(
    measures: list[PhotoMeasures], placed: list[PlacedPhoto], survey: SurveyFile
) -> list[Sighting]:
    measured = {(p.photo_id, m.mark.id): m for p in measures for m in p.marks}
    outlines = {(p.photo_id, o.mark.id): o for p in placed for o in p.marks}
    return [
        # The mark as measured has the depths read by light beside those entered.
        Sighting(photo, found.mark if found else mark, found, outlines.get((photo.id, mark.id)))
        for photo in survey.photos
        for mark in photo.marks
        for found in [measured.get((photo.id, mark.id))]
    ]


def _names(sightings: list[Sighting], groups: list[list[int]]) -> list[str]:
    """Feature names where they are unique, else ``photo/mark`` of the first sighting."""
    named = [next((n for i in g if (n := sightings[i].mark.feature)), None) for g in groups]
    uses = Counter(named)
    # Identifiers hold no slash, so the two kinds of names cannot collide.
    return [
        name if name and uses[name] == 1 else f"{sightings[g[0]].photo.id}/{sightings[g[0]].mark.id}"
        for name, g in zip(named, groups, strict=True)
    ]


def _finding(
    name: str, group: list[Sighting], survey: SurveyFile, layouts: Layouts, flags: frozenset[Flag]
) -> Finding:
    depth, lead = _depth(group, survey)
    best = min(group, key=_area_rank)
    photo, kind = lead.photo, lead.mark.kind
    layout = layouts.get(photo.member or "")
    outline, cut = _on_member(best, layout)
    station, station_flags = _station(photo, survey)
    return Finding(
        id=name,
        kind=kind,
        member_id=photo.member,
        face=photo.face,
        zone=photo.zone or (layout.member.zone if layout else None),
        outline=outline,
        position=_position(best, outline),
        u_position=best.placed.u_position if best.placed else None,
        depth=depth,
        grade=_grade(kind, depth),
        quantities=dict(best.measures.quantities) if best.measures else {},
        sources=[(s.photo.id, s.mark.id) for s in [lead, *(s for s in group if s is not lead)]],
        station_text=station,
        flags=flags | cut | station_flags | _sighting_flags(group) | _depth_flags(kind, depth),
    )


def _depth(group: list[Sighting], survey: SurveyFile) -> tuple[Measured | None, Sighting]:
    """Depth that governs the readings of all sightings, and the sighting it was read on."""
    readings = [(sighting, reading) for sighting in group for reading in sighting.mark.depths]
    depth = governing_depth([reading for _, reading in readings], survey)
    if depth is None:
        return None, group[0]
    return depth, next(sighting for sighting, reading in readings if reading.value == depth.value)


def _area_rank(sighting: Sighting) -> tuple[bool, float, float]:
    """Order by how well an outline is known: placed first, then relative uncertainty of the area."""
    area = sighting.measures.quantities.get("area") if sighting.measures else None
    usable = area is not None and area.known and area.value > 0.0
    relative = area.u / area.value if area is not None and usable else math.inf
    return sighting.placed is None, relative, sighting.u_place


def _on_member(
    sighting: Sighting, layout: MemberLayout | None
) -> tuple[BaseGeometry | None, frozenset[Flag]]:
    """Cut an outline to its member; what lies wholly beside it leaves an empty outline."""
    if sighting.placed is None:
        return None, frozenset()
    outline = sighting.placed.outline
    if layout is None or layout.polygon.covers(outline):
        return outline, frozenset()
    inside = outline.intersection(layout.polygon)
    if outline.area > 0.0:
        inside = _areas(inside)
    return inside, frozenset({Flag.OUTSIDE_MEMBER})


def _areas(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """Keep the areas of a shape; lines and points are where it only touched."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, Polygon) and p.area > 0.0]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def _position(sighting: Sighting, outline: BaseGeometry | None) -> tuple[float, float] | None:
    if sighting.placed is None:
        return None
    if outline is None or outline.is_empty:
        return sighting.placed.position
    return float(outline.centroid.x), float(outline.centroid.y)


def _station(photo: Photo, survey: SurveyFile) -> tuple[str, frozenset[Flag]]:
    """Station as written, and whether its plug is unknown."""
    if photo.station is None:
        return "", frozenset()
    text = photo.station if isinstance(photo.station, str) else f"{photo.station:g}"
    return text, station_mm(photo.station, survey.structure, 1.0)[1]


def _grade(kind: MarkKind, depth: Measured | None) -> str | None:
    """Depth grade of corrosion, with its bound; a blend-out's depth is metal ground off, not corrosion."""
    if depth is None or kind not in {MarkKind.PIT, MarkKind.AFFECTED}:
        return None
    grade = str(depth_grade(depth.value))
    if Flag.LOWER_BOUND in depth.flags:
        return f"at least {grade}"
    return f"at most {grade}" if Flag.UPPER_BOUND in depth.flags else grade


def _sighting_flags(group: list[Sighting]) -> frozenset[Flag]:
    """Union of the flags of all sightings' places and measures."""
    flags: frozenset[Flag] = frozenset()
    for sighting in group:
        if sighting.placed is not None:
            flags |= sighting.placed.flags
        if sighting.measures is not None:
            flags = flags.union(*(m.flags for m in sighting.measures.quantities.values()))
    return flags


def _depth_flags(kind: MarkKind, depth: Measured | None) -> frozenset[Flag]:
    """Take the governing depth's flags; metal lost without a depth says that it has none."""
    if depth is not None:
        return depth.flags
    return frozenset({Flag.NO_DEPTH}) if kind in {MarkKind.PIT, MarkKind.BLEND_OUT} else frozenset()


def coverage(placed: list[PlacedPhoto], layout: MemberLayout) -> dict[Face, Coverage]:
    """Tell how much of each face of a member its placed photos show.

    Parameters
    ----------
    placed : list of PlacedPhoto
        Photos of other members are ignored; photos without a footprint show nothing.
    layout : MemberLayout

    Returns
    -------
    dict of Face to Coverage
        Both faces. Not photographed is not seen, never clean.
    """
    mine = [p for p in placed if p.member_id == layout.member.id and p.footprint is not None]
    return {face: _covered(face, [p for p in mine if p.face is face], layout) for face in Face}


def _covered(face: Face, placed: list[PlacedPhoto], layout: MemberLayout) -> Coverage:
    shown = shapely.union_all([p.footprint for p in placed])
    seen = _areas(shown.intersection(layout.polygon))
    unseen = _areas(layout.polygon.difference(seen))
    share = 1.0 if unseen.is_empty else seen.area / layout.polygon.area
    return Coverage(face, seen, unseen, min(float(share), 1.0))
