"""An area by Monte Carlo, where first-order propagation is no longer to be trusted.

Everything that moves the area is drawn anew: the reference, the vertices, the common edge, the tilt. A
planar scale is redrawn through the picture points of four corners of its reference: eight coordinates
that fix the homography, nearly normal where its own parameters are not, and mapped back exactly. For
four reference points this is the full redraw of the clicks. Discs, rules and cylinders are fitted anew in
`_redrawn`. Three stay in proportion to what moves them: the height of the reference, which only enlarges;
what a hypothesis of tilt changes; and a lens's calibration, whose fits to drawn profiles agree with it to
the draws' own scatter (``tests/calibrate/test_lens_draws.py``).
"""

from __future__ import annotations

import numpy as np
import shapely

from corrosion.errors import MarkError
from corrosion.measure._mapped import EDGE, MappedMark, alternative_areas, area_of, mapped_area
from corrosion.measure._redrawn import (
    BY_THE_CYLINDER,
    BY_THE_DISC,
    BY_THE_RULE,
    disc_places,
    rolled_places,
    rule_places,
)
from corrosion.montecarlo import DRAWS, SEED
from corrosion.quantity import FloatArray
from corrosion.scale import BarPlane, CylinderScale, DiscPlane, PlanarScale, PlaneScale, RulePlane
from corrosion.scale.homography import Homography, project
from corrosion.scale.plane import LENS, REFERENCE_POINTS, REFERENCE_TOLERANCE

_BY_THE_FIT = (REFERENCE_POINTS, REFERENCE_TOLERANCE, LENS)
_MOST_POINTS_AT_ONCE = 400_000

Rng = np.random.Generator


def drawn_areas(mark: MappedMark, place: str, *, count: int = DRAWS, seed: int = SEED) -> FloatArray:
    """Draw the area of a mark.

    Parameters
    ----------
    mark : MappedMark
    place : str
        Named in the error.
    count, seed : int
        Number of draws, and what the random numbers start from.

    Returns
    -------
    ndarray of shape (count,)
        mm2.

    Raises
    ------
    MarkError
        If the horizon of the surface passes through the mark in any of the draws.
    """
    rng = np.random.default_rng(seed)
    block = max(1, _MOST_POINTS_AT_ONCE // len(mark.plane))
    sizes = [min(block, count - start) for start in range(0, count, block)]
    areas = np.concatenate([mapped_area(_redrawn(mark, m, rng), mark) for m in sizes])
    if not np.isfinite(areas).all():
        raise MarkError(
            f"with the reference as uncertain as it is, the horizon or the surface's edge may pass through "
            f"the mark ({np.mean(~np.isfinite(areas)):.1%} of {count} draws).",
            place=place,
            remedy="Photograph more squarely, with a larger reference beside the mark.",
        )
    return areas + _tilt(mark, count, rng)


def horizon_doubt(mark: MappedMark) -> float:
    """Largest u(q3) / q3 over the vertices; q3 is what the back-projection divides by.

    0 where the scale is no homography. Above a few percent 1 / q3 is no longer nearly linear.
    """
    scale = mark.scale
    if not isinstance(scale, PlanarScale):
        return 0.0
    fit = scale.homography
    ideal, _ = scale.camera.ideal(mark.outline.points_px)
    inverse = np.linalg.inv(fit.matrix)
    q = np.column_stack([fit.to_image(ideal), np.ones(len(ideal))]) @ inverse.T
    parts = np.hstack([fit.image_part, fit.plane_part, fit.lens_part])
    moved = np.vstack([parts, np.zeros(parts.shape[1])]).T.reshape(-1, 3, 3)
    # dq = -H^-1 dH q
    change = np.einsum("j,kji,ni->nk", inverse[2], moved, q) / q[:, 2:]
    return float(np.linalg.norm(change, axis=1).max())


def _redrawn(mark: MappedMark, m: int, rng: Rng) -> FloatArray:
    """Vertices on the plane, drawn m times: (m, n, 2)."""
    ideal, lens = mark.scale.camera.ideal(mark.outline.points_px)
    clicks = _clicks(mark, m, rng)
    skipped = {mark.scale.source(EDGE)}
    seen = ideal + _each_through(lens, clicks)
    if isinstance(mark.scale, CylinderScale):
        plane, covered = _rolled(mark.scale, mark.outline.points_px, seen, rng)
    else:
        plane, covered = _placed(mark.scale, seen, rng)
    skipped |= covered
    for name, moved in mark.sources.items():
        if name not in skipped:
            plane = plane + np.einsum("nik,mk->mni", moved, rng.standard_normal((m, moved.shape[2])))
    return plane


def _placed(scale: PlaneScale, seen: FloatArray, rng: Rng) -> tuple[FloatArray, set[str]]:
    """Map drawn ideal pixels (m, n, 2) by as many drawn scales, mm; and which sources are in that."""
    covered: tuple[str, ...]
    match scale:
        case PlanarScale():
            plane, covered = scale.parallax.factor * _back(scale, seen, rng), _BY_THE_FIT
        case BarPlane():
            factor = scale.parallax.factor * scale.mm_per_px
            # A similarity: the size multiplies what the clicks have moved.
            plane = _bar_sizes(scale, len(seen), rng) * factor * (seen - scale.ends_ideal.mean(axis=0))
            covered = tuple(scale.relative)
        case DiscPlane():
            plane, covered = disc_places(scale, seen, rng), BY_THE_DISC
        case RulePlane():
            plane, covered = rule_places(scale, seen, rng), BY_THE_RULE
        case _:
            raise TypeError(f"no draws are known for {type(scale).__name__}")
    return plane, {scale.source(name) for name in covered}


def _rolled(
    scale: CylinderScale, points_px: FloatArray, seen: FloatArray, rng: Rng
) -> tuple[FloatArray, set[str]]:
    places = rolled_places(scale, points_px, seen, lambda every: _placed(scale.base, every, rng), rng)
    drawn = {scale.source(name) for name in BY_THE_CYLINDER}
    return places, drawn | set(scale.base.shared_sensitivities(points_px))


def _each_through(maps: FloatArray, steps: FloatArray) -> FloatArray:
    """Take steps (m, n, 2) of n vertices through a matrix of their own each, (n, 2, 2)."""
    # Written out: products of so many small matrices go through no fast path of numpy's.
    through: FloatArray = maps[:, :, 0] * steps[..., :1] + maps[:, :, 1] * steps[..., 1:]
    return through


def _clicks(mark: MappedMark, m: int, rng: Rng) -> FloatArray:
    """Movements of the vertices in the picture by the mark's own doubts, px, (m, n, 2)."""
    outline = mark.outline
    if outline.parameters is None:
        own = outline.sigma_px * rng.standard_normal((m, *outline.points_px.shape))
    else:
        moves = outline.parameters
        own = np.einsum("njp,mp->mnj", moves, rng.standard_normal((m, moves.shape[2])))
    clicks: FloatArray = own + rng.standard_normal(m)[:, None, None] * outline.edge
    return clicks


def _back(scale: PlanarScale, ideal: FloatArray, rng: Rng) -> FloatArray:
    """Map drawn ideal pixels (m, n, 2) back by as many drawn homographies; NaN beyond the horizon."""
    fit = scale.homography
    inverse = np.linalg.inv(_drawn_matrices(fit, scale.reference_plane, len(ideal), rng))
    normalised = fit.to_image.scale * (ideal - fit.to_image.centre)
    q = normalised @ np.swapaxes(inverse[:, :, :2], 1, 2) + inverse[:, None, :, 2]
    depth = np.where(q[..., 2:] > 0, q[..., 2:], np.nan)
    plane: FloatArray = q[..., :2] / depth / fit.to_plane.scale + fit.to_plane.centre
    return plane


def _drawn_matrices(fit: Homography, reference_plane: FloatArray, m: int, rng: Rng) -> FloatArray:
    """Homographies (m, 3, 3) through four corners whose picture points are drawn."""
    box = shapely.oriented_envelope(shapely.multipoints(reference_plane))
    corners = fit.to_plane(shapely.get_coordinates(box)[:4])
    seen, by_h, _ = project(fit.matrix, corners)
    parts = np.hstack([fit.image_part, fit.plane_part, fit.lens_part])
    moved = rng.standard_normal((m, parts.shape[1])) @ (by_h.reshape(8, 8) @ parts).T
    uv = seen + moved.reshape(m, 4, 2)
    rows = np.zeros((m, 4, 2, 8))
    rows[:, :, 0, 0:3] = rows[:, :, 1, 3:6] = np.column_stack([corners, np.ones(4)])
    rows[..., 6:8] = -uv[..., None] * corners[:, None]
    h = np.linalg.solve(rows.reshape(m, 8, 8), uv.reshape(m, 8, 1))[..., 0]
    matrices: FloatArray = np.concatenate([h, np.ones((m, 1))], axis=1).reshape(m, 3, 3)
    return matrices


def _bar_sizes(scale: BarPlane, m: int, rng: Rng) -> FloatArray:
    """Size of the drawn scale over the fitted one, (m, 1, 1): length drawn over pixels drawn."""
    shares = {name: share * rng.standard_normal(m) for name, share in scale.relative.items()}
    pixels = 1.0 + shares.get(REFERENCE_POINTS, 0.0) + shares.get(LENS, 0.0)
    sizes: FloatArray = (1.0 + shares.get(REFERENCE_TOLERANCE, np.zeros(m))) / pixels
    return sizes[:, None, None]


def _tilt(mark: MappedMark, m: int, rng: Rng) -> FloatArray:
    """Departures of the area by an unknown tilt: rectangular over plus and minus the largest."""
    supposed = alternative_areas(mark)
    if supposed is None:
        return np.zeros(m)
    half_width = float(np.abs(supposed - area_of(mark).value).max())
    return rng.uniform(-half_width, half_width, m)
