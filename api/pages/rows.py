"""The findings as rows: what the table shows and the exports hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from api.results import Kept
from corrosion.quantity import FloatArray, Measured
from corrosion.removal import MemberRemoval
from corrosion.results import Finding, ReadingCheck, Spot
from corrosion.terms import VERDICT_ORDER, MarkKind, Verdict

JUDGED = frozenset({MarkKind.BLEND_OUT, MarkKind.PIT})


@dataclass(frozen=True)
class Row:
    """One finding.

    Attributes
    ----------
    spot : Spot or None
        The worst place inside its outline: worst verdict, then largest share of the limit. None for
        what takes no metal away, and off the layout.
    verdict : Verdict or None
        Of the metal removed there. None for a pit where nothing was removed yet: its depth is loss, not
        removal, and the limit does not judge it.
    standing : str
        The verdict's place in words where there is none.
    """

    finding: Finding
    spot: Spot | None
    verdict: Verdict | None
    standing: str

    @property
    def share(self) -> float | None:
        """Removed as a share of the limit at the worst place."""
        if self.spot is None or not self.spot.limit:
            return None
        return self.spot.removed.value / self.spot.limit

    def quantity(self, name: str) -> Measured | None:
        """Return one of the finding's measures."""
        return self.finding.quantities.get(name)


class _Places:
    """All places where a member's sum was looked at, sorted by station for quick searches.

    Thickness readings are looked at too: where one shows more gone than the entries, it governs.
    """

    def __init__(self, removal: MemberRemoval, readings: list[ReadingCheck]) -> None:
        looked = removal.everywhere
        points = np.concatenate([place.points for place in looked]) if looked else np.zeros((0, 2))
        order = np.argsort(points[:, 0], kind="stable")
        self.removal = removal
        self.readings = readings
        self.points: FloatArray = points[order]
        codes = [place.verdict for place in looked]
        shares = [place.sums.total / place.limit for place in looked]
        totals = [place.sums.total for place in looked]
        self.verdict = np.concatenate(codes)[order] if looked else np.zeros(0, dtype=np.int64)
        self.share: FloatArray = np.nan_to_num(np.concatenate(shares)[order]) if looked else np.zeros(0)
        self.total: FloatArray = np.concatenate(totals)[order] if looked else np.zeros(0)

    def worst_in(self, outline: BaseGeometry) -> Spot:
        """Return the worst place inside an outline: worst verdict, then largest share of the limit."""
        read = [check.spot for check in self.readings if outline.intersects(Point(check.reading.at))]
        return max([self._worst_sum(outline), *read], key=_badness)

    def _worst_sum(self, outline: BaseGeometry) -> Spot:
        """Return the worst sum of entries inside an outline; where none was looked at, its middle's."""
        left, _, right, _ = outline.bounds
        first, last = np.searchsorted(self.points[:, 0], [left, right + 1e-9])
        near = self.points[first:last]
        inside = np.flatnonzero(shapely.intersects_xy(outline, near[:, 0], near[:, 1])) + first
        if len(inside) == 0:
            middle = outline.representative_point()
            return self.removal.spot((float(middle.x), float(middle.y)))
        keys = (self.total[inside], self.share[inside], self.verdict[inside])
        worst = inside[np.lexsort(keys)[-1]]
        return self.removal.spot((float(self.points[worst, 0]), float(self.points[worst, 1])))


def _badness(spot: Spot) -> tuple[int, float, float]:
    share = spot.removed.value / spot.limit if spot.limit else 0.0
    return VERDICT_ORDER.index(spot.verdict), share, spot.removed.value


def finding_rows(kept: Kept) -> list[Row]:
    """List the findings of a survey by zone, member, face and station."""
    readings = {one.member.id: one.readings for one in kept.assessment.members}
    places: dict[str, _Places] = {}
    rows = []
    for finding in sorted(kept.assessment.findings, key=_order):
        spot = None
        if finding.kind in JUDGED and finding.member_id and finding.outline is not None:
            if finding.member_id not in places:
                places[finding.member_id] = _Places(
                    kept.removal(finding.member_id), readings[finding.member_id]
                )
            spot = places[finding.member_id].worst_in(finding.outline)
        rows.append(_row(finding, spot))
    return rows


def _order(finding: Finding) -> tuple[str, str, str, float, str]:
    station = finding.position[0] if finding.position else float("inf")
    return (finding.zone or "~", finding.member_id or "~", str(finding.face or "~"), station, finding.id)


def _row(finding: Finding, spot: Spot | None) -> Row:
    if finding.kind not in JUDGED:
        return Row(finding, None, None, "not judged")
    if spot is None:
        # Without a place on the layout a blend-out cannot be added to the others there.
        verdict = Verdict.NOT_DETERMINED if finding.kind is MarkKind.BLEND_OUT else None
        return Row(finding, None, verdict, "not placed on the layout")
    if finding.kind is MarkKind.PIT:
        standing = _pit_standing(finding, spot)
        return Row(finding, spot, spot.verdict if spot.removed.value > 0 else None, standing)
    if finding.depth is None:
        return Row(finding, spot, Verdict.NOT_DETERMINED, "no depth read")
    return Row(finding, spot, spot.verdict, "")


def _pit_standing(finding: Finding, spot: Spot) -> str:
    """Say what a pit means for the limit: blending it away takes at least its depth."""
    if finding.depth is None:
        return "pit, no depth read"
    if spot.limit is not None and finding.depth.value + spot.removed.value > spot.limit:
        return "pit, not blended; blending it away would go over the limit"
    return "pit, not blended"
