"""The thickness removed of one member: anywhere, at its worst, and against the limit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from corrosion.layout import MemberLayout
from corrosion.quantity import FloatArray, Measured
from corrosion.removal.cells import Cells, EntryIndex, clusters, key_points, make_cells
from corrosion.removal.chains import BoolArray, Cover, EntryTable, IntArray, Sums, sum_removals
from corrosion.removal.doubt import maybe_more, surely_over
from corrosion.removal.entries import Entry, EntryList
from corrosion.removal.ledger import make_ledger
from corrosion.results import Spot
from corrosion.terms import VERDICT_ORDER, Face, Flag, Verdict

REFINE_ROUNDS = 2
REFINE_PARTS = 4
REFINE_CELLS = 4_000

_WITHIN, _UNDETERMINED, _CLOSE, _OVER = range(4)


@dataclass(frozen=True)
class RemovalField:
    """Removal at n places, all lengths in mm.

    NaN in `limit`, `share`, `margin`, `probability` where no limit is set.
    `share` is removed / limit; `verdict` indexes `terms.VERDICT_ORDER`.
    """

    removed: FloatArray
    u: FloatArray
    limit: FloatArray
    share: FloatArray
    margin: FloatArray
    probability: FloatArray
    verdict: IntArray


@dataclass(frozen=True)
class Looked:
    """Places looked at: points (n, 2), cell sides (n,) in mm (0: a point, not a cell), sums, verdicts.

    `touched` tells where metal was taken off, or may have been.
    """

    points: FloatArray
    side: FloatArray
    cover: Cover
    sums: Sums
    limit: FloatArray
    verdict: IntArray
    touched: BoolArray


class MemberRemoval:
    """Sums a member's entries against its limit.

    Parameters
    ----------
    layout : MemberLayout
    listed : EntryList
        The member's entries in time order.
    within_probability : float
        Largest probability of exceeding the limit that still counts as within.
    """

    def __init__(self, layout: MemberLayout, listed: EntryList, within_probability: float) -> None:
        self.layout = layout
        self.entries = listed.entries
        self.undetermined = listed.undetermined
        self.within_probability = within_probability
        self._gauges = sorted({entry.instrument for entry in self.entries if entry.instrument})
        self._table = _table(self.entries, self._gauges)
        self._index = EntryIndex(self.entries)

    @cached_property
    def labels(self) -> IntArray:
        """Cluster label of every entry; see `cells.clusters`."""
        return clusters(self.entries) if self.entries else np.zeros(0, dtype=np.int64)

    @cached_property
    def cells(self) -> Cells | None:
        """Cells over the marked area; None where nothing was removed."""
        return make_cells(self.entries, self.labels) if self.entries else None

    @cached_property
    def looked(self) -> Looked | None:
        """The cells whose centre lies on the member, with their sums."""
        if self.cells is None:
            return None
        return self._on_member(self._look(self.cells.centres, self.cells.side, self.cells.cover))

    @cached_property
    def key_places(self) -> Looked | None:
        """Points where the sum may be deepest, with refined cells round the best candidates."""
        if self.looked is None:
            return None
        points = key_points(self.entries)
        found = self._look(points, np.zeros(len(points)), self._index.cover(points))
        return self._on_member(found)

    @cached_property
    def refined(self) -> list[Looked]:
        """Ever smaller cells where the deepest sum or the least margin may hide."""
        rounds: list[Looked] = []
        current = self.looked
        for _ in range(REFINE_ROUNDS):
            if current is None or len(current.points) == 0:
                break
            chosen = self._worth_refining(current)
            if not np.any(chosen):
                break
            current = self._split(current.points[chosen], current.side[chosen])
            rounds.append(current)
        return rounds

    def _worth_refining(self, cells: Looked) -> BoolArray:
        best = self._best_total()
        gap = cells.sums.upper - best
        excess = np.nan_to_num(cells.sums.upper - cells.limit, nan=-np.inf)
        found = np.nan_to_num(cells.sums.total - cells.limit, nan=-np.inf)
        hides_less = excess > found.max(initial=-np.inf)
        worth = (gap > 0.0) | hides_less
        if np.count_nonzero(worth) > REFINE_CELLS:
            order = np.argsort(-np.where(worth, np.maximum(gap, 0.0) + hides_less * best, -np.inf))
            worth = np.zeros(len(worth), dtype=bool)
            worth[order[:REFINE_CELLS]] = True
        return np.asarray(worth)

    def _split(self, centres: FloatArray, side: FloatArray) -> Looked:
        part = (np.arange(REFINE_PARTS) + 0.5) / REFINE_PARTS - 0.5
        shift = np.stack(np.meshgrid(part, part, indexing="ij"), axis=-1).reshape(-1, 2)
        points = (centres[:, None, :] + shift[None] * side[:, None, None]).reshape(-1, 2)
        small = np.repeat(side / REFINE_PARTS, REFINE_PARTS**2)
        cover = self._index.cover(points, small * np.sqrt(0.5))
        return self._on_member(self._look(points, small, cover))

    def _best_total(self) -> float:
        places = [self.looked, self.key_places]
        return max((float(p.sums.total.max(initial=0.0)) for p in places if p is not None), default=0.0)

    @property
    def everywhere(self) -> list[Looked]:
        """All places looked at: key points first, as they name a spot best, then cells."""
        first = [p for p in (self.key_places, self.looked) if p is not None]
        return [p for p in [*first, *self.refined] if len(p.points)]

    @property
    def cell_error_mm(self) -> float:
        """Bound on how much deeper the deepest sum may be than the deepest one found, mm.

        It holds for dished and faired removals and where flat ones cross each other; where the outline
        of a flat removal cuts a dish it is the dish's slope times the cell.
        """
        places = self.everywhere
        if not places:
            return 0.0
        found = max(float(p.sums.total.max()) for p in places)
        # A split cell's bound is replaced by its parts'.
        open_bounds = [self._unsplit_bound(level) for level in [self.looked, *self.refined[:-1]] if level]
        last = self.refined[-1] if self.refined else self.looked
        if last is not None and len(last.points):
            open_bounds.append(float(last.sums.upper.max()))
        return max(0.0, max(open_bounds, default=found) - found)

    def _unsplit_bound(self, level: Looked) -> float:
        if not self.refined or len(level.points) == 0:
            return 0.0
        kept = ~self._worth_refining(level)
        return float(level.sums.upper[kept].max(initial=0.0))

    def field(self, points_mm: FloatArray, *, face: Face | None = None) -> RemovalField:
        """Sum the removals at (n, 2) points in mm; with `face`, only that face's entries."""
        mine = self if face is None else self._face_only(face)
        points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
        seen = mine._look(points, np.zeros(len(points)), mine._index.cover(points))  # noqa: SLF001
        total, limit = seen.sums.total, seen.limit
        return RemovalField(
            removed=total,
            u=seen.sums.u,
            limit=limit,
            share=total / limit,
            margin=limit - total,
            probability=seen.sums.probability,
            verdict=seen.verdict,
        )

    def _face_only(self, face: Face) -> MemberRemoval:
        kept = [entry for entry in self.entries if entry.face is face]
        return MemberRemoval(self.layout, EntryList(kept, []), self.within_probability)

    def spot(self, point_mm: tuple[float, float]) -> Spot:
        """Sum the removals at one place, with its ledger and uncertainty budget."""
        points = np.array([point_mm], dtype=np.float64)
        seen = self._look(points, np.zeros(1), self._index.cover(points))
        limit = None if np.isnan(seen.limit[0]) else float(seen.limit[0])
        verdict = VERDICT_ORDER[int(seen.verdict[0])]
        return Spot(
            at=(float(points[0, 0]), float(points[0, 1])),
            thickness=float(self.layout.thickness_at(points)[0]),
            removed=self._measured(seen),
            by_face={
                Face.OUTER: float(seen.sums.outer[0]),
                Face.INNER: float(seen.sums.inner[0]),
            },
            limit=limit,
            limit_source=self.layout.limit_source_at(points[0]),
            probability_over=None if limit is None else float(seen.sums.probability[0]),
            verdict=verdict,
            reason=self._reason(seen, limit),
            ledger=make_ledger(self.entries, seen.cover),
        )

    def _reason(self, seen: Looked, limit: float | None) -> str:
        if limit is None:
            return "no limit is set here"
        flags = self._flags(seen)
        doubt = flags & {Flag.INDICATIVE, Flag.LOWER_BOUND, Flag.UPPER_BOUND}
        if doubt and int(seen.verdict[0]) == _CLOSE:
            return "the depth here rests on " + ", ".join(sorted(doubt)) + " readings"
        return ""

    def _flags(self, seen: Looked) -> frozenset[Flag]:
        acts = seen.sums.governs & (seen.cover.weight > 0)
        rows = acts | maybe_more(self.entries, self._table, seen.cover, seen.sums)
        return frozenset().union(*(self.entries[i].flags for i in seen.cover.entry[rows]))

    def _measured(self, seen: Looked) -> Measured:
        """Give the sum with each governing entry's and gauge's contribution."""
        own: dict[str, float] = {}
        shared: dict[str, FloatArray] = {}
        for row in np.flatnonzero(seen.sums.governs):
            entry, weight = self.entries[seen.cover.entry[row]], float(seen.cover.weight[row])
            if weight == 0.0:
                continue
            name = f"depth of {entry.id}"
            own[name] = float(np.hypot(own.get(name, 0.0), weight * entry.u))
            if entry.u_systematic:
                gauge = f"instrument {entry.instrument or entry.id}"
                shared[gauge] = shared.get(gauge, np.zeros(1)) + weight * entry.u_systematic
        return Measured(float(seen.sums.total[0]), "mm", shared, own, self._flags(seen))

    def _look(self, points: FloatArray, side: FloatArray, cover: Cover) -> Looked:
        limit = self.layout.limit_at(points)[0]
        u_limit = self.layout.u_limit_at(points)
        sums = sum_removals(self._table, cover, len(points), limit, u_limit)
        more = np.zeros(len(points), dtype=bool)
        more[cover.place[maybe_more(self.entries, self._table, cover, sums)]] = True
        verdict = self._verdicts(sums, cover, limit, more)
        return Looked(points, side, cover, sums, limit, verdict, (sums.total > 0.0) | more)

    def _verdicts(self, sums: Sums, cover: Cover, limit: FloatArray, more: BoolArray) -> IntArray:
        """Three-way verdict at each place, as an index into `VERDICT_ORDER`."""
        over = sums.total > limit
        sure = surely_over(self.entries, self._table, cover, limit, over)
        within = ~over & ~more & (sums.probability <= self.within_probability)
        verdict = np.where(sure, _OVER, np.where(within, _WITHIN, _CLOSE))
        return np.where(np.isnan(limit), _UNDETERMINED, verdict).astype(np.int64)

    def unproven(self) -> list[str]:
        """Entries that alone keep some place from counting as within: bounds, and depths read by light."""
        kept: set[int] = set()
        for seen in self.everywhere:
            rows = maybe_more(self.entries, self._table, seen.cover, seen.sums)
            alone = (seen.verdict == _CLOSE) & (seen.sums.probability <= self.within_probability)
            kept.update(seen.cover.entry[rows & alone[seen.cover.place]].tolist())
        return list(dict.fromkeys(self.entries[index].id for index in sorted(kept)))

    def _on_member(self, seen: Looked) -> Looked:
        """Keep the places that lie on the member."""
        inside = self.layout.contains(seen.points)
        if inside.all():
            return seen
        return _subset(seen, inside)


def _subset(seen: Looked, keep: BoolArray) -> Looked:
    number = np.cumsum(keep) - 1
    rows = keep[seen.cover.place]
    cover = Cover(
        number[seen.cover.place[rows]],
        seen.cover.entry[rows],
        seen.cover.weight[rows],
        seen.cover.upper[rows],
    )
    s = seen.sums
    sums = Sums(
        s.total[keep],
        s.outer[keep],
        s.inner[keep],
        s.u[keep],
        s.probability[keep],
        s.upper[keep],
        s.governs[rows],
    )
    points, side, limit = seen.points[keep], seen.side[keep], seen.limit[keep]
    return Looked(points, side, cover, sums, limit, seen.verdict[keep], seen.touched[keep])


def _table(entries: list[Entry], gauges: list[str]) -> EntryTable:
    return EntryTable(
        depth=np.array([e.depth for e in entries], dtype=np.float64),
        u=np.array([e.u for e in entries], dtype=np.float64),
        u_systematic=np.array([e.u_systematic for e in entries], dtype=np.float64),
        instrument=np.array(
            [gauges.index(e.instrument) if e.instrument else -1 for e in entries], dtype=np.int64
        ),
        inner=np.array([e.face is Face.INNER for e in entries], dtype=bool),
        from_original=np.array([e.from_original for e in entries], dtype=bool),
    )


def worst_of(codes: IntArray) -> Verdict:
    """Worst of verdict codes; *not determined* where there is none."""
    return VERDICT_ORDER[int(codes.max())] if len(codes) else Verdict.NOT_DETERMINED
