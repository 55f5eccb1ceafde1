"""The seen area of a face cut into blocks, and the deepest place of each."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corrosion.errors import MetrologyError
from corrosion.extremes.sample import AT_LEAST, AT_MOST, EXACT, Sample
from corrosion.results import Coverage, Finding
from corrosion.terms import Flag, MarkKind

LEAST_SEEN_SHARE = 0.5
"""Blocks of which less was seen are left out. A rule of ours; what was seen of the others counts in
proportion."""
MOST_BLOCKS = 20_000
WANTED_BLOCKS = 40
"""Blocks aimed at where no size is given. A rule of ours."""


@dataclass(frozen=True)
class Block:
    """One block of the seen area.

    Attributes
    ----------
    outline : BaseGeometry
        The whole square, layout mm.
    seen_share : float
        Seen area over the square's area.
    depth_mm : float
        Deepest pit, or the bound on it.
    status : int
        `AT_MOST`, `EXACT` or `AT_LEAST`.
    findings : list of str
        Pits and blend-outs in it.
    """

    outline: BaseGeometry
    seen_share: float
    depth_mm: float
    status: int
    findings: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Blocks:
    """Blocks of one face: `side_mm`, the blocks, the depth below which no pit is found, and doubts."""

    side_mm: float
    blocks: list[Block]
    least_depth_mm: float
    notes: list[str]

    @property
    def sample(self) -> Sample:
        """The block maxima as a sample in mm."""
        return Sample.of(
            [b.depth_mm for b in self.blocks],
            [b.status for b in self.blocks],
            [b.seen_share for b in self.blocks],
        )

    @property
    def with_known_depth(self) -> int:
        """Number of blocks whose largest depth is known as a value."""
        return sum(b.status == EXACT for b in self.blocks)


@dataclass(frozen=True)
class _Pit:
    id: str
    at: tuple[float, float]
    depth: float | None
    bound: int


def block_maxima(
    findings: Sequence[Finding],
    seen: Coverage,
    member_id: str,
    *,
    side_mm: float | None = None,
    least_depth_mm: float | None = None,
) -> Blocks:
    """Cut the seen area of a face into squares and take the deepest pit of each.

    Parameters
    ----------
    findings : sequence of Finding
        Of any member and face; pits and blend-outs of this one count. A blend-out went at least as
        deep as the corrosion it took out, so its depth stands for the pit's: too deep rather than lost.
    seen : Coverage
        Of the face.
    member_id : str
    side_mm : float, optional
        Side of a block, mm; by default such that about `WANTED_BLOCKS` fit into the seen area.
    least_depth_mm : float, optional
        Shallowest pit that would have been found and measured, mm; by default the shallowest that was.

    Returns
    -------
    Blocks

    Raises
    ------
    MetrologyError
        If nothing was seen, no depth was measured, or the blocks are too many.
    """
    place = f"member {member_id!r}, {seen.face} face"
    if seen.seen.area <= 0.0:
        raise MetrologyError("no area was seen.", place=place, remedy="Place photos of this face.")
    pits = _pits(findings, seen, member_id)
    depths = [p.depth for p in pits if p.depth is not None]
    if not depths:
        raise MetrologyError(
            "no depth of a pit was measured.", place=place, remedy="Gauge the deepest pit of each block."
        )
    side = math.sqrt(seen.seen.area / WANTED_BLOCKS) if side_mm is None else side_mm
    least = min(depths) if least_depth_mm is None else least_depth_mm
    if not (math.isfinite(side) and side > 0.0):
        raise MetrologyError(f"a block of {side:g} mm has no size.", place=place)
    cells = _cells(pits, seen.seen, side)
    blocks = [
        _block(box, share, cells.get(cell, []), least) for cell, box, share in _grid(seen.seen, side, place)
    ]
    return Blocks(side, blocks, least, _notes(blocks, pits, assumed=least_depth_mm is None))


def _pits(findings: Sequence[Finding], seen: Coverage, member_id: str) -> list[_Pit]:
    kinds = {MarkKind.PIT, MarkKind.BLEND_OUT}
    return [
        _pit(f, f.position)
        for f in findings
        if f.member_id == member_id and f.face is seen.face and f.kind in kinds and f.position is not None
    ]


def _pit(finding: Finding, at: tuple[float, float]) -> _Pit:
    depth = finding.depth
    if depth is None:
        return _Pit(finding.id, at, None, AT_LEAST)
    # An upper bound is taken as the depth: too deep rather than lost.
    bound = AT_LEAST if Flag.LOWER_BOUND in depth.flags else EXACT
    return _Pit(finding.id, at, depth.value, bound)


def _grid(
    seen: BaseGeometry, side: float, place: str
) -> Iterator[tuple[tuple[int, int], BaseGeometry, float]]:
    """Column and row, square and seen share of every block of which enough was seen."""
    x0, y0, x1, y1 = seen.bounds
    columns, rows = math.ceil((x1 - x0) / side), math.ceil((y1 - y0) / side)
    if columns * rows > MOST_BLOCKS:
        raise MetrologyError(
            f"blocks of {side:g} mm make {columns * rows} of them, more than {MOST_BLOCKS}.",
            place=place,
            remedy="Use larger blocks.",
        )
    column, row = (a.ravel() for a in np.meshgrid(np.arange(columns), np.arange(rows)))
    x, y = x0 + side * column, y0 + side * row
    boxes = shapely.box(x, y, x + side, y + side)
    shares = shapely.area(shapely.intersection(boxes, seen)) / side**2
    # A whole block must come out as exactly 1: only then does a sample count as complete.
    shares[shares > 1.0 - 1e-9] = 1.0
    for i in np.flatnonzero(shares >= LEAST_SEEN_SHARE):
        yield (int(column[i]), int(row[i])), boxes[i], float(shares[i])


def _cells(pits: list[_Pit], seen: BaseGeometry, side: float) -> dict[tuple[int, int], list[_Pit]]:
    """Pits by column and row; a block's low edges belong to it, so that no pit lies in two."""
    cells: dict[tuple[int, int], list[_Pit]] = defaultdict(list)
    x0, y0, _, _ = seen.bounds
    for pit in pits:
        cells[math.floor((pit.at[0] - x0) / side), math.floor((pit.at[1] - y0) / side)].append(pit)
    return cells


def _block(box: BaseGeometry, share: float, pits: list[_Pit], least: float) -> Block:
    names = [p.id for p in pits]
    known = [p.depth for p in pits if p.depth is not None]
    deepest = max(known, default=0.0)
    if any(p.depth is None for p in pits) or any(p.bound == AT_LEAST and p.depth == deepest for p in pits):
        return Block(box, share, deepest, AT_LEAST, names)
    if not known or deepest < least:
        return Block(box, share, least, AT_MOST, names)
    return Block(box, share, deepest, EXACT, names)


def _notes(blocks: list[Block], pits: list[_Pit], *, assumed: bool) -> list[str]:
    notes = []
    empty = sum(b.status == AT_MOST for b in blocks)
    unknown = sum(b.status == AT_LEAST for b in blocks)
    used = {name for b in blocks for name in b.findings}
    lost = sum(p.id not in used for p in pits)
    if empty:
        found = "the shallowest pit measured" if assumed else "the shallowest pit that would be found"
        notes.append(f"{empty} of {len(blocks)} blocks have no pit; each counts as no deeper than {found}.")
    if unknown:
        notes.append(f"{unknown} blocks hold a pit whose depth is not known; each counts as a lower bound.")
    if lost:
        notes.append(f"{lost} pits lie outside the blocks and are not used.")
    return notes
