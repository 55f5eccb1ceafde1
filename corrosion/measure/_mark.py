"""All measures of one mark."""

from __future__ import annotations

import math

import numpy as np

from corrosion.errors import MarkError, MetrologyError
from corrosion.marks import Outline
from corrosion.measure._drawn import drawn_areas, horizon_doubt
from corrosion.measure._mapped import MappedMark, area_of, measured_on, with_roughness, without_own
from corrosion.measure._shape import (
    hull_corners,
    longest_calliper,
    longest_calliper_gradient,
    longest_shadow,
    path_length,
    path_length_gradient,
    perimeter,
    perimeter_gradient,
    shortest_calliper,
    shortest_calliper_gradient,
    shortest_shadow,
    thinned,
)
from corrosion.montecarlo import SEED, Drawn, DrawnMeasured
from corrosion.quantity import FloatArray, Measured
from corrosion.scale import PlaneScale
from corrosion.terms import Flag

FIRST_ORDER_LIMIT = 0.15
HORIZON_LIMIT = 0.05
REFUSAL_LIMIT = 0.30


def mark_quantities(mark: MappedMark, place: str) -> dict[str, Measured]:
    """Measure a mark: what makes sense for its shape.

    Returns
    -------
    dict of str to Measured
        Areas: ``area`` (mm2), ``equivalent_diameter``, ``longest_calliper``, ``shortest_calliper``,
        ``perimeter`` (of the outer ring). Lines: ``length``. Points: nothing. mm.

    Raises
    ------
    ScaleError
        If the scale cannot carry an area.
    MarkError
        If the standard uncertainty of the area is above 30 %.
    """
    if mark.outline.is_area:
        mark.scale.check_area(place)
        return _area_quantities(mark, place)
    if mark.outline.is_line:
        every = slice(None)
        return {"length": measured_on(mark, every, path_length, path_length_gradient)}
    return {}


def _area_quantities(mark: MappedMark, place: str) -> dict[str, Measured]:
    outer = mark.outline.rings[0]
    hull = hull_corners(mark.plane[outer]) + outer.start
    few = thinned(hull)
    areas = _area_and_diameter(mark, place)
    longest = measured_on(mark, hull, longest_calliper, longest_calliper_gradient, alternative_part=few)
    shortest = measured_on(mark, hull, shortest_calliper, shortest_calliper_gradient, alternative_part=few)
    around = measured_on(mark, outer, perimeter, perimeter_gradient)
    return {
        **areas,
        "longest_calliper": with_roughness(longest, mark, outer, longest_shadow, picks_extreme=True),
        "shortest_calliper": with_roughness(shortest, mark, outer, shortest_shadow, picks_extreme=True),
        "perimeter": with_roughness(around, mark, outer, perimeter),
    }


def equivalent_diameter(area: Measured) -> Measured:
    """Diameter of the circle of the same area, mm."""
    diameter = math.sqrt(4.0 * area.value / math.pi)
    return area.scaled(diameter / (2.0 * area.value), value=diameter, unit="mm")


def _area_and_diameter(mark: MappedMark, place: str) -> dict[str, Measured]:
    """Measure area and equivalent diameter: first order where that holds, Monte Carlo where not.

    Refused is what says next to nothing. The limits are where simulated coverage by first order began
    to fall below 95 % (15 %) and where no interval helps (30 %).
    """
    area = area_of(mark)
    if area.known:
        _refuse_vague(area, area.u, place)
    doubtful = area.known and (
        area.u > FIRST_ORDER_LIMIT * area.value or horizon_doubt(mark) > HORIZON_LIMIT
    )
    if not doubtful:
        return {"area": area, "equivalent_diameter": equivalent_diameter(area)}
    area = area.with_flags(Flag.FIRST_ORDER_DOUBTFUL)
    areas = drawn_areas(mark, place)
    drawn = Drawn.of(areas, seed=SEED)
    _refuse_vague(area, drawn.u, place)
    diameters = np.sqrt(4.0 * np.maximum(areas, 0.0) / np.pi)
    return {
        "area": DrawnMeasured.of(area, drawn),
        "equivalent_diameter": DrawnMeasured.of(equivalent_diameter(area), Drawn.of(diameters, seed=SEED)),
    }


def _refuse_vague(area: Measured, u: float, place: str) -> None:
    share = u / area.value
    if share > REFUSAL_LIMIT:
        worst = next(iter(area.budget()))
        raise MarkError(
            f"the area {area.value:.3g} mm2 has a standard uncertainty of {share:.0%}, most of it from "
            f"'{worst}'; above {REFUSAL_LIMIT:.0%} it is not reported.",
            place=place,
            remedy="Photograph from nearer, so that mark and reference fill more of the picture.",
        )


def local_scale(scale: PlaneScale, size: tuple[int, int] | None) -> Measured:
    """Scale at the middle of the picture, mm/px, or of the reference where that is out of reach.

    It is the root of the area of one square pixel, so ``unit`` is mm (per px).
    """
    if size is not None:
        try:
            return _scale_at(scale, (np.array(size, dtype=np.float64) - 1.0) / 2.0)
        except MetrologyError:
            pass
    return _scale_at(scale, scale.centre_px)


def _scale_at(scale: PlaneScale, centre: FloatArray) -> Measured:
    square = centre + 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    still = Outline(square, (slice(0, 4),), 0.0, None, np.zeros((4, 2)), frozenset())
    place = scale.camera.place
    area = without_own(area_of(MappedMark.of(still, scale, place)))
    side = math.sqrt(area.value)
    return area.scaled(0.5 / side, value=side, unit="mm")
