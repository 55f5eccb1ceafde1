"""One click outlines a pit."""

from __future__ import annotations

import math

import numpy as np
import shapely

from corrosion.errors import MarkError
from corrosion.suggest._alike import alike
from corrosion.suggest._edges import HALF_LEVEL, half_level_area, watershed_outline
from corrosion.suggest._evidence import NAMES
from corrosion.suggest._features import Features, FloatArray, UInt8Array, checked_picture, features_of
from corrosion.suggest._polar import bands_along
from corrosion.suggest._rims import SET_FINER, Rim, agreement, likeliest, rims_along, rims_round, set_rims
from corrosion.suggest._suggestion import (
    Parameter,
    Suggestion,
    check_click,
    check_sizes,
    within_picture,
)
from corrosion.suggest._weights import score_of
from corrosion.terms import MarkKind

METHOD = "star-convex-4"
LEAST_CLOSED = 0.3
"""Mean contrast along the rim, against the unevenness of the surface, below which there is no rim."""
SMALLEST_PX = 10.0
LEAST_EDGE_U_PX = 0.5
CENTRED = 0.1
"""Share of the radius within which a click is in the middle and no second look is needed."""
KEPT = 6
"""Rims looked at round one click."""
CLOSED = NAMES.index("closed")


def default_largest_px(shape: tuple[int, ...]) -> float:
    """Take a quarter of the shorter side: a pit that fills more was photographed from too near."""
    return max(2.5 * SMALLEST_PX, min(shape[:2]) / 4)


def outline_pit(
    picture: UInt8Array,
    click_px: tuple[float, float],
    *,
    largest_px: float | None = None,
    smallest_px: float = SMALLEST_PX,
) -> Suggestion:
    """Outline the pit that was clicked on.

    Closed star-shaped outlines round the click are found by dynamic programming on a log-polar resample,
    nested from small to large (edge in lightness and colour of either sign, roughness on the inside);
    a small net's view of what is alike to a pit adds its own. The one that looks most like a pit's rim is
    taken, or another that decision trees over the evidence expect more of; those that say nearly the same
    are averaged, and the outcome is checked against a marker watershed.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        Grey or RGB, upright.
    click_px : (float, float)
        x, y in the project's pixel frame, somewhere in the pit.
    largest_px, smallest_px : float
        Sizes across to look for; the largest is a quarter of the shorter side unless given.

    Returns
    -------
    Suggestion
        Kind ``pit``.

    Raises
    ------
    MarkError
        If the click lies outside the picture, the sizes make no sense, or there is no closed rim round
        the click: then none is made up.
    """
    pixels = checked_picture(picture)
    check_click(click_px, pixels.shape)
    largest = default_largest_px(pixels.shape) if largest_px is None else largest_px
    check_sizes(smallest_px, largest)
    features, window, origin = _window(pixels, click_px, largest)
    best = _choose(features, click_px, smallest_px / 2, largest / 2)
    if best is None or best.evidence[CLOSED] < LEAST_CLOSED:
        raise MarkError(
            f"no closed rim is seen round ({click_px[0]:.0f}, {click_px[1]:.0f}) px.",
            remedy="Click nearer the middle of the pit, change the largest size, or outline it by hand.",
        )
    found = finished(features, window, origin, best, pixels.shape)
    if found is None or not shapely.Polygon(found.outline_px).buffer(1.0).contains(shapely.Point(click_px)):
        raise MarkError(
            f"the rim found near ({click_px[0]:.0f}, {click_px[1]:.0f}) px does not enclose the click.",
            remedy="Click nearer the middle of the pit, or outline it by hand.",
        )
    asked: dict[str, Parameter] = {
        "click_x_px": click_px[0],
        "click_y_px": click_px[1],
        "smallest_px": smallest_px,
        "largest_px": largest,
    }
    return Suggestion(
        found.outline_px, found.kind, found.method, asked | dict(found.parameters), found.score,
        found.edge_u_px,
    )  # fmt: skip


def _window(
    pixels: UInt8Array, at: tuple[float, float], largest: float
) -> tuple[Features, UInt8Array, tuple[int, int]]:
    """Features of the part of the picture that a feature of the largest size can reach."""
    reach = 1.8 * largest + 16
    x0, y0 = (max(0, math.floor(c - reach)) for c in at)
    window = pixels[y0 : math.ceil(at[1] + reach) + 1, x0 : math.ceil(at[0] + reach) + 1]
    return features_of(window, largest / 2, (float(x0), float(y0))), window, (x0, y0)


def _choose(features: Features, click: tuple[float, float], least: float, largest: float) -> Rim | None:
    """Best rim round the click, looked at again from its own centroid."""
    best: Rim | None = None
    centre, point = click, shapely.Point(click)
    outlines = alike(features, least, largest)
    outlines = outlines[[bool(shapely.Polygon(outline).contains(point)) for outline in outlines]]
    likes = rims_along(features, set_rims(features, outlines))
    for _ in range(2):
        found = likes + rims_round(features, np.array([centre]), least, largest, keep=KEPT)[0]
        if best is not None:
            found.append(best)
        found = [r for r in found if shapely.Polygon(r.outline).contains(point)]
        if not found:
            return best
        best = likeliest(features, found)
        polygon = shapely.Polygon(best.outline)
        if polygon.centroid.distance(shapely.Point(centre)) < CENTRED * math.sqrt(polygon.area / math.pi):
            return best
        centre = (float(polygon.centroid.x), float(polygon.centroid.y))
    return best


def finished(
    features: Features,
    window: UInt8Array,
    origin: tuple[int, int],
    rim: Rim,
    shape: tuple[int, ...],
) -> Suggestion | None:
    """Ask the other two edge definitions, and score; None where nothing is left in the picture."""
    outline = within_picture(rim.outline, shape)
    polygon = shapely.Polygon(outline) if len(outline) >= 3 else None
    if polygon is None or polygon.area < 4.0:
        return None
    bands = bands_along(features, rim.outline[None], HALF_LEVEL, finer=SET_FINER)
    whole = float(shapely.Polygon(rim.outline).area)
    per_px = 2.0 * float(shapely.Polygon(rim.outline).length)
    differences = [abs(half_level_area(bands) - whole) / per_px]
    corner = np.array(origin, dtype=np.float64)
    second = watershed_outline(window, rim.outline - corner)
    agree = 0.0
    if second is not None:
        agree = agreement(second + corner, rim.outline)
        differences.append(abs(_area(second) - whole) / per_px)
    parameters: dict[str, Parameter] = {
        "half_level_difference_px": round(differences[0], 3),
        "watershed_agreement": round(agree, 3),
        "rim_contrast": round(float(rim.evidence[CLOSED]), 3),
    }
    return Suggestion(
        outline,
        MarkKind.PIT,
        METHOD,
        parameters,
        float(score_of(rim.evidence)),
        max(LEAST_EDGE_U_PX, *differences),
    )


def _area(outline: FloatArray) -> float:
    return float(shapely.make_valid(shapely.Polygon(outline)).area)
