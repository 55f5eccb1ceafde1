"""A mark on the surface plane, and the one place where gradients become uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corrosion.lens import check_field
from corrosion.marks import Outline
from corrosion.measure._shape import IndexArray, ring_area, ring_area_gradient
from corrosion.quantity import FloatArray, Measured
from corrosion.scale import PlaneScale
from corrosion.scale.plane import TILT
from corrosion.terms import Flag

Function = Callable[[FloatArray], FloatArray]

OUTLINE = "outline vertices"
EDGE = "edge offset"
ROUGHNESS = "outline roughness"

_REDRAWS = 32


@dataclass(frozen=True, eq=False)
class MappedMark:
    """Vertices on the surface plane with all that moves them.

    Attributes
    ----------
    outline : Outline
    scale : PlaneScale
    plane : ndarray of shape (n, 2)
        mm.
    by_pixel : ndarray of shape (n, 2, 2)
        d plane / d pixel, mm/px.
    sources : dict of str to ndarray of shape (n, 2, k)
        Movement per standardised shared source, mm, the common edge offset among them.
    alternatives : ndarray of shape (h, n, 2) or None
        See `PlaneScale.alternatives`.
    flags : frozenset of Flag
    """

    outline: Outline
    scale: PlaneScale
    plane: FloatArray
    by_pixel: FloatArray
    sources: dict[str, FloatArray]
    alternatives: FloatArray | None
    flags: frozenset[Flag]

    @classmethod
    def of(cls, outline: Outline, scale: PlaneScale, place: str) -> MappedMark:
        """Map an outline.

        Raises
        ------
        ScaleError
            If the mark is out of the scale's reach.
        LensError
            If it is out of the lens profile's.
        """
        points = outline.points_px
        reach = scale.check_reach(points, place) | check_field(scale.camera.lens, points, place=place)
        by_pixel = scale.jacobian_points(points)
        sources = scale.shared_sensitivities(points)
        alternatives = scale.alternatives(points)
        sources[scale.source(EDGE)] = by_pixel @ outline.edge[:, :, None]
        return cls(
            outline,
            scale,
            scale.to_plane(points),
            by_pixel,
            sources,
            alternatives,
            outline.flags | reach | scale.flags,
        )

    def redrawn(self, part: slice | IndexArray) -> FloatArray:
        """Draw the mark again 32 times with its own uncertainty, in mirrored pairs: (32, n, 2), mm.

        The random numbers are the same every time, so that a measure can be repeated to the last digit.
        """
        draws = np.random.default_rng(0).standard_normal((_REDRAWS // 2, self._freedom))
        if self.outline.parameters is None:
            moved = self.outline.sigma_px * draws.reshape(_REDRAWS // 2, -1, 2)
        else:
            moved = np.einsum("njp,hp->hnj", self.outline.parameters, draws)
        shift = np.einsum("nij,hnj->hni", self.by_pixel, moved)[:, part]
        again: FloatArray = self.plane[part] + np.concatenate([shift, -shift])
        return again

    @property
    def _freedom(self) -> int:
        moves = self.outline.parameters
        return 2 * len(self.plane) if moves is None else moves.shape[2]

    def own(self, gradient: FloatArray) -> float:
        """Propagate this mark's own vertices into a measure with gradient (n, 2): standard uncertainty."""
        by_vertex = np.einsum("ni,nij->nj", gradient, self.by_pixel)
        if self.outline.parameters is None:
            return self.outline.sigma_px * float(np.linalg.norm(by_vertex))
        return float(np.linalg.norm(np.einsum("nj,njp->p", by_vertex, self.outline.parameters)))


def measured(
    value: float,
    unit: str,
    gradients: Sequence[tuple[MappedMark, FloatArray]],
    departures: FloatArray | None = None,
) -> Measured:
    """Propagate a measure's gradients over one or several marks of one photo.

    Parameters
    ----------
    value : float
    unit : str
    gradients : sequence of (MappedMark, ndarray of shape (n, 2))
        d value / d vertex on the plane, for every mark the measure depends on.
    departures : ndarray of shape (h,), optional
        Value under each hypothesis minus value; the largest, over sqrt 3, is the source ``tilt``
        (rectangular distribution, JCGM 100:2008, 4.3.7).
    """
    shared: dict[str, FloatArray] = {}
    for mark, gradient in gradients:
        for name, moved in mark.sources.items():
            part = np.einsum("ni,nik->k", gradient, moved)
            shared[name] = shared[name] + part if name in shared else part
    scale = gradients[0][0].scale
    if departures is not None:
        shared[scale.source(TILT)] = np.array([float(np.abs(departures).max()) / math.sqrt(3.0)])
    own = {OUTLINE: math.hypot(*(mark.own(gradient) for mark, gradient in gradients))}
    flags = frozenset[Flag]().union(*(mark.flags for mark, _ in gradients))
    return Measured(float(value), unit, shared, own, flags, scale.known)


def measured_on(
    mark: MappedMark,
    part: slice | IndexArray,
    value: Function,
    gradient: Function,
    *,
    alternative_part: slice | IndexArray | None = None,
) -> Measured:
    """Measure a length, in mm, on some vertices of a mark.

    Parameters
    ----------
    part : slice or ndarray of int
        Vertices that `value` and `gradient` are about.
    alternative_part : slice or ndarray of int, optional
        Fewer vertices, for how the value changes under the hypotheses.
    """
    spread = np.zeros_like(mark.plane)
    spread[part] = gradient(mark.plane[part])
    departures = None
    if mark.alternatives is not None:
        chosen = part if alternative_part is None else alternative_part
        departures = value(mark.alternatives[:, chosen]) - value(mark.plane[chosen])
    return measured(float(value(mark.plane[part])), "mm", [(mark, spread)], departures)


def with_roughness(
    measure: Measured, mark: MappedMark, part: slice, value: Function, *, picks_extreme: bool = False
) -> Measured:
    """Add what a shaky outline does on average to a measure that only ever grows, or shrinks, by it.

    A longest calliper picks the corner that noise threw out furthest, and a perimeter follows every
    zigzag: to first order neither shows. The mean change over redrawn outlines estimates the bias; it is
    not corrected, so it joins the uncertainty (JCGM 100:2008, F.2.4.5 in its simple form).

    The outline at hand has its noise already. The mean of the largest of several equals grows in
    proportion to the noise, so a second, equal noise adds only sqrt 2 - 1 of what the first did:
    `picks_extreme` makes up for that.
    """
    bias = float(value(mark.redrawn(part)).mean() - value(mark.plane[part]))
    if picks_extreme:
        bias /= math.sqrt(2.0) - 1.0
    return replace(measure, own={**measure.own, ROUGHNESS: abs(bias)})


def area_of(mark: MappedMark) -> Measured:
    """Area of a mark, mm2; holes are negative rings and subtract themselves."""
    gradient = np.zeros_like(mark.plane)
    for ring in mark.outline.rings:
        gradient[ring] = ring_area_gradient(mark.plane[ring])
    value = float(mapped_area(mark.plane, mark))
    supposed = alternative_areas(mark)
    departures = None if supposed is None else supposed - value
    return measured(value, "mm2", [(mark, gradient)], departures)


def alternative_areas(mark: MappedMark) -> FloatArray | None:
    """Area of a mark under each hypothesis of its scale, mm2, shape (h,); None where there are none."""
    return None if mark.alternatives is None else mapped_area(mark.alternatives, mark)


def mapped_area(plane: FloatArray, mark: MappedMark) -> FloatArray:
    """Area of a mark whose vertices lie at `plane` (..., n, 2), mm2."""
    rings = [ring_area(plane[..., ring, :]) for ring in mark.outline.rings]
    return np.asarray(np.sum(rings, axis=0), dtype=np.float64)


def without_own(measure: Measured) -> Measured:
    """Drop the parts that come from drawing a mark: what is left is the scale's."""
    edge = {name: v for name, v in measure.shared.items() if not name.endswith(f": {EDGE}")}
    return replace(measure, own={}, shared=edge)
