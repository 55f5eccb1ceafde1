"""Sums over the marked area: volume removed, area over the limit, section loss along stations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corrosion.quantity import FloatArray, Measured
from corrosion.removal.member import Looked, MemberRemoval
from corrosion.results import SectionLoss
from corrosion.terms import VERDICT_ORDER, Verdict

_NICE_STEPS_MM = (10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 250.0, 500.0, 1000.0)
_BINS_WANTED = 24
_TIE_MM = 1e-9


def removed_volume(removal: MemberRemoval) -> Measured:
    """Metal removed from the member, mm3, with every entry's part in its uncertainty.

    An entry that meets no other and lies wholly on the member counts exactly (depth times its
    profile's integral); overlapping ones are summed over their cells.
    """
    if removal.looked is None:
        return Measured(0.0, "mm3")
    per_entry, cells_volume = _overlap_volume(removal)
    value = cells_volume
    for index in _alone(removal):
        exact = removal.entries[index].profile.integral_mm2
        per_entry[index] = exact
        value += removal.entries[index].depth * exact
    own: dict[str, float] = {}
    shared: dict[str, FloatArray] = {}
    for number in np.flatnonzero(per_entry):
        index = int(number)
        entry, sensitivity = removal.entries[index], float(per_entry[index])
        own[f"depth of {entry.id}"] = float(
            np.hypot(own.get(f"depth of {entry.id}", 0.0), sensitivity * entry.u)
        )
        outline = sensitivity * entry.depth * entry.area_u_share
        if outline:
            own[f"outline of {entry.id}"] = outline
        if entry.u_systematic:
            gauge = f"instrument {entry.instrument or entry.id}"
            shared[gauge] = shared.get(gauge, np.zeros(1)) + sensitivity * entry.u_systematic
    flags = frozenset().union(*(entry.flags for entry in removal.entries))
    return Measured(value, "mm3", shared, own, flags)


def _alone(removal: MemberRemoval) -> list[int]:
    """Entries that share their cluster with no other and lie wholly on the member."""
    counts = np.bincount(removal.labels)
    whole = removal.layout.polygon
    return [
        index
        for index, label in enumerate(removal.labels)
        if counts[label] == 1 and whole.covers(removal.entries[index].footprint)
    ]


def _overlap_volume(removal: MemberRemoval) -> tuple[FloatArray, float]:
    """Integral of the governing share of every entry, mm2, and the volume, of those not alone."""
    seen = removal.looked
    per_entry = np.zeros(len(removal.entries))
    if seen is None:
        return per_entry, 0.0
    rows = seen.sums.governs
    area = seen.side[seen.cover.place[rows]] ** 2
    np.add.at(per_entry, seen.cover.entry[rows], seen.cover.weight[rows] * area)
    per_entry[_alone(removal)] = 0.0
    depth = np.array([entry.depth for entry in removal.entries])
    return per_entry, float(per_entry @ depth)


@dataclass(frozen=True)
class Cuts:
    """Cuts across a member: stations (c,) and metal lost on each (c,), mm2."""

    stations: FloatArray
    lost: FloatArray


def cut_losses(removal: MemberRemoval, stations: FloatArray) -> Cuts:
    """Metal lost on cuts at `stations` (sorted, mm): removal times cell side along the cut."""
    lost = np.zeros(len(stations))
    seen = removal.looked
    if seen is None:
        return Cuts(stations, lost)
    first = np.searchsorted(stations, seen.points[:, 0] - seen.side / 2.0, side="left")
    last = np.searchsorted(stations, seen.points[:, 0] + seen.side / 2.0, side="left")
    crossed = last > first
    amount = (seen.sums.total * seen.side)[crossed]
    # A cell wider than the cuts' spacing is crossed by several: add to the first, take off after the last.
    steps = np.zeros(len(stations) + 1)
    np.add.at(steps, first[crossed], amount)
    np.add.at(steps, last[crossed], -amount)
    return Cuts(stations, np.maximum(np.cumsum(steps)[:-1], 0.0))


def section_losses(removal: MemberRemoval, stations: FloatArray) -> list[SectionLoss]:
    """Section loss at each station that lies on the member."""
    cuts = cut_losses(removal, stations)
    return [
        SectionLoss(float(at), float(lost), removal.layout.section_area(float(at)))
        for at, lost in zip(cuts.stations, cuts.lost, strict=True)
    ]


def cut_stations(removal: MemberRemoval, edges: FloatArray) -> FloatArray:
    """Where to cut: the middle of every station bin and the deepest place of every entry, mm."""
    start, _, stop, _ = removal.layout.polygon.bounds
    deepest = [entry.profile.deepest[0] for entry in removal.entries]
    middles = (edges[:-1] + edges[1:]) / 2.0
    stations = np.unique(np.concatenate([middles, np.array(deepest, dtype=np.float64)]))
    return np.asarray(stations[(stations >= start) & (stations <= stop)])


def bin_edges(start: float, stop: float, step: float | None) -> FloatArray:
    """Edges of station bins that cover start to stop, on multiples of `step` mm.

    Without a step, the smallest round one that makes at most 24 bins.
    """
    if step is None:
        length = stop - start
        step = next((s for s in _NICE_STEPS_MM if length / s <= _BINS_WANTED), length / _BINS_WANTED)
    first = np.floor(start / step + 1e-9)
    last = np.ceil(stop / step - 1e-9)
    return np.arange(first, max(last, first + 1) + 0.5) * step


def over_areas(removal: MemberRemoval) -> tuple[float, float]:
    """Area over the limit by best estimate, and area not proven within it, mm2."""
    seen = removal.looked
    if seen is None:
        return 0.0, 0.0
    area = seen.side**2
    over = seen.sums.total > seen.limit
    unproven = seen.touched & (seen.verdict != VERDICT_ORDER.index(Verdict.WITHIN))
    return float(area[over].sum()), float(area[unproven | over].sum())


def deepest_place(
    looked: list[Looked], *, by_margin: bool, within: tuple[float, float] | None = None
) -> tuple[float, float] | None:
    """Find the point with most removed, or least margin, among `looked` (in a station range)."""
    best: tuple[float, tuple[float, float]] | None = None
    for places in looked:
        score = places.sums.total - (places.limit if by_margin else 0.0)
        score = np.where(np.isnan(score) | (places.sums.total <= 0.0), -np.inf, score)
        if within is not None:
            station = places.points[:, 0]
            score = np.where((station >= within[0]) & (station < within[1]), score, -np.inf)
        if len(score) == 0:
            continue
        at = int(np.argmax(score))
        if np.isfinite(score[at]) and (best is None or score[at] > best[0] + _TIE_MM):
            best = (float(score[at]), (float(places.points[at, 0]), float(places.points[at, 1])))
    return best[1] if best else None
