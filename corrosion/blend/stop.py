"""How deep the bench may go: the depth at which the sum would no longer be within the limit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from corrosion.blend.places import Places
from corrosion.layout import MemberLayout
from corrosion.quantity import FloatArray
from corrosion.removal import Entry
from corrosion.removal.cells import EntryIndex
from corrosion.removal.chains import BoolArray, EntryTable, IntArray, sum_removals
from corrosion.terms import Face

_HALVINGS = 27
"""Enough for 1e-8 of the limit."""


@dataclass(frozen=True)
class Stops:
    """Of n blends: stop depth in mm (NaN without a limit), and the index of the place that sets it."""

    depth: FloatArray
    place: IntArray


def stop_depths(
    layout: MemberLayout,
    earlier: list[Entry],
    planned: list[Entry],
    places: Places,
    within_probability: float,
) -> Stops:
    """Find the depth of each planned blend at which the probability of exceeding the limit is just allowed.

    The blends of one face are deepened together while those of the other keep their planned depth, since
    both will be ground. The footprint stays as planned.

    Parameters
    ----------
    earlier, planned : list of Entry
        In time order, planned ones last; places belong to planned ones.
    """
    search = _Search(layout, [*earlier, *planned], len(earlier), places, within_probability)
    inner = np.array([entry.face is Face.INNER for entry in planned], dtype=bool)
    depth, place = np.zeros(len(planned)), np.zeros(len(planned), dtype=np.int64)
    for face in (inner, ~inner):
        allowed = search.deepest_allowed(face)
        depth = np.where(face, allowed, depth)
        place = np.where(face, search.places_that_set(face, allowed), place)
    return Stops(np.where(search.unlimited, np.nan, depth), place)


class _Search:
    """Bisects the depths of planned entries on sums whose geometry is found once."""

    def __init__(
        self,
        layout: MemberLayout,
        entries: list[Entry],
        first: int,
        places: Places,
        within_probability: float,
    ) -> None:
        self.places, self.first, self.allowed = places, first, within_probability
        self.cover = EntryIndex(entries).cover(places.points)
        self.limit = layout.limit_at(places.points)[0]
        self.u_limit = layout.u_limit_at(places.points)
        gauges = sorted({entry.instrument for entry in entries if entry.instrument})
        self.table = EntryTable(
            depth=np.array([e.depth for e in entries]),
            u=np.array([e.u for e in entries]),
            u_systematic=np.array([e.u_systematic for e in entries]),
            instrument=np.array([gauges.index(e.instrument) if e.instrument else -1 for e in entries]),
            inner=np.array([e.face is Face.INNER for e in entries], dtype=bool),
            from_original=np.array([e.from_original for e in entries], dtype=bool),
        )
        self.count = len(entries) - first
        self.unlimited = self._any(np.isnan(self.limit))

    def _any(self, at_place: BoolArray) -> BoolArray:
        found = np.zeros(self.count, dtype=bool)
        found[self.places.owner[at_place]] = True
        return found

    def _probability(self, depths: FloatArray) -> FloatArray:
        """Probability of exceeding the limit at each place, with the planned entries so deep."""
        table = replace(self.table, depth=np.concatenate([self.table.depth[: self.first], depths]))
        sums = sum_removals(table, self.cover, len(self.places.points), self.limit, self.u_limit)
        return np.nan_to_num(sums.probability, nan=0.0)

    def deepest_allowed(self, varied: BoolArray) -> FloatArray:
        """Deepest allowed depth of each planned entry in `varied`, mm; the others keep theirs."""
        planned = self.table.depth[self.first :]
        most = np.nan_to_num(self.limit, nan=0.0).max(initial=0.0)
        low, high = np.zeros(self.count), np.full(self.count, most)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            exceeds = self._probability(np.where(varied, middle, planned)) > self.allowed
            too_deep = self._any(exceeds)
            low, high = np.where(too_deep, low, middle), np.where(too_deep, middle, high)
        return np.where(low < most * 2.0 ** (1 - _HALVINGS), 0.0, low)

    def places_that_set(self, varied: BoolArray, depths: FloatArray) -> IntArray:
        """Place of each blend where the probability first becomes too large beyond its stop depth."""
        most = np.nan_to_num(self.limit, nan=0.0).max(initial=0.0)
        deeper = depths + most * 2.0 ** (2 - _HALVINGS)
        beyond = self._probability(np.where(varied, deeper, self.table.depth[self.first :]))
        return self.places.worst(beyond, self.count)
