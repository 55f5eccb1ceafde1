"""What a sum cannot prove: places where a bound, or a depth read by light, stands for a depth.

A depth known only as "at least", or read by light, may be more than it says, so it never proves a limit
kept, whether or not it is the deepest there. Only a later, sure reading from the original contour on the
same face settles it: metal does not come back, so nothing under that reading can be deeper. A depth known
only as "at most", or read by light, may be less, so it never proves a limit exceeded by itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from corrosion.quantity import FloatArray
from corrosion.removal.chains import BoolArray, Cover, EntryTable, Sums, sum_removals
from corrosion.removal.entries import Entry
from corrosion.terms import Flag

_MAYBE_MORE = frozenset({Flag.INDICATIVE, Flag.LOWER_BOUND})
_MAYBE_LESS = frozenset({Flag.INDICATIVE, Flag.UPPER_BOUND})


def maybe_more(entries: list[Entry], table: EntryTable, cover: Cover, sums: Sums) -> BoolArray:
    """Rows of the cover whose entry may have taken more than its depth says, and was not settled."""
    doubtful = _flagged(entries, _MAYBE_MORE)
    reached = cover.weight > 0.0
    rows = reached & doubtful[cover.entry]
    if not rows.any():
        return rows
    settling = reached & (table.from_original & ~doubtful)[cover.entry]
    # Latest settling entry of each place and face; entries are in time order.
    latest = np.full((len(sums.total), 2), -1, dtype=np.int64)
    face = table.inner.astype(np.int64)[cover.entry]
    np.maximum.at(latest, (cover.place[settling], face[settling]), cover.entry[settling])
    return np.asarray(rows & (sums.governs | (cover.entry > latest[cover.place, face])))


def surely_over(
    entries: list[Entry], table: EntryTable, cover: Cover, limit: FloatArray, over: BoolArray
) -> BoolArray:
    """Of the places `over` their limit, those that still are without what may be less than it says."""
    doubtful = _flagged(entries, _MAYBE_LESS)
    rows = (cover.weight > 0.0) & doubtful[cover.entry]
    if not over[cover.place[rows]].any():
        return over
    sure = replace(table, depth=np.where(doubtful, 0.0, table.depth))
    total = sum_removals(sure, cover, len(limit), limit, np.zeros(len(limit))).total
    return np.asarray(over & (total > limit))


def _flagged(entries: list[Entry], flags: frozenset[Flag]) -> BoolArray:
    return np.array([bool(entry.flags & flags) for entry in entries], dtype=bool)
