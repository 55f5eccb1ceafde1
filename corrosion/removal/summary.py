"""One member's assessment: verdict with reasons, worst spots, bins, volume, mass, readings."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from corrosion.layout import MemberLayout
from corrosion.model import SurveyFile
from corrosion.quantity import FloatArray, Measured
from corrosion.removal.entries import collect_entries
from corrosion.removal.member import MemberRemoval, worst_of
from corrosion.removal.readings import check_reading
from corrosion.removal.sections import (
    bin_edges,
    cut_stations,
    deepest_place,
    over_areas,
    removed_volume,
    section_losses,
)
from corrosion.results import (
    BinSummary,
    Coverage,
    Finding,
    MemberAssessment,
    ReadingCheck,
    SectionLoss,
    Spot,
)
from corrosion.terms import Face, Flag, MarkKind, Verdict, density_of, worst_verdict

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
    verdict, reasons = _judge(removal, readings, coverage)
    reasons = [*_limit_words(least, removal.within_probability), *reasons]
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
        bins=_bins(removal, edges, losses, mine),
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


def _judge(
    removal: MemberRemoval, readings: list[ReadingCheck], coverage: dict[Face, Coverage]
) -> tuple[Verdict, list[str]]:
    """Roll every place up into one verdict, and say why."""
    verdicts, reasons = [], []
    for places in removal.everywhere:
        gone = places.sums.total > 0.0
        if gone.any():
            verdicts.append(worst_of(places.verdict[gone]))
    if removal.entries and removal.layout.has_unlimited_area and Verdict.NOT_DETERMINED in verdicts:
        reasons.append("No limit is set where metal was removed.")
    for finding, why in removal.undetermined:
        verdicts.append(Verdict.NOT_DETERMINED)
        reasons.append(f"Blend-out {finding.id} cannot be summed: {why}.")
    for check in readings:
        if not check.agrees:
            verdicts.append(check.spot.verdict)
            reasons.append(_reading_words(check))
    unseen = [
        f"{100 * (1 - cover.share):.0f} % of the {face} face"
        for face, cover in coverage.items()
        if cover.share < 1.0
    ]
    if not verdicts:
        verdicts, words = _nothing_removed(removal.layout, coverage)
        reasons.append(words)
    if unseen:
        reasons.append("Not seen: " + ", ".join(unseen) + ".")
    return worst_verdict(verdicts), reasons


def _limit_words(least: Spot | None, within_probability: float) -> list[str]:
    """Say how the spot with the least margin stands against its limit."""
    if least is None or least.limit is None:
        return []
    stands = {
        Verdict.OVER: "is more than",
        Verdict.TOO_CLOSE: "is too close to",
        Verdict.WITHIN: "is within",
    }.get(least.verdict)
    if stands is None:
        return []
    chance = f"{least.probability_over:.0%}" if least.probability_over is not None else "unknown"
    words = (
        f"At station {least.at[0]:.1f}, offset {least.at[1]:.1f} mm the {least.removed.value:.3f} mm "
        f"removed {stands} the limit of {least.limit:.3f} mm ({least.limit_source}); probability of "
        f"exceeding it {chance}, {within_probability:.0%} counts as within."
    )
    return [words]


def _nothing_removed(layout: MemberLayout, coverage: dict[Face, Coverage]) -> tuple[list[Verdict], str]:
    if layout.has_unlimited_area:
        return [], "No limit is set, and no removal was measured or recorded."
    if not any(cover.share > 0.0 for cover in coverage.values()):
        return [], "Not photographed and no removal on record: not seen is not clean."
    return [Verdict.WITHIN], "No removal was measured or recorded where the member was seen."


def _reading_words(check: ReadingCheck) -> str:
    more = "more" if check.removed_by_reading > check.removed_by_entries else "less"
    return (
        f"Thickness reading {check.reading.id} shows {more} removed "
        f"({check.removed_by_reading:.3f} mm) than the entries add up to "
        f"({check.removed_by_entries:.3f} mm); the larger governs there."
    )


def _mass(layout: MemberLayout, volume: Measured) -> Measured | None:
    """Mass removed, kg; None where neither the member nor the table gives the density."""
    stated = layout.member.density_kg_m3
    density = stated * _KG_PER_MM3 if stated else density_of(layout.member.material)
    return volume.scaled(density, unit="kg") if density else None


def _bins(
    removal: MemberRemoval, edges: FloatArray, losses: list[SectionLoss], findings: list[Finding]
) -> list[BinSummary]:
    bins = []
    for start, stop in pairwise(edges):
        span = (float(start), float(stop))
        place = deepest_place(removal.everywhere, by_margin=False, within=span)
        cuts = [cut for cut in losses if span[0] <= cut.station < span[1]]
        worst = max(cuts, key=lambda cut: cut.share, default=SectionLoss(sum(span) / 2.0, 0.0, 0.0))
        here = sum(f.position is not None and span[0] <= f.position[0] < span[1] for f in findings)
        verdict, over = _bin_verdict(removal, span)
        bins.append(BinSummary(*span, removal.spot(place) if place else None, worst, over, here, verdict))
    return bins


def _bin_verdict(removal: MemberRemoval, span: tuple[float, float]) -> tuple[Verdict, float]:
    """Worst verdict where metal was removed in a station bin, and the area over the limit, mm2."""
    verdicts, over = [], 0.0
    for places in removal.everywhere:
        station = places.points[:, 0]
        here = (station >= span[0]) & (station < span[1]) & (places.sums.total > 0.0)
        if here.any():
            verdicts.append(worst_of(places.verdict[here]))
        if places is removal.looked:
            exceeds = here & (places.sums.total > places.limit)
            over = float(np.sum(places.side[exceeds] ** 2))
    return worst_verdict(verdicts), over


def _flags(layout: MemberLayout, removal: MemberRemoval, deepest: Spot | None) -> frozenset[Flag]:
    flags = frozenset().union(*(entry.flags for entry in removal.entries))
    if layout.thickness_is_nominal:
        flags |= {Flag.NOMINAL_THICKNESS}
    clad = layout.member.clad_thickness
    if clad is not None and deepest and max(deepest.by_face.values()) > clad:
        flags |= {Flag.THROUGH_CLAD}
    return flags
