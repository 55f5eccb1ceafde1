"""One sweep proposes all pits of a region."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from corrosion.errors import MarkError
from corrosion.opencv import cv2
from corrosion.suggest._alike import alike
from corrosion.suggest._blobs import spots
from corrosion.suggest._features import Features, FloatArray, UInt8Array, checked_picture, features_of
from corrosion.suggest._pit import finished
from corrosion.suggest._rims import Rim, judged, rims_along, rims_round, set_rims
from corrosion.suggest._rows import in_rows
from corrosion.suggest._suggestion import Suggestion, check_sizes
from corrosion.suggest._weights import score_of

WORKING_PX = 12.0
"""Size across, in the reduced picture, of the smallest pit looked for: enough to tell rough from smooth."""
LEAST_SCORE = 0.5
"""The expected overlap at which a proposal is usually counted as right."""
WORTH_A_SECOND_LOOK = 0.3
"""Share of the least score from which a spot is looked at again from the middle of its rim."""
IN_A_ROW, IN_A_ROW_FROM = 0.35, 0.4
"""Taken from the score of what stands in a row, and the share of the least score from which things are
counted as standing there: a head need not look like a pit to be one of a row."""
LIKENESS = 1.0
"""Weight of the net against edge contrast when looking for rims: a spot may be anything, a click is not."""
KEPT = 3
"""Rims looked at round one spot."""
MOST_OVERLAP = 0.2
"""Share of the smaller of two outlines inside the other above which the weaker is dropped."""


def sweep_pits(
    picture: UInt8Array,
    region: Sequence[tuple[float, float]] | FloatArray | None = None,
    *,
    smallest_px: float | None = None,
    largest_px: float | None = None,
    leave_out: Sequence[FloatArray] = (),
    least_score: float = LEAST_SCORE,
) -> list[Suggestion]:
    """Propose the pits of a picture or of a region of it.

    Spots that differ from their surroundings, and what a small net finds alike to a pit, are outlined,
    judged by small decision trees over the evidence, and the accepted ones set finely at full resolution.
    What it cannot tell: a pit fully covered by product, a pit from a rough-floored chip, pits finer than
    about 12 px.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        Grey or RGB, upright.
    region : sequence of (x, y), optional
        Corners of a polygon in px; the whole picture by default. A pit counts where its middle lies.
    smallest_px, largest_px : float, optional
        Sizes across. By default 1/130 of the longer side, not under 12 px, and a sixth of the shorter.
    leave_out : sequence of ndarray of shape (n, 2)
        Polygons known to be no metal: rule, card, target. Text on them looks like pits to any program.
    least_score : float
        Suggestions of a lower score are not given.

    Returns
    -------
    list of Suggestion
        Best first.

    Raises
    ------
    MarkError
        If the region encloses nothing of the picture or the sizes make no sense.
    """
    pixels = checked_picture(picture)
    height, width = pixels.shape[:2]
    smallest = max(12.0, max(height, width) / 130) if smallest_px is None else smallest_px
    largest = max(3 * smallest, min(height, width) / 6) if largest_px is None else largest_px
    check_sizes(smallest, largest)
    area = _searched(pixels.shape, region, leave_out)
    factor = max(1, math.floor(smallest / WORKING_PX))
    chosen = _search(pixels, area, factor, (smallest / 2, largest / 2), least_score)
    done = [_at_full_size(pixels, rim, factor, score) for score, rim in chosen]
    asked: dict[str, float | str] = {
        "smallest_px": smallest,
        "largest_px": largest,
        "reduced_by": float(factor),
        "least_score": least_score,
    }
    return [
        replace(s, method=f"sweep-4, {s.method}", parameters=asked | dict(s.parameters))
        for s in done
        if s is not None
    ]


def _searched(
    shape: tuple[int, ...],
    region: Sequence[tuple[float, float]] | FloatArray | None,
    leave_out: Sequence[FloatArray],
) -> shapely.Geometry:
    area = shapely.box(-0.5, -0.5, shape[1] - 0.5, shape[0] - 0.5)
    if region is not None:
        corners = np.asarray(region, dtype=np.float64).reshape(-1, 2)
        if len(corners) < 3 or not np.isfinite(corners).all():
            raise MarkError(
                f"a region of {len(corners)} corners encloses nothing.",
                remedy="Draw a region with three corners or more.",
            )
        area = area.intersection(shapely.make_valid(shapely.Polygon(corners)))
    if area.area < 1.0:
        raise MarkError(
            "the region encloses nothing of the picture.", remedy="Draw it round the metal to be searched."
        )
    for polygon in leave_out:
        area = area.difference(shapely.make_valid(shapely.Polygon(polygon)))
    return area


def _search(
    pixels: UInt8Array,
    area: shapely.Geometry,
    factor: int,
    radii: tuple[float, float],
    least_score: float,
) -> list[tuple[float, Rim]]:
    """List accepted rims, found in the reduced picture, and their scores; best first, none in another."""
    if area.is_empty:
        return []
    least, largest = (r / factor for r in radii)
    low = np.maximum(np.floor(np.array(area.bounds[:2]) - 3 * radii[1]), 0).astype(int)
    high = np.ceil(np.array(area.bounds[2:]) + 3 * radii[1]).astype(int) + 1
    piece = pixels[low[1] : high[1], low[0] : high[0]]
    small = cv2.resize(
        piece, (piece.shape[1] // factor, piece.shape[0] // factor), interpolation=cv2.INTER_AREA
    )
    features = features_of(np.asarray(small, np.uint8), largest)
    shift = low + (factor - 1) / 2
    shapely.prepare(area)
    likes = set_rims(features, alike(features, 0.7 * least, 1.4 * largest), 1)
    found = [(float(score_of(rim.evidence)), rim) for rim in rims_along(features, likes)]
    places = spots(features, least, largest)
    places = places[shapely.contains_xy(area, *(factor * places[:, :2] + shift).T)]
    for radius in np.unique(places[:, 2]):
        centres = places[places[:, 2] == radius, :2]
        span = max(radius / 2.5, least / 1.3), radius * 1.7
        once = best_rims(features, centres, span, WORTH_A_SECOND_LOOK * least_score)
        # A spot is seldom in the middle of what it belongs to.
        middles = np.array([rim.outline.mean(axis=0) for _, rim in once]).reshape(-1, 2)
        twice = best_rims(features, middles, span, 0.0)
        found += [*once, *twice]
    worth = sorted((one for one in found if one[0] >= IN_A_ROW_FROM * least_score), key=lambda one: -one[0])
    there = [(score, replace(rim, outline=rim.outline * factor + shift)) for score, rim in worth]
    kept = _less_rows(_apart(there, area, radii))
    return sorted((one for one in kept if one[0] >= least_score), key=lambda one: -one[0])


def _less_rows(kept: list[tuple[float, Rim]]) -> list[tuple[float, Rim]]:
    """Lower the scores of what stands in a row: that is fasteners, unless it looks very much like pits."""
    outlines = [rim.outline for _, rim in kept]
    middles = np.array([outline.mean(axis=0) for outline in outlines]).reshape(-1, 2)
    sizes = np.array([math.sqrt(shapely.Polygon(outline).area * 4 / math.pi) for outline in outlines])
    row = in_rows(middles, sizes)
    return [(score - IN_A_ROW * bool(r), rim) for (score, rim), r in zip(kept, row, strict=True)]


def best_rims(
    features: Features, centres: FloatArray, span: tuple[float, float], least_score: float
) -> list[tuple[float, Rim]]:
    """Score and best rim round each centre, where there is one of the least score."""
    best = []
    for rims in rims_round(features, centres, *span, keep=KEPT, rounds=1, likeness=LIKENESS):
        if rims:
            scores = score_of(np.array([r.evidence for r in rims]))
            number = int(scores.argmax())
            if scores[number] >= least_score:
                best.append((float(scores[number]), rims[number]))
    return best


def _apart(
    rims: list[tuple[float, Rim]], area: shapely.Geometry, radii: tuple[float, float]
) -> list[tuple[float, Rim]]:
    kept: list[tuple[shapely.Geometry, tuple[float, Rim]]] = []
    for score, rim in rims:
        polygon = shapely.make_valid(shapely.Polygon(rim.outline))
        size = math.sqrt(polygon.area / math.pi)
        if not 0.8 * radii[0] <= size <= 1.3 * radii[1] or not area.contains(polygon.centroid):
            continue
        if all(
            polygon.intersection(other).area <= MOST_OVERLAP * min(polygon.area, other.area)
            for other, _ in kept
        ):
            kept.append((polygon, (score, rim)))
    return [one for _, one in kept]


def _at_full_size(pixels: UInt8Array, rim: Rim, factor: int, score: float) -> Suggestion | None:
    low = rim.outline.min(axis=0)
    high = rim.outline.max(axis=0)
    reach = 1.2 * float((high - low).max()) + 8 * factor
    x0, y0 = (max(0, math.floor(v - reach)) for v in low)
    window = pixels[y0 : math.ceil(high[1] + reach), x0 : math.ceil(high[0] + reach)]
    features = features_of(window, float((high - low).max()) / 2, (float(x0), float(y0)))
    (again,) = judged(features, set_rims(features, rim.outline[None]))
    chosen = rim if again is None else replace(rim, outline=again.outline)
    found = finished(features, window, (x0, y0), chosen, pixels.shape)
    return None if found is None else replace(found, score=score)
