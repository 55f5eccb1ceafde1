"""What a planned blend comes too near to, and what it does not fit.

Distances run from the outline of the blend, its run-out included. The doubt of a mark's place on the
layout (k = 2) widens what is too near into *too close to call*. A minimum that nobody has stated is not
taken from anywhere: public texts give none for blends (except the one distance to support structure in
TM 1-1520-238-23, p. 2-372, for one assembly).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from shapely import STRtree
from shapely.geometry import LineString, Point

from corrosion.blend.results import Conflict, ConflictKind, Site
from corrosion.layout import MemberLayout
from corrosion.model import Fastener
from corrosion.model.planning import Planning
from corrosion.quantity import COVERAGE_FACTOR
from corrosion.removal import Entry
from corrosion.terms import Verdict
from corrosion.units import LengthUnit, mm_per, show_length


@dataclass(frozen=True)
class Surroundings:
    """What conflicts are looked for in. `entries` are all others: earlier ones and planned ones."""

    layout: MemberLayout
    planning: Planning
    entries: list[Entry]
    planned: frozenset[str]
    shown: LengthUnit

    @cached_property
    def tree(self) -> STRtree:
        """Finds the entries that meet a footprint."""
        return STRtree([entry.footprint for entry in self.entries])


def find_conflicts(entry: Entry, sites: list[Site], around: Surroundings) -> list[Conflict]:
    """List what a planned blend meets, the worst first."""
    u = max((max(site.finding.u_position or (0.0, 0.0)) for site in sites), default=0.0)
    looked = _Looked(entry, COVERAGE_FACTOR * u, around)
    found = [
        *looked.edge(),
        *looked.fasteners(),
        *looked.supports(),
        *looked.limit_zones(),
        *looked.thickness_steps(),
        *looked.other_removals(),
    ]
    order = (Verdict.OVER, Verdict.TOO_CLOSE, Verdict.NOT_DETERMINED, Verdict.WITHIN)
    return sorted(found, key=lambda conflict: order.index(conflict.stands))


@dataclass(frozen=True)
class _Looked:
    """One blend among its surroundings; `doubt` is the expanded uncertainty of its place, mm."""

    entry: Entry
    doubt: float
    around: Surroundings

    def _show(self, value_mm: float) -> str:
        return show_length(value_mm, self.around.shown)

    def _stands(self, distance: float, minimum: float) -> Verdict | None:
        """How a distance stands against a minimum; None where it is surely kept."""
        if distance < minimum:
            return Verdict.OVER
        return Verdict.TOO_CLOSE if distance - self.doubt < minimum else None

    def edge(self) -> Iterator[Conflict]:
        """Look at the member's edge: run over, or nearer than stated."""
        polygon, footprint = self.around.layout.polygon, self.entry.footprint
        if not polygon.covers(footprint):
            yield Conflict(ConflictKind.OFF_MEMBER, Verdict.OVER, "The blend runs over the member's edge.")
            return
        rule = self.around.planning.edge_distance
        if rule is None:
            return
        distance = float(polygon.boundary.distance(footprint))
        stands = self._stands(distance, rule.distance)
        if stands:
            words = f"{self._show(distance)} from the member's edge, {self._show(rule.distance)} asked."
            yield Conflict(ConflictKind.EDGE, stands, words, distance, rule.distance, rule.source)

    def fasteners(self) -> Iterator[Conflict]:
        """Look for fasteners that the blend reaches, or comes nearer to than stated."""
        for number, fastener in enumerate(self.around.layout.member.fasteners, start=1):
            name = fastener.id or f"no. {number} at {self._at(fastener)}"
            distance = float(Point(fastener.at).distance(self.entry.footprint)) - fastener.diameter / 2.0
            minimum, source = self._fastener_minimum(fastener)
            stands = self._stands(distance, minimum)
            if stands is None:
                continue
            words = f"{self._show(max(distance, 0.0))} from the hole of fastener {name}."
            if distance < 0.0:
                words = f"The blend reaches fastener {name}: its hole belongs to the damage."
                source = source or "TM 1-1520-240-BD, p. 2-11"
            yield Conflict(ConflictKind.FASTENER, stands, words, distance, minimum, source)

    def _fastener_minimum(self, fastener: Fastener) -> tuple[float, str]:
        rule = self.around.planning.fastener_distance
        if rule is None:
            return 0.0, ""
        if rule.distance is not None:
            return rule.distance, rule.source
        return ((rule.diameters or 0.0) - 0.5) * fastener.diameter, rule.source

    def _at(self, fastener: Fastener) -> str:
        station, offset = (value / mm_per(self.around.shown) for value in fastener.at)
        return f"station {station:.1f}, offset {offset:.1f} {self.around.shown}"

    def supports(self) -> Iterator[Conflict]:
        """Look for station lines (frames, ribs, bulkheads) nearer than the stated clean-up distance."""
        rule = self.around.planning.support_distance
        if rule is None:
            return
        _, low, _, high = self.around.layout.polygon.bounds
        for station in self.around.layout.member.stations:
            distance = float(
                LineString([(station.at, low), (station.at, high)]).distance(self.entry.footprint)
            )
            stands = self._stands(distance, rule.distance)
            if stands:
                words = f"{self._show(distance)} from {station.label}, {self._show(rule.distance)} asked."
                yield Conflict(ConflictKind.SUPPORT, stands, words, distance, rule.distance, rule.source)

    def limit_zones(self) -> Iterator[Conflict]:
        """Look for zones whose own limit holds in part of the blend; the verdict knows them already."""
        layout = self.around.layout
        for zone, named in zip(layout.limit_zones, layout.member.limit_zones, strict=True):
            if not zone.outline.intersects(self.entry.footprint):
                continue
            words = f"It reaches limit zone {named.id}, which has a limit of its own."
            yield Conflict(ConflictKind.LIMIT_ZONE, Verdict.WITHIN, words, source=named.limit.source)

    def thickness_steps(self) -> Iterator[Conflict]:
        """Look for steps in thickness under the blend: a dish across one cannot be faired as planned."""
        layout = self.around.layout
        for zone, named in zip(layout.thickness_zones, layout.member.thickness_zones, strict=True):
            if zone.outline.boundary.intersects(self.entry.footprint):
                words = f"It runs across the step in thickness at the edge of zone {named.id}."
                yield Conflict(ConflictKind.THICKNESS_STEP, Verdict.OVER, words)

    def other_removals(self) -> Iterator[Conflict]:
        """Look for removal on the other face under the blend, and for blends on this one that it meets."""
        for index in sorted(self.around.tree.query(self.entry.footprint, predicate="intersects")):
            other = self.around.entries[index]
            if other.id == self.entry.id:
                continue
            planned = other.id in self.around.planned
            if other.face is not self.entry.face:
                what = "is planned" if planned else "is gone"
                words = f"On the other face {self._show(other.depth)} {what} under it ({other.id})."
                yield Conflict(ConflictKind.OTHER_FACE, Verdict.WITHIN, words)
            elif planned:
                words = (
                    f"It meets {other.id}: the metal between them is to be removed "
                    "(merging is switched off)."
                )
                yield Conflict(
                    ConflictKind.NEIGHBOUR,
                    Verdict.OVER,
                    words,
                    source="AC 43.13-1B, para 6-115c and Fig 6-16",
                )


def open_questions(planning: Planning, layout: MemberLayout) -> list[str]:
    """Name the minima that nobody has stated, so that nobody takes silence for room."""
    asked = []
    if planning.edge_distance is None:
        asked.append(
            "No least distance from the member's edge is set: only blends that run over it are told."
        )
    if planning.fastener_distance is None and layout.member.fasteners:
        asked.append("No least distance from fasteners is set: only blends that reach a hole are told.")
    if planning.support_distance is None and layout.member.stations:
        asked.append("No least distance from support structure is set: it was not looked at.")
    return asked
