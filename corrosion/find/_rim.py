"""Finding the rim of a disc round a point inside it, to a fraction of a pixel.

Edges are collected along rays from the seed, several per ray, because a coin has an inner ring, a side wall
and a shadow. Ellipses through random five of them are judged by how many rays they explain; then the rim is
measured again along normals of the best one, in the full picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter, maximum_filter1d

from corrosion.errors import ScaleError
from corrosion.find._consensus import LEAST_RADIUS_PX, agreed_ellipse, mean_radius, plausible
from corrosion.find._light import light_of
from corrosion.model import DiscScale
from corrosion.opencv import cv2
from corrosion.quantity import FloatArray
from corrosion.scale.ellipse import (
    Ellipse,
    correlation_length,
    distances,
    fit_ellipse,
    points_of,
    shape_of,
)

_RAYS = 240
_SEARCH_SIDE_PX = 1000
_MOST_RINGS = 5
_RING_PX = 2.5
_STEEPEST = 0.6
_LEAST_EDGE = 3.0
_SURE_EDGE = 6.0
_LIKE_SUPPORT = 0.85
_LEAST_RIM_SHARE = 0.35
_SAME_EDGE_PX = 0.7
_LIKE_RIDGE = 0.6
_BEVEL_PX = 5.0
_GRAIN_PX = 10.0
_REACHES_PX = (3.0, 2.0)
# Standard uncertainty of an edge's place within its own softness (metrology notes: 0.3 of its sigma).
_BLUR_SHARE = 0.3 / 2.56
_LEAST_SUPPORT = 0.55
_RIM_POINTS = 360
_LEAST_SIGMA_PX = 0.1


@dataclass(frozen=True, eq=False)
class _Polar:
    """Worth of being an edge, 0 to 1, over rays (rows) and radii in px (columns), round `seed`."""

    worth: FloatArray
    seed: FloatArray

    def points(self, radii: FloatArray) -> FloatArray:
        """Points at one radius on each ray, (rays, 2)."""
        t = np.arange(_RAYS) * (2.0 * math.pi / _RAYS)
        points: FloatArray = self.seed + radii[:, None] * np.column_stack([np.cos(t), np.sin(t)])
        return points

    def radii_of(self, parameters: FloatArray) -> FloatArray:
        """Where each ray leaves an ellipse that holds the seed, px, (rays,)."""
        t = np.arange(_RAYS) * (2.0 * math.pi / _RAYS)
        inverse = np.linalg.inv(shape_of(parameters))
        start = inverse @ (self.seed - parameters[:2])
        d = np.column_stack([np.cos(t), np.sin(t)]) @ inverse
        a, b, c = (d**2).sum(axis=1), d @ start, start @ start - 1.0
        return np.asarray((-b + np.sqrt(np.maximum(b**2 - a * c, 0.0))) / a)

    def support(self, parameters: FloatArray) -> float:
        """Share of rays that have an edge within a pixel or so of an ellipse."""
        radii = self.radii_of(parameters)
        columns = np.rint(radii).astype(int)[:, None] + np.array([-1, 0, 1])
        inside = (columns >= 0) & (columns < self.worth.shape[1])
        near = np.take_along_axis(self.worth, np.clip(columns, 0, self.worth.shape[1] - 1), axis=1)
        return float(np.where(inside, near, 0.0).max(axis=1).mean())

    def without(self, parameters: FloatArray) -> _Polar:
        """Return the same less the edges along one ellipse."""
        r = np.arange(self.worth.shape[1])
        near = np.abs(r[None, :] - self.radii_of(parameters)[:, None]) < _RING_PX
        return _Polar(np.where(near, 0.0, self.worth), self.seed)


def find_rim(pixels: np.ndarray, scale: DiscScale, place: str) -> DiscScale:
    """Find a disc's rim round its seed.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
    scale : DiscScale
        With a `seed` inside the disc, anywhere but on its rim.

    Returns
    -------
    DiscScale
        With rim points as `image`, their noise as `sigma_px` and the doubt of the rim as `u_edge_px`.

    Raises
    ------
    ScaleError
        If no disc is found round the seed.
    """
    assert scale.seed is not None  # noqa: S101 -- `needs_finding` has checked
    seed = np.array(scale.seed, dtype=np.float64)
    height, width = pixels.shape[:2]
    if not (0 <= seed[0] <= width - 1 and 0 <= seed[1] <= height - 1):
        raise _missed("its seed lies outside the picture", place)
    shrink = max(1.0, max(width, height) / _SEARCH_SIDE_PX)
    rough = _search(pixels, seed, shrink)
    if rough is None:
        raise _missed("no disc was found round its seed", place)
    ellipse, points, edge_px = _refined(light_of(pixels), rough, place)
    noise = max(_LEAST_SIGMA_PX, ellipse.rms * math.sqrt(correlation_length(ellipse, points)))
    return scale.model_copy(
        update={
            "image": [(round(float(x), 2), round(float(y), 2)) for x, y in points],
            "sigma_px": scale.sigma_px or round(noise, 3),
            "u_edge_px": scale.u_edge_px if scale.u_edge_px is not None else round(edge_px, 3),
        }
    )


def _missed(what: str, place: str) -> ScaleError:
    return ScaleError(
        f"the disc's rim cannot be measured: {what}.",
        place=place,
        remedy="Click nearer to the disc's middle, or click eight or more points round its rim.",
    )


def _search(pixels: np.ndarray, seed: FloatArray, shrink: float) -> FloatArray | None:
    """Rough ellipse round the seed, in the full picture's px."""
    small: FloatArray = pixels.astype(np.float64)
    if shrink > 1.0:
        size = (round(pixels.shape[1] / shrink), round(pixels.shape[0] / shrink))
        small = np.asarray(cv2.resize(pixels.astype(np.float32), size, interpolation=cv2.INTER_AREA))
    ratio = np.array([pixels.shape[1] / small.shape[1], pixels.shape[0] / small.shape[0]])
    # Pixel centres: a picture shrunk by r has its pixel i centred at r (i + 1/2) - 1/2.
    inside = (seed + 0.5) / ratio - 0.5
    best = _recentred(small, inside)
    if best is None:
        return None
    centre = (best[:2] + 0.5) * ratio - 0.5
    return np.array([*centre, *(best[2:] * ratio.mean())])


def _polar(picture: FloatArray, seed: FloatArray) -> _Polar:
    height, width = picture.shape[:2]
    smooth = gaussian_filter(picture.astype(np.float64), (1.0, 1.0, 0.0))
    reach = float(np.max([seed, np.array([width, height]) - seed]))
    polar = _Polar(np.zeros((_RAYS, int(reach) + 2)), seed)
    r = np.arange(polar.worth.shape[1], dtype=np.float64)
    where = np.stack([polar.points(np.full(_RAYS, radius)) for radius in r], axis=1)
    colours = _sample(smooth, where)
    change = gaussian_filter(np.gradient(colours, axis=1), (1.0, 0.0, 0.0))
    size = np.linalg.norm(change, axis=2)
    outside = (where < 1).any(axis=2) | (where > np.array([width - 2, height - 2])).any(axis=2)
    size[outside] = 0.0
    size[:, : int(LEAST_RADIUS_PX)] = 0.0
    # What the surface's own grain does, ray by ray within a band of radii, is no edge.
    noise = float(np.median(size[size > 0])) if (size > 0).any() else 1.0
    peaks = (size == maximum_filter1d(size, 3, axis=1)) & (size > _LEAST_EDGE * noise)
    return _Polar(np.where(peaks, np.minimum(size / (_SURE_EDGE * noise), 1.0), 0.0), seed)


def _sample(picture: FloatArray, where: FloatArray) -> FloatArray:
    flat = where.astype(np.float32)
    colours = cv2.remap(
        picture.astype(np.float32),
        np.ascontiguousarray(flat[..., 0]),
        np.ascontiguousarray(flat[..., 1]),
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(colours, dtype=np.float64).reshape(*where.shape[:2], -1)


def _recentred(picture: FloatArray, seed: FloatArray) -> FloatArray | None:
    """Look from the seed, then from the middle of what was found: from there rims are nearly level."""
    middle = seed
    for _ in range(2):
        rings = _rings(_polar(picture, middle), 2)
        if not rings:
            return None
        middle = max(rings, key=lambda ring: ring[0])[1][:2]
    rings = [ring for ring in _rings(_polar(picture, middle), _MOST_RINGS) if plausible(ring[1], seed)]
    top = max((score for score, _ in rings), default=0.0)
    if top < _LEAST_SUPPORT:
        return None
    # A coin's inner ring stands out as well as its rim.
    return max((e for score, e in rings if score > _LIKE_SUPPORT * top), key=mean_radius)


def _rings(polar: _Polar, most: int) -> list[tuple[float, FloatArray]]:
    """Find ellipses round the seed, one after the other, with their support."""
    found: list[tuple[float, FloatArray]] = []
    rest = polar
    for _ in range(most):
        ellipse = agreed_ellipse(polar.points(_closed_path(rest.worth)), 1.5, about=polar.seed)
        if ellipse is None:
            break
        found.append((polar.support(ellipse), ellipse))
        rest = rest.without(ellipse)
    return found


def _closed_path(worth: FloatArray) -> FloatArray:
    """Radius per ray of the path round the seed with most edge on it (dynamic programming, two rounds)."""
    smooth = gaussian_filter(worth, (0.0, 0.8))
    rays, radii = smooth.shape
    slope = max(1, round(_STEEPEST * radii / rays))
    here, shifts = np.arange(radii), np.arange(-slope, slope + 1)
    steps = np.abs(shifts) * 0.01
    # Where each radius may come from, in a row with room for `slope` at both ends.
    near = here[:, None] + shifts + slope
    before = np.full(radii + 2 * slope, -np.inf)
    score = np.zeros(radii)
    came = np.zeros((2 * rays, radii), dtype=int)
    for i in range(2 * rays):
        before[slope:-slope] = score
        reached = before[near] - steps
        best = np.argmax(reached, axis=1)
        came[i] = here + shifts[best]
        score = reached[here, best] + smooth[i % rays]
    path = np.zeros(2 * rays, dtype=int)
    path[-1] = int(np.argmax(score))
    for i in range(2 * rays - 1, 0, -1):
        path[i - 1] = came[i][path[i]]
    return (
        path[rays // 2 : rays // 2 + rays][np.argsort(np.arange(rays // 2, rays // 2 + rays) % rays)] * 1.0
    )


def _refined(pixels: FloatArray, rough: FloatArray, place: str) -> tuple[Ellipse, FloatArray, float]:
    """Measure the rim along normals: the ellipse, its points and the doubt of where the rim is, px."""
    reach = max(4.0, 0.05 * mean_radius(rough))
    inner = agreed_ellipse(_edge_points(pixels, rough, reach).nearest(), _SAME_EDGE_PX)
    if inner is None:
        raise _missed("its rim is no ellipse", place)
    parameters, doubt = _outer_rim(_edge_points(pixels, inner, min(reach, _BEVEL_PX)), inner)
    for reach in _REACHES_PX:
        parameters = _nearest_rim(pixels, parameters, reach, place)[0].parameters
    ellipse, points, width = _nearest_rim(pixels, parameters, _REACHES_PX[-1], place)
    return ellipse, points, math.hypot(_BLUR_SHARE * width, doubt)


def _nearest_rim(
    pixels: FloatArray, parameters: FloatArray, reach: float, place: str
) -> tuple[Ellipse, FloatArray, float]:
    """Fit to the nearest edges; the ellipse, its points and the width of the edge, px."""
    normals = _edge_points(pixels, parameters, reach)
    kept = _inliers(normals.nearest())
    if len(kept) < _LEAST_RIM_SHARE * _RIM_POINTS:
        raise _missed("too little of its rim stands out", place)
    return _certain(fit_ellipse(kept), place), kept, normals.width


def _certain(ellipse: Ellipse | None, place: str) -> Ellipse:
    if ellipse is None:
        raise _missed("its rim is no ellipse", place)
    return ellipse


@dataclass(frozen=True, eq=False)
class _Normals:
    """Edges along normals of an ellipse: `offsets` (n, m) outwards, px, NaN where there is none."""

    on: FloatArray
    normals: FloatArray
    offsets: FloatArray
    width: float

    def nearest(self) -> FloatArray:
        """On each normal that has an edge the one nearest to the ellipse, (k, 2)."""
        off = np.where(np.isnan(self.offsets), np.inf, np.abs(self.offsets))
        rows = np.arange(len(off))
        chosen = self.offsets[rows, np.argmin(off, axis=1)]
        good = np.isfinite(chosen)
        points: FloatArray = (self.on + chosen[:, None] * self.normals)[good]
        return points

    def outermost(self) -> FloatArray:
        """On each normal that has an edge the one furthest out, (k, 2)."""
        furthest = np.where(np.isnan(self.offsets), -np.inf, self.offsets).max(axis=1)
        good = np.isfinite(furthest)
        points: FloatArray = (self.on + furthest[:, None] * self.normals)[good]
        return points

    def support(self, parameters: FloatArray) -> float:
        """Share of normals with an edge on another ellipse."""
        every = self.on[:, None] + self.offsets[:, :, None] * self.normals[:, None]
        off = np.abs(distances(parameters, every.reshape(-1, 2))).reshape(self.offsets.shape)
        return float((off < _SAME_EDGE_PX).any(axis=1).mean())


def _edge_points(pixels: FloatArray, parameters: FloatArray, reach: float) -> _Normals:
    """Colour edges along each normal within `reach` of the ellipse."""
    on = points_of(parameters, _RIM_POINTS)
    inverse = np.linalg.inv(shape_of(parameters))
    normals = (on - parameters[:2]) @ inverse @ inverse
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    step = 0.25
    # Wide enough to see the grain beside the edge, against which an edge has to stand out.
    wide = max(reach + 1.0, _GRAIN_PX)
    r = np.arange(-wide, wide + step / 2, step)
    colours = _sample(pixels, on[:, None] + r[None, :, None] * normals[:, None])
    smooth = gaussian_filter(colours, (1.5, 0.6 / step, 0.0))
    change = np.linalg.norm(np.gradient(smooth, step, axis=1), axis=2)
    before, here, after = change[:, :-2], change[:, 1:-1], change[:, 2:]
    bend = before - 2.0 * here + after
    # An edge is a local peak that stands out of its own profile and of the grain all round.
    peak = (here >= before) & (here > after) & (bend < 0)
    peak &= np.abs(r[1:-1]) <= reach
    strongest = np.where(np.abs(r[1:-1]) <= reach, here, 0.0).max(axis=1, keepdims=True)
    peak &= here > np.maximum(0.25 * strongest, 2.5 * np.median(change))
    safe = np.where(bend < 0, bend, -1.0)
    offsets = np.where(peak, r[1:-1] + 0.5 * (before - after) / safe * step, np.nan)
    widths = np.sqrt(here[peak] / -bend[peak]) * step if peak.any() else np.array([1.0])
    return _Normals(on, normals, offsets, 2.56 * float(np.median(widths)))


def _outer_rim(edges: _Normals, inner: FloatArray) -> tuple[FloatArray, float]:
    """Ellipse of the outermost edges round a first one, and the doubt of where the rim is, px.

    A bevelled rim shows two edges a few px apart, each on part of the way round. The outer one is the
    disc's diameter; half the distance to the inner one, as a rectangular distribution, is its doubt.
    """
    outer = agreed_ellipse(edges.outermost(), _SAME_EDGE_PX)
    if outer is None or mean_radius(outer) < mean_radius(inner):
        return inner, 0.0
    if edges.support(outer) < _LIKE_RIDGE * edges.support(inner):
        return inner, 0.0
    return outer, (mean_radius(outer) - mean_radius(inner)) / (2.0 * math.sqrt(3.0))


def _inliers(points: FloatArray) -> FloatArray:
    kept = points
    for _ in range(5):
        ellipse = fit_ellipse(kept, robust=True)
        if ellipse is None:
            return kept
        off = np.abs(distances(ellipse.parameters, points))
        fresh = points[off <= max(0.4, 3.5 * float(np.median(off)))]
        if len(fresh) == len(kept):
            return fresh
        kept = fresh
    return kept
