"""Station bins of a member: what is deepest, what is lost, how it stands."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from corrosion.quantity import FloatArray
from corrosion.removal.member import MemberRemoval, worst_of
from corrosion.removal.sections import deepest_place
from corrosion.results import BinSummary, Finding, ReadingCheck, SectionLoss
from corrosion.terms import Flag, Verdict, worst_verdict

Span = tuple[float, float]


def summarise_bins(
    removal: MemberRemoval,
    edges: FloatArray,
    losses: list[SectionLoss],
    findings: list[Finding],
    readings: list[ReadingCheck],
) -> list[BinSummary]:
    """Summarise each bin between `edges` (stations in mm, ascending).

    A bin where nothing was removed has no deepest spot and is *not determined*. A disagreeing thickness
    reading and a blend-out that cannot be summed count in their bin as they do for the member.
    """
    return [_bin(removal, span, losses, findings, readings) for span in pairwise(edges.tolist())]


def _bin(
    removal: MemberRemoval,
    span: Span,
    losses: list[SectionLoss],
    findings: list[Finding],
    readings: list[ReadingCheck],
) -> BinSummary:
    place = deepest_place(removal.everywhere, by_margin=False, within=span)
    spots = [removal.spot(place)] if place else []
    verdicts, over = _summed(removal, span)
    for check in readings:
        if _holds(span, check.reading.at) and not check.agrees:
            verdicts.append(check.spot.verdict)
            if Flag.READING_GOVERNS in check.spot.removed.flags:
                spots.append(check.spot)
    for finding, _ in removal.undetermined:
        if _holds(span, finding.position):
            verdicts.append(Verdict.NOT_DETERMINED)
    cuts = [cut for cut in losses if _holds(span, (cut.station, 0.0))]
    return BinSummary(
        start=span[0],
        stop=span[1],
        deepest=max(spots, key=lambda spot: spot.removed.value, default=None),
        section_loss=max(cuts, key=lambda cut: cut.share, default=SectionLoss(sum(span) / 2.0, 0.0, 0.0)),
        over_area_mm2=over,
        findings=sum(_holds(span, finding.position) for finding in findings),
        verdict=worst_verdict(verdicts),
    )


def _holds(span: Span, point: tuple[float, float] | None) -> bool:
    return point is not None and span[0] <= point[0] < span[1]


def _summed(removal: MemberRemoval, span: Span) -> tuple[list[Verdict], float]:
    """Verdicts where the entries removed metal in a bin, and the area over the limit, mm2."""
    verdicts, over = [], 0.0
    for places in removal.everywhere:
        station = places.points[:, 0]
        here = (station >= span[0]) & (station < span[1]) & places.touched
        if here.any():
            verdicts.append(worst_of(places.verdict[here]))
        if places is removal.looked:
            exceeds = here & (places.sums.total > places.limit)
            over = float(np.sum(places.side[exceeds] ** 2))
    return verdicts, over
