"""The ledger of one spot: which entries add up there, in what order, to what."""

from __future__ import annotations

import numpy as np

from corrosion.removal.chains import Cover
from corrosion.removal.entries import Entry
from corrosion.results import LedgerLine
from corrosion.terms import Face, MeasuredFrom


def make_ledger(entries: list[Entry], cover: Cover) -> list[LedgerLine]:
    """Apply the entries that reach one place one after the other.

    This is the rule of design.md section 4 in its plain form; `chains.sum_removals` does the same for
    many places at once, and a property test holds the two together.
    """
    so_far = {Face.OUTER: 0.0, Face.INNER: 0.0}
    lines = []
    for row in np.flatnonzero(cover.weight > 0):
        entry = entries[cover.entry[row]]
        depth = entry.depth * float(cover.weight[row])
        before = so_far[entry.face]
        after = max(before, depth) if entry.from_original else before + depth
        so_far[entry.face] = after
        lines.append(
            LedgerLine(
                entry_id=entry.id,
                face=entry.face,
                origin=entry.origin,
                date=entry.date,
                measured_from=str(MeasuredFrom.ORIGINAL if entry.from_original else MeasuredFrom.CURRENT),
                depth_here=depth,
                face_total_after=after,
                adds=after - before,
            )
        )
    return lines
