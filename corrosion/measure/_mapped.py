"""A mark on the surface plane, and the one place where gradients become uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corrosion.marks import Outline
from corrosion.measure._shape import ring_area, ring_area_gradient
from corrosion.quantity import FloatArray, Measured
from corrosion.scale import PlaneScale
from corrosion.scale.plane import TILT
from corrosion.terms import Flag

OUTLINE = "outline vertices"
EDGE = "edge offset"


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
        reach = scale.check_reach(points, place)
        by_pixel = scale.jacobian_points(points)
        sources = scale.shared_sensitivities(points)
        alternatives = scale.alternatives(points)
        if alternatives is not None:
            sources.pop(scale.source(TILT), None)
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
    part: slice | FloatArray,
    value: Callable[[FloatArray], FloatArray],
    gradient: Callable[[FloatArray], FloatArray],
    *,
    alternative_part: slice | FloatArray | None = None,
) -> Measured:
    """Measure a length on some vertices of a mark.

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


def area_of(mark: MappedMark) -> Measured:
    """Area of a mark, mm2; holes are negative rings and subtract themselves."""
    gradient = np.zeros_like(mark.plane)
    value, departures = 0.0, None if mark.alternatives is None else np.zeros(len(mark.alternatives))
    for ring in mark.outline.rings:
        gradient[ring] = ring_area_gradient(mark.plane[ring])
        value += float(ring_area(mark.plane[ring]))
        if departures is not None and mark.alternatives is not None:
            departures += ring_area(mark.alternatives[:, ring])
    if departures is not None:
        departures -= value
    return measured(value, "mm2", [(mark, gradient)], departures)


def without_own(measure: Measured) -> Measured:
    """Drop the parts that come from drawing a mark: what is left is the scale's."""
    edge = {name: v for name, v in measure.shared.items() if not name.endswith(f": {EDGE}")}
    return replace(measure, own={}, shared=edge)
