"""One member's assessment: verdict with reasons, worst spots, bins, volume, mass, readings."""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile
from corrosion.quantity import Measured
from corrosion.removal.bins import summarise_bins
from corrosion.removal.entries import collect_entries
from corrosion.removal.member import MemberRemoval
from corrosion.removal.readings import check_reading
from corrosion.removal.reasons import judge_member
from corrosion.removal.sections import (
    bin_edges,
    cut_stations,
    deepest_place,
    over_areas,
    removed_volume,
    section_losses,
)
from corrosion.results import (
    Coverage,
    Finding,
    MemberAssessment,
    ReadingCheck,
    Spot,
)
from corrosion.terms import Face, Flag, MarkKind, density_of

_KG_PER_MM3 = 1e-9
"""One kg/m3 in kg/mm3."""


@dataclass(frozen=True)
class MemberResult:
    """The summary, and the removal itself for maps and spots."""

    summary: MemberAssessment
    removal: MemberRemoval


def assess_member(
    layout: MemberLayout,
    survey: SurveyFile,
    findings: list[Finding],
    coverage: dict[Face, Coverage],
) -> MemberResult:
    """Assess one member.

    Parameters
    ----------
    layout : MemberLayout
    survey : SurveyFile
        In millimetres.
    findings : list of Finding
        Of the whole survey.
    coverage : dict of Face to Coverage
        What of each face was photographed.

    Raises
    ------
    RemovalError
        If an entry contradicts itself; nothing is judged then.
    """
    member = layout.member
    mine = [finding for finding in findings if finding.member_id == member.id]
    listed = collect_entries(member.id, survey, findings)
    removal = MemberRemoval(layout, listed, survey.settings.within_probability)
    readings = [
        check_reading(removal, reading, survey.instruments)
        for reading in survey.thickness_readings
        if reading.member == member.id
    ]
    deepest = _worst_spot(removal, readings, by_margin=False)
    least = _worst_spot(removal, readings, by_margin=True) or deepest
    start, _, stop, _ = layout.polygon.bounds
    edges = bin_edges(start, stop, survey.settings.station_bin)
    losses = section_losses(removal, cut_stations(removal, edges))
    shown = survey.display_units or survey.units
    verdict, reasons = judge_member(removal, readings, coverage, least, shown)
    volume = removed_volume(removal)
    over, not_within = over_areas(removal)
    summary = MemberAssessment(
        member=member,
        verdict=verdict,
        reasons=reasons,
        deepest=deepest,
        least_margin=least,
        over_area_mm2=over,
        not_within_area_mm2=not_within,
        removed_volume_mm3=volume,
        removed_mass_kg=_mass(layout, volume),
        section_losses=losses,
        bins=summarise_bins(removal, edges, losses, mine, readings),
        readings=readings,
        coverage=coverage,
        unblended_pits=[finding.id for finding in mine if finding.kind is MarkKind.PIT],
        cell_mm=float(removal.cells.side.min()) if removal.cells else 0.0,
        cell_error_mm=removal.cell_error_mm,
        flags=_flags(layout, removal, deepest),
    )
    return MemberResult(summary, removal)


def _worst_spot(removal: MemberRemoval, readings: list[ReadingCheck], *, by_margin: bool) -> Spot | None:
    place = deepest_place(removal.everywhere, by_margin=by_margin)
    spots = [removal.spot(place)] if place else []
    spots += [check.spot for check in readings if Flag.READING_GOVERNS in check.spot.removed.flags]
    if by_margin:
        limited = [spot for spot in spots if spot.margin is not None]
        return min(limited, key=lambda spot: spot.margin or 0.0, default=None)
    return max(spots, key=lambda spot: spot.removed.value, default=None)


def _mass(layout: MemberLayout, volume: Measured) -> Measured | None:
    """Mass removed, kg; None where neither the member nor the table gives the density."""
    stated = layout.member.density_kg_m3
    density = stated * _KG_PER_MM3 if stated else density_of(layout.member.material)
    return volume.scaled(density, unit="kg") if density else None


def _flags(layout: MemberLayout, removal: MemberRemoval, deepest: Spot | None) -> frozenset[Flag]:
    flags = frozenset().union(*(entry.flags for entry in removal.entries))
    if layout.thickness_is_nominal:
        flags |= {Flag.NOMINAL_THICKNESS}
    clad = layout.member.clad_thickness
    if clad is not None and deepest and max(deepest.by_face.values()) > clad:
        flags |= {Flag.THROUGH_CLAD}
    return flags
