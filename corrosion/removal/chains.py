"""The sum of removals: which entries add, which replace, and how sure the sum is.

On one face, entries act in time order. One measured from the *current* surface adds to what is gone; one
measured from the *original* contour makes it the larger of what was gone and itself. Because a maximum
commutes with adding the same amount to both sides, the face's sum is the largest of a few plain sums,
here called chains: the chain that begins with nothing, and one that begins at each ``original`` entry,
each followed by every later ``current`` entry. The two faces add, so the total is the largest over pairs
of chains. Plain sums make the uncertainty exact to first order: random parts in quadrature, the part
that one instrument's readings share linearly (design.md section 4).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from corrosion.quantity import FloatArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class EntryTable:
    """The numbers of a member's entries, in time order: m entries, all lengths in mm.

    `inner` tells the face, `from_original` the rule, `instrument` an index shared by the entries of one
    gauge (-1: none).
    """

    depth: FloatArray
    u: FloatArray
    u_systematic: FloatArray
    instrument: IntArray
    inner: BoolArray
    from_original: BoolArray


@dataclass(frozen=True)
class Cover:
    """Which entries reach which places: one row for every (place, entry) pair.

    Attributes
    ----------
    place, entry : ndarray of shape (r,), int64
        Indices; sorted by place, then entry (so by time).
    weight : ndarray of shape (r,)
        Share of the entry's deepest depth at the place.
    upper : ndarray of shape (r,)
        Bound on that share within the cell round the place.
    """

    place: IntArray
    entry: IntArray
    weight: FloatArray
    upper: FloatArray


@dataclass(frozen=True)
class Sums:
    """Removal at n places, mm.

    Attributes
    ----------
    total, outer, inner : ndarray of shape (n,)
        T, and each face's part.
    u : ndarray of shape (n,)
        Standard uncertainty of T, of the governing chain.
    probability : ndarray of shape (n,)
        Probability that T exceeds the limit: the largest over the chains, so that a shallower but
        doubtful reading is not hidden by a deeper, sure one. NaN where there is no limit.
    upper : ndarray of shape (n,)
        Bound on T within the cell round the place.
    governs : ndarray of shape (r,), bool
        For every row of the cover, whether the entry is part of the governing chain.
    """

    total: FloatArray
    outer: FloatArray
    inner: FloatArray
    u: FloatArray
    probability: FloatArray
    upper: FloatArray
    governs: BoolArray


def chain_masks(from_original: BoolArray) -> BoolArray:
    """Chains of one face: array of shape (c, k), True where a chain includes an entry.

    `from_original` has shape (k,) in time order. Chains that are part of a longer one are left out:
    removals are never negative, so they cannot govern.
    """
    chains: list[set[int]] = [set()]
    for index, original in enumerate(from_original):
        if original:
            chains.append({index})
        else:
            for chain in chains:
                chain.add(index)
    kept = [
        c
        for i, c in enumerate(chains)
        if not any(c < o or (c == o and j < i) for j, o in enumerate(chains))
    ]
    masks = np.zeros((len(kept), len(from_original)), dtype=bool)
    for row, chain in enumerate(kept):
        masks[row, list(chain)] = True
    return masks


def sum_removals(
    table: EntryTable, cover: Cover, n_places: int, limit: FloatArray, u_limit: FloatArray
) -> Sums:
    """Sum the removals at every place.

    Parameters
    ----------
    table : EntryTable
    cover : Cover
    n_places : int
    limit, u_limit : ndarray of shape (n_places,)
        Limit and its standard uncertainty, mm; NaN where none is set.

    Returns
    -------
    Sums
    """
    idle = (table.depth == 0.0) & (table.u == 0.0) & (table.u_systematic == 0.0)
    if idle.any():
        # A record of "at least nothing" over a whole member would lengthen every sum on it.
        return _without(idle, table, cover, n_places, limit, u_limit)
    sums = _nothing_removed(n_places, len(cover.place), limit, u_limit)
    counts = np.bincount(cover.place, minlength=n_places)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    tags = (2 * table.inner.astype(np.uint8) + table.from_original.astype(np.uint8))[cover.entry]
    for k in np.unique(counts[counts > 0]):
        places = np.flatnonzero(counts == k)
        rows = starts[places][:, None] + np.arange(k)
        # Places covered by the same sequence of face and rule share their chains.
        patterns, which = np.unique(tags[rows], axis=0, return_inverse=True)
        for number, pattern in enumerate(patterns):
            chosen = which.reshape(-1) == number
            _sum_pattern(table, cover, sums, pattern, places[chosen], rows[chosen], limit, u_limit)
    return sums


def _without(
    idle: BoolArray,
    table: EntryTable,
    cover: Cover,
    n_places: int,
    limit: FloatArray,
    u_limit: FloatArray,
) -> Sums:
    """Sum the entries that are not `idle`; those govern nothing."""
    rows, number = ~idle[cover.entry], np.cumsum(~idle) - 1
    left = EntryTable(*(column[~idle] for column in vars(table).values()))
    some = Cover(cover.place[rows], number[cover.entry[rows]], cover.weight[rows], cover.upper[rows])
    sums = sum_removals(left, some, n_places, limit, u_limit)
    governs = np.zeros(len(rows), dtype=bool)
    governs[rows] = sums.governs
    return replace(sums, governs=governs)


def _nothing_removed(n: int, rows: int, limit: FloatArray, u_limit: FloatArray) -> Sums:
    zero = np.zeros(n)
    return Sums(
        total=zero.copy(),
        outer=zero.copy(),
        inner=zero.copy(),
        u=zero.copy(),
        probability=exceedance(zero, u_limit, limit),
        upper=zero.copy(),
        governs=np.zeros(rows, dtype=bool),
    )


def _sum_pattern(  # noqa: PLR0913, PLR0917 - one private step of the loop above
    table: EntryTable,
    cover: Cover,
    sums: Sums,
    pattern: NDArray[np.uint8],
    places: IntArray,
    rows: IntArray,
    limit: FloatArray,
    u_limit: FloatArray,
) -> None:
    """Sum at the places that share one sequence of face and rule; `rows` is (n, k)."""
    entry = cover.entry[rows]
    depth_here = table.depth[entry] * cover.weight[rows]
    on_inner, original = pattern >= 2, pattern % 2 == 1
    outer = _face_chains(~on_inner, original)
    inner = _face_chains(on_inner, original)
    pairs = (outer[:, None, :] | inner[None, :, :]).reshape(-1, len(pattern))
    values = depth_here @ pairs.T.astype(np.float64)
    best = np.argmax(values, axis=1)
    variances = _variances(table, cover, rows, pairs)
    of = np.arange(len(places))
    sums.total[places] = values[of, best]
    sums.outer[places] = (depth_here @ outer.T.astype(np.float64)).max(axis=1)
    sums.inner[places] = (depth_here @ inner.T.astype(np.float64)).max(axis=1)
    sums.u[places] = np.sqrt(variances[of, best])
    spread = np.sqrt(variances + u_limit[places, None] ** 2)
    sums.probability[places] = exceedance(values, spread, limit[places, None]).max(axis=1)
    bound = (table.depth[entry] * cover.upper[rows]) @ pairs.T.astype(np.float64)
    sums.upper[places] = bound.max(axis=1)
    sums.governs[rows] = pairs[best]


def _face_chains(on_face: BoolArray, original: BoolArray) -> BoolArray:
    """Chains of the entries on one face, spread back over all k entries."""
    own = chain_masks(original[on_face])
    masks = np.zeros((len(own), len(on_face)), dtype=bool)
    masks[:, on_face] = own
    return masks


def _variances(table: EntryTable, cover: Cover, rows: IntArray, chains: BoolArray) -> FloatArray:
    """Variance of every chain at every place, shape (n, c), mm2."""
    entry, weight = cover.entry[rows], cover.weight[rows]
    random = (weight * table.u[entry]) ** 2 @ chains.T.astype(np.float64)
    common = weight * table.u_systematic[entry]
    if not np.any(common):
        return np.asarray(random)
    gauge = table.instrument[entry]
    # Entries without a named gauge share nothing, yet keep their own part.
    random += np.where(gauge < 0, common, 0.0) ** 2 @ chains.T.astype(np.float64)
    for one in np.unique(gauge[gauge >= 0]):
        random += (np.where(gauge == one, common, 0.0) @ chains.T.astype(np.float64)) ** 2
    return np.asarray(random)


def exceedance(value: FloatArray, u: FloatArray, limit: FloatArray) -> FloatArray:
    """Probability that the true value exceeds the limit, for a normal error of `u`.

    With ``u`` 0 it is 1 above the limit and 0 at or below it. NaN where the limit is NaN. Source:
    JCGM 106:2012, 7.3 (one-sided tolerance interval).
    """
    value, u, limit = np.broadcast_arrays(value, u, limit)
    over = np.where(value > limit, 1.0, 0.0)
    sure = ~(u > 0)
    z = (value - limit) / np.where(sure, 1.0, u)
    return np.where(np.isnan(limit), np.nan, np.where(sure, over, ndtr(z)))
