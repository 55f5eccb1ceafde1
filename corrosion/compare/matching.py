"""Which finding of the later survey is which of the earlier one.

Two findings may be one where kind, member and face agree and their places lie within three combined
standard uncertainties of each other. Where several pairings do, the best assignment is sought (least sum
of squared, standardised distances; `scipy.optimize.linear_sum_assignment`), and it is believed only as far
as no other assignment comes near it: a rival within a likelihood ratio of 20 makes the pair *ambiguous*.

All findings of one photo move together when the photo was placed wrongly, so a whole row of pits can look
shifted by one. The assignment is therefore sought anew under common shifts of the later survey up to U,
each at the price of its own improbability, and a pair must win under all of them that are plausible.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from shapely.geometry.base import BaseGeometry

from corrosion.findings.grouping import POSITION_FACTOR
from corrosion.quantity import FloatArray
from corrosion.results import Finding
from corrosion.terms import Face, MarkKind

PLAUSIBLE = 2.0 * math.log(20.0)
"""Largest excess of a rival assignment's cost (minus twice a log likelihood) that still counts: 20 to 1 (a
choice of ours, near the 5 % of JCGM 106 thinking used elsewhere)."""

UNMATCHED = POSITION_FACTOR**2 / 2.0
"""Cost of leaving one finding alone: a pair at the edge of the gate costs as much as two left alone."""

SIZE_FACTOR = 2.0
"""Ratio of areas that counts as one standard deviation between two looks at one thing (our choice)."""
MOST_SIZE_COST = 4.0

INSIDE = 0.5
"""Share of a finding that must lie inside another to be part of it: more in than out (a choice of ours)."""

LEAST_U_MM = 0.01
"""Below this no layout place is known; it keeps exact places, as in drawings, from dividing by zero."""

MOST_IN_GROUP = 80
"""Findings of both surveys in one group up to which whole assignments are weighed against each other."""

_DIRECTIONS = 8
_LENGTHS = (1.0, 2.0)

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Subject = tuple[MarkKind, str, Face]


@dataclass(frozen=True)
class Pair:
    """Indices of an earlier and a later finding that are one; `named` if only a name says so."""

    earlier: int
    later: int
    named: bool = False


@dataclass
class Matches:
    """Pairs believed, what merged, and for findings that no assignment settles, everything they may be.

    Attributes
    ----------
    pairs : list of Pair
    also : dict of int to list of int
        Later index to the earlier findings, besides its partner, that it has swallowed.
    rivals_of_earlier, rivals_of_later : dict of int to set of int
        Candidates of the findings that stay ambiguous.
    """

    pairs: list[Pair] = field(default_factory=list)
    also: dict[int, list[int]] = field(default_factory=dict)
    rivals_of_earlier: dict[int, set[int]] = field(default_factory=dict)
    rivals_of_later: dict[int, set[int]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Group:
    """Findings of one subject that candidates link: bounds (n, 4), sizes and the uncertainties of pairs."""

    earlier: list[int]
    later: list[int]
    before: FloatArray
    after: FloatArray
    size_cost: FloatArray
    u: FloatArray
    allowed: BoolArray


def match_findings(earlier: list[Finding], later: list[Finding]) -> Matches:
    """Match the findings of two surveys by place.

    Parameters
    ----------
    earlier, later : list of Finding
        What has no place on the layout, no member or no face is in no pair.

    Returns
    -------
    Matches
        Does not depend on the order of either list, apart from the indices.
    """
    matches = Matches()
    before, after = _by_subject(earlier), _by_subject(later)
    for subject in before.keys() & after.keys():
        for group in _groups(earlier, later, before[subject], after[subject]):
            _settle(group, earlier, later, matches)
    _swallow(earlier, later, matches)
    matches.pairs.sort(key=lambda pair: (pair.earlier, pair.later))
    return matches


def placed(finding: Finding) -> bool:
    """Whether a finding has a place to be compared by."""
    return (
        finding.outline is not None
        and not finding.outline.is_empty
        and finding.member_id is not None
        and finding.face is not None
    )


def u_position(finding: Finding) -> tuple[float, float]:
    """Give the standard uncertainties of a finding's station and offset, mm, never zero."""
    given = finding.u_position or (0.0, 0.0)
    return max(given[0], LEAST_U_MM), max(given[1], LEAST_U_MM)


def share_inside(shape: BaseGeometry | None, holder: BaseGeometry | None) -> float:
    """Share of a shape inside another; a point or line counts by whether its middle is."""
    if shape is None or holder is None or shape.is_empty or holder.is_empty:
        return 0.0
    if shape.area > 0.0:
        return float(shape.intersection(holder).area / shape.area)
    return 1.0 if holder.area > 0.0 and holder.covers(shape.centroid) else 0.0


def _swallow(earlier: list[Finding], later: list[Finding], matches: Matches) -> None:
    """Take two or more earlier findings inside a later one, which fit nothing else, for merged into it."""
    for j, rivals in list(matches.rivals_of_later.items()):
        only = all(matches.rivals_of_earlier[i] == {j} for i in rivals)
        inside = all(share_inside(earlier[i].outline, later[j].outline) >= INSIDE for i in rivals)
        if len(rivals) < 2 or not (only and inside):
            continue
        first, *others = sorted(rivals, key=lambda i: (-_area(earlier[i]), earlier[i].id))
        matches.pairs.append(Pair(first, j))
        matches.also[j] = others
        del matches.rivals_of_later[j]
        for i in rivals:
            del matches.rivals_of_earlier[i]


def _area(finding: Finding) -> float:
    return 0.0 if finding.outline is None else float(finding.outline.area)


def _by_subject(findings: list[Finding]) -> dict[Subject, list[int]]:
    subjects: dict[Subject, list[int]] = defaultdict(list)
    for index, finding in enumerate(findings):
        if placed(finding) and finding.member_id and finding.face and finding.kind is not MarkKind.CLEAR:
            subjects[finding.kind, finding.member_id, finding.face].append(index)
    return subjects


def _groups(
    earlier: list[Finding], later: list[Finding], rows: list[int], columns: list[int]
) -> list[_Group]:
    """Split one subject's findings into groups that no candidate links."""
    n, m = len(rows), len(columns)
    row, column = _candidates(earlier, later, rows, columns)
    links = coo_matrix((np.ones(len(row)), (row, n + column)), shape=(n + m, n + m))
    labels = connected_components(links, directed=False)[1]
    members: dict[int, tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for k, label in enumerate(labels.tolist()):
        members[label][k >= n].append(k if k < n else k - n)
    fits = set(zip(row.tolist(), column.tolist(), strict=True))
    return [
        _group(
            earlier,
            later,
            [rows[i] for i in r],
            [columns[j] for j in c],
            [[(i, j) in fits for j in c] for i in r],
        )
        for r, c in members.values()
        if r and c
    ]


def _candidates(
    earlier: list[Finding], later: list[Finding], rows: list[int], columns: list[int]
) -> tuple[IntArray, IntArray]:
    """Pairs whose outlines lie within the gate, and so what one extent must move to hold the other."""
    a, b = (
        np.array([of[k].outline for k in which], dtype=object)
        for of, which in ((earlier, rows), (later, columns))
    )
    u_a, u_b = _doubts(earlier, rows), _doubts(later, columns)
    reach = POSITION_FACTOR * np.hypot(u_a.max(axis=1), u_b.max())
    row, column = shapely.STRtree(b).query(a, predicate="dwithin", distance=reach)
    u = np.hypot(u_a[row], u_b[column])
    near = shapely.dwithin(a[row], b[column], POSITION_FACTOR * u.max(axis=1))
    near &= _apart(shapely.bounds(a[row]), shapely.bounds(b[column]), u) <= POSITION_FACTOR**2
    return row[near], column[near]


def _group(
    earlier: list[Finding],
    later: list[Finding],
    rows: list[int],
    columns: list[int],
    allowed: list[list[bool]],
) -> _Group:
    u = np.hypot(_doubts(earlier, rows)[:, None, :], _doubts(later, columns)[None, :, :])
    size_cost = _size_cost(earlier, later, rows, columns)
    before, after = _bounds(earlier, rows), _bounds(later, columns)
    return _Group(rows, columns, before, after, size_cost, u, np.array(allowed, dtype=bool))


def _bounds(findings: list[Finding], indices: list[int]) -> FloatArray:
    return np.array([findings[i].outline.bounds for i in indices], dtype=np.float64)  # type: ignore[union-attr]


def _doubts(findings: list[Finding], indices: list[int]) -> FloatArray:
    return np.array([u_position(findings[i]) for i in indices], dtype=np.float64)


def _apart(before: FloatArray, after: FloatArray, u: FloatArray) -> FloatArray:
    """Squared, standardised distance of extents of shape (..., 4) whose places are known to `u` (..., 2).

    Along each axis it is the least shift that lets one extent hold the other: what grew on one side only
    has moved its middle, but not its place.
    """
    low, high = after[..., :2] - before[..., :2], after[..., 2:] - before[..., 2:]
    # The later extent holds the earlier one where low <= 0 <= high, the other way round where both flip.
    moved = np.where(low * high <= 0.0, 0.0, np.minimum(np.abs(low), np.abs(high)))
    return np.asarray(((moved / u) ** 2).sum(axis=-1))


def _size_cost(
    earlier: list[Finding], later: list[Finding], rows: list[int], columns: list[int]
) -> FloatArray:
    """Say how unlike in size two areas are; growth may not exclude a pair, so the cost is capped."""
    a = np.array([earlier[i].outline.area for i in rows])[:, None]  # type: ignore[union-attr]
    b = np.array([later[j].outline.area for j in columns])[None, :]  # type: ignore[union-attr]
    both = (a > 0.0) & (b > 0.0)
    ratio = np.log(np.where(both, b, 1.0) / np.where(both, a, 1.0)) / math.log(SIZE_FACTOR)
    return np.asarray(np.minimum(ratio**2, MOST_SIZE_COST))


def _settle(group: _Group, earlier: list[Finding], later: list[Finding], matches: Matches) -> None:
    """Enter the pairs of one group, or that they are ambiguous."""
    certain = _certain(group)
    taken = {j for _, j in certain}
    matches.pairs += [Pair(group.earlier[i], group.later[j]) for i, j in certain]
    left = set(range(len(group.earlier))) - {i for i, _ in certain}
    fits = [(i, int(j)) for i in sorted(left) for j in np.flatnonzero(group.allowed[i]) if j not in taken]
    for i, j in _named(group, earlier, later, fits):
        matches.pairs.append(Pair(group.earlier[i], group.later[j], named=True))
        fits = [(a, b) for a, b in fits if a != i and b != j]
    for i, j in fits:
        matches.rivals_of_earlier.setdefault(group.earlier[i], set()).add(group.later[j])
        matches.rivals_of_later.setdefault(group.later[j], set()).add(group.earlier[i])


def _named(
    group: _Group, earlier: list[Finding], later: list[Finding], pairs: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Pairs that fit the places and bear one feature name in both surveys.

    A finding without a feature name is called ``photo/mark``, which means nothing across surveys.
    """
    return [
        (i, j)
        for i, j in pairs
        if earlier[group.earlier[i]].id == later[group.later[j]].id and "/" not in later[group.later[j]].id
    ]


def _certain(group: _Group) -> list[tuple[int, int]]:
    """Pairs of a group (its own indices) that no plausible assignment contradicts."""
    if group.allowed.shape == (1, 1):
        return [(0, 0)]
    u = np.median(group.u.reshape(-1, 2), axis=0)
    shifts = [np.zeros(2), *(length * u * way for length in _LENGTHS for way in _ways())]
    trials = [_Trial.of(group, shift, u) for shift in shifts]
    if sum(group.allowed.shape) > MOST_IN_GROUP:
        return _dominant(trials)
    solved = [trial.solve() for trial in trials]
    best = min(range(len(solved)), key=lambda k: solved[k][0])
    bound = solved[best][0] + PLAUSIBLE
    plausible = [trials[k] for k in range(len(trials)) if solved[k][0] <= bound]
    return [pair for pair in solved[best][1] if not any(trial.rivalled(pair, bound) for trial in plausible)]


def _ways() -> FloatArray:
    turn = np.arange(_DIRECTIONS) * (2.0 * math.pi / _DIRECTIONS)
    return np.column_stack([np.cos(turn), np.sin(turn)])


@dataclass(frozen=True, eq=False)
class _Trial:
    """An assignment problem under one common shift.

    Attributes
    ----------
    cost : ndarray of shape (n + m, m + n)
        Row i < n is an earlier finding, column j < m a later one; the rest are places to stay alone.
    price : float
        Of the shift.
    shape : (n, m)
    """

    cost: FloatArray
    price: float
    shape: tuple[int, int]

    @classmethod
    def of(cls, group: _Group, shift: FloatArray, u: FloatArray) -> _Trial:
        """Set up the problem with the later survey moved back by `shift`, mm."""
        n, m = group.allowed.shape
        after = group.after - np.tile(shift, 2)
        pairs = _apart(group.before[:, None], after[None], group.u) + group.size_cost
        cost = np.full((n + m, m + n), np.inf)
        cost[:n, :m] = np.where(group.allowed, pairs, np.inf)
        cost[np.arange(n), m + np.arange(n)] = UNMATCHED
        cost[n + np.arange(m), np.arange(m)] = UNMATCHED
        cost[n:, m:] = 0.0
        return cls(cost, float(((shift / u) ** 2).sum()), (n, m))

    def solve(self) -> tuple[float, list[tuple[int, int]]]:
        """Find the cheapest assignment and its cost."""
        n, m = self.shape
        rows, columns = linear_sum_assignment(self.cost)
        pairs = [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if i < n and j < m]
        return float(self.cost[rows, columns].sum()) + self.price, pairs

    def rivalled(self, pair: tuple[int, int], bound: float) -> bool:
        """Whether one of a pair may as well belong to a third, at a cost within `bound`.

        That both stay alone is no rival: it asks whether they are one thing, not which is which.
        """
        (i, j), (n, m) = pair, self.shape
        for alone in ((i, m + i), (n + j, j)):
            changed = self.cost.copy()
            changed[pair] = changed[alone] = np.inf
            try:
                cost = replace(self, cost=changed).solve()[0]
            except ValueError:  # scipy's word for: nothing is left to pair it with
                continue
            if cost <= bound:
                return True
        return False


def _dominant(trials: list[_Trial]) -> list[tuple[int, int]]:
    """Pairs of a very large group that beat every rival alone under every shift; a stricter test.

    Weighing whole assignments against each other would take too long there.
    """
    n, m = trials[0].shape
    certain = np.isfinite(trials[0].cost[:n, :m])
    for trial in trials:
        pairs = trial.cost[:n, :m]
        for i, j in np.argwhere(certain):
            others = np.concatenate([np.delete(pairs[i], j), np.delete(pairs[:, j], i)])
            certain[i, j] = pairs[i, j] + PLAUSIBLE <= others.min(initial=np.inf)
    return [(int(i), int(j)) for i, j in np.argwhere(certain)]
