"""Rims round points: found coarsely at every size, set finely, and judged; many points at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corrosion.suggest._evidence import OFFSETS, evidence
from corrosion.suggest._features import CHANNELS, GATHER_SIGMA, PIT, ROUGH, Features, FloatArray, PlaneArray
from corrosion.suggest._polar import (
    RAYS,
    STEP,
    UNIT,
    Bands,
    IntArray,
    Rings,
    band_means,
    bands_along,
    best_closed_paths,
    radii_from,
    rings_around,
    samples_between,
)
from corrosion.suggest._suggestion import likeness
from corrosion.suggest._weights import Asked, chosen, expected_overlap, table_of

BATCH = 96
"""Points looked at together: what fits a processor's cache is fastest."""
SEARCH_BAND = 5
"""Samples (22 % of the radius) averaged on either side of a rim, past the window of roughness."""
LEAST_SPREAD = 1.5
"""Least spread (L*a*b*) of differences between bands that counts as unevenness of the surface."""
SEARCH_HALF = 11
"""Half the width of a search band: radii from 0.64 to 1.55 of its middle, an oval of 2 : 1 with dents."""
SEARCH_STEP = 3
SEARCH_BEND = 0.06
LEAST_WORTH = 0.3
"""Mean gain along a path under which it is no rim worth setting."""
APART = 3.0
"""Samples by which rims round one point differ in mean radius, or they are one rim."""
SET_HALF = 8
"""The fine setting may move the rim by a third of the radius either way, each round."""
SET_ROUNDS = 2
SET_BEND = 0.15
SET_BAND = 2
SET_FINER = 2.0
"""The fine setting reads one level finer than the search."""
SET_ROUGH, SET_CLASS = 0.5, 0.4
"""Weight of roughness and of inside-outside likelihood against edge contrast, when setting the rim."""
LEAST_VARIANCE = np.array([1.0, 0.5, 0.5, 0.01], np.float32)
"""Added to the variances of L*, a*, b* and log roughness: none is known better."""
NEARLY, ALIKE = 0.06, 0.7
"""Expected overlap short of the best, and overlap with the chosen rim, of one that says nearly the same."""
SET_OFFSETS = np.arange(-20, 12)
"""Samples looked at to set a rim: from 0.45 to 1.55 of the radius."""


@dataclass(frozen=True)
class Rim:
    """A closed outline, px, with its evidence."""

    outline: FloatArray
    evidence: FloatArray


def rims_round(
    features: Features,
    centres: FloatArray,
    least_radius: float,
    largest_radius: float,
    *,
    keep: int,
    rounds: int = SET_ROUNDS,
    likeness: float = 0.0,
) -> list[list[Rim]]:
    """Find up to `keep` rims round each centre, finely set, each with its evidence.

    Parameters
    ----------
    centres : ndarray of shape (n, 2), px
    least_radius, largest_radius : float, px
    likeness : float
        Weight of the net's likeness to a pit against edge contrast, when looking for rims.
    """
    found: list[list[Rim]] = [[] for _ in centres]
    for low in range(0, len(centres), BATCH):
        some = centres[low : low + BATCH]
        owner, outlines = coarse_rims(features, some, (least_radius, largest_radius), keep, likeness)
        for number, rim in zip(owner, judged(features, set_rims(features, outlines, rounds)), strict=True):
            if rim is not None:
                found[low + number].append(rim)
    return found


def coarse_rims(
    features: Features, centres: FloatArray, radii: tuple[float, float], keep: int, likeness: float
) -> tuple[IntArray, FloatArray]:
    """Find the clearest closed paths round each centre, of sizes apart from one another.

    Returns
    -------
    owner : ndarray of shape (k,), int
        Number of the centre each belongs to.
    outlines : ndarray of shape (k, RAYS, 2), px
    """
    inner = max(1.5, radii[0] * 0.5)
    count = samples_between(inner, radii[1] * 1.55)
    rings = rings_around(features, centres, np.full(len(centres), inner), count)
    gain = search_gain(rings, likeness)
    paths = best_closed_paths(gain, np.arange(6, max(7, count - 4), SEARCH_STEP), SEARCH_HALF, SEARCH_BEND)
    rows, rays = np.arange(len(centres))[:, None, None], np.arange(RAYS)
    worth = gain[rays, rows, np.clip(paths, 0, count - 1)].mean(axis=2)
    inside = (paths.min(axis=2) >= 0) & (paths.max(axis=2) < count)
    worth = np.where(inside, worth, -np.inf)
    size = paths.mean(axis=2)
    owner, kept = [], []
    every = np.arange(len(centres))
    for _ in range(keep):
        best = worth.argmax(axis=1)
        there = worth[every, best] >= LEAST_WORTH
        owner.append(every[there])
        kept.append(rings.outlines(paths[every, best])[there])
        worth = np.where(np.abs(size - size[every, best][:, None]) < APART, -np.inf, worth)
    return np.concatenate(owner), np.concatenate(kept)


def search_gain(rings: Rings, likeness: float = 0.0) -> PlaneArray:
    """Gain of a path through each sample, (RAYS, n, m).

    Contrast of either sign against the unevenness of the surface, and roughness, which has to be on the
    inside.
    """
    inner, outer = band_means(rings.planes, SEARCH_BAND)
    step = inner - outer
    light, colour = np.abs(step[..., 0]), np.hypot(step[..., 1], step[..., 2])
    light, colour = (
        p / np.maximum(LEAST_SPREAD, 1.4826 * np.median(p, axis=(0, 2)))[:, None] for p in (light, colour)
    )
    relative = np.minimum(np.hypot(light, colour) / 3.0, 1.0)
    rough = np.clip(step[..., ROUGH], -0.7, 0.7)
    return np.asarray(relative + rough + likeness * step[..., PIT], np.float32)


def set_rims(features: Features, outlines: FloatArray, rounds: int = SET_ROUNDS) -> FloatArray:
    """Move outlines to where contrast, roughness and likelihood agree best, near by.

    Seen more than once, each time from its new centroid: a click is seldom in the middle.
    """
    for _ in range(rounds if len(outlines) else 0):
        done = []
        for low in range(0, len(outlines), BATCH):
            bands = bands_along(features, outlines[low : low + BATCH], SET_OFFSETS, finer=SET_FINER)
            done.append(bands.moved(_set_paths(bands)))
        outlines = np.concatenate(done)
    return outlines


def _set_paths(bands: Bands) -> IntArray:
    """Find the samples, (n, RAYS), by which each corner had better be moved outwards."""
    window = np.abs(bands.offsets) <= SET_HALF + SET_BAND
    planes = np.concatenate([bands.planes[:, :, window], likelihood(bands, window)[..., None]], axis=-1)
    inner, outer = band_means(planes, SET_BAND)
    step = (inner - outer)[:, :, SET_BAND:-SET_BAND]
    edge = np.linalg.norm(step[..., :ROUGH], axis=3)
    usual = np.maximum(np.median(edge.max(axis=2), axis=0), 0.5)[:, None]
    # On a small pit the window of roughness reaches past the rim and would draw it outwards.
    trust = np.minimum(1.0, bands.radii.mean(axis=1) / (6.0 * GATHER_SIGMA))[:, None]
    gain = (
        np.minimum(edge / usual, 1.5)
        + trust * SET_ROUGH * np.clip(step[..., ROUGH], -0.7, 0.7)
        + trust * SET_CLASS * step[..., CHANNELS]
    )
    moved = best_closed_paths(gain.astype(np.float32), np.array([SET_HALF]), SET_HALF, SET_BEND)[:, 0]
    return np.asarray(moved - SET_HALF)


def likelihood(bands: Bands, window: NDArray[np.bool_]) -> PlaneArray:
    """Log-likelihood of inside over outside of the window's samples, clipped and scaled to [-1, 1].

    Both sides are normal distributions over L*, a*, b* and roughness: a pit's is wide (shadow, product),
    the metal's round it narrow, so what is unlike the metal counts as pit whichever way it differs.
    """
    n = bands.planes.shape[1]
    planes = bands.planes[:, :, window, :PIT].transpose(1, 0, 2, 3).reshape(n, -1, PIT)
    score = np.zeros(planes.shape[:2], np.float32)
    for sign, side in ((1.0, bands.offsets <= -2), (-1.0, bands.offsets >= 3)):
        some = bands.planes[::2, :, side, :PIT].transpose(1, 0, 2, 3).reshape(n, -1, PIT)
        # Every sample stands for an area that grows with the square of its radius.
        share = np.exp(2 * STEP * bands.offsets[side]).astype(np.float32)
        w = (bands.known[::2, :, side].transpose(1, 0, 2) * share).reshape(n, -1).astype(np.float32)
        w /= np.maximum(w.sum(axis=1, keepdims=True), np.float32(1e-9))
        middle = (w[:, None] @ some)[:, 0]
        apart = some - middle[:, None]
        spread = (apart * w[..., None]).transpose(0, 2, 1) @ apart + np.diag(LEAST_VARIANCE)
        apart = planes - middle[:, None]
        far = ((apart @ np.linalg.inv(spread).astype(np.float32)) * apart).sum(axis=2)
        score -= np.float32(sign * 0.5) * (far + np.linalg.slogdet(spread)[1][:, None]).astype(np.float32)
    return np.asarray((np.clip(score, -3.0, 3.0) / 3.0).reshape(n, RAYS, -1).transpose(1, 0, 2))


def judged(features: Features, outlines: FloatArray) -> list[Rim | None]:
    """Give each outline its evidence; None where too little round it lies in the picture."""
    found: list[Rim | None] = []
    for low in range(0, len(outlines), BATCH):
        some = outlines[low : low + BATCH]
        rows = evidence(bands_along(features, some, OFFSETS, finer=SET_FINER))
        found += [None if np.isnan(r).any() else Rim(o, r) for o, r in zip(some, rows, strict=True)]
    return found


def rims_along(features: Features, outlines: FloatArray) -> list[Rim]:
    """Give outlines their evidence, less those that cannot be judged."""
    return [rim for rim in judged(features, outlines) if rim is not None]


def likeliest(features: Features, rims: list[Rim]) -> Rim:
    """Choose among rims round a click, and take the mean of those that say nearly the same.

    One of several likenesses is chosen by a hair, and another if the picture is cut otherwise; their mean
    hardly changes.
    """
    areas = np.array([float(shapely.Polygon(r.outline).area) for r in rims])
    rows = np.array([r.evidence for r in rims])
    expected = expected_overlap(rows, table_of(Asked.CLICK))
    best = rims[chosen(rows, areas, expected)]
    alike = [
        rim.outline
        for rim, worth in zip(rims, expected, strict=True)
        if worth >= expected.max() - NEARLY and agreement(rim.outline, best.outline) >= ALIKE
    ]
    if len(alike) < 2:
        return best
    middle = np.array(shapely.Polygon(best.outline).centroid.coords[0])
    radii = np.exp(np.mean([np.log(radii_from(middle, o)) for o in alike], axis=0))
    return judged(features, (middle + radii[:, None] * UNIT)[None])[0] or best


def agreement(first: FloatArray, second: FloatArray) -> float:
    """Intersection over union of two outlines."""
    a, b = (shapely.make_valid(shapely.Polygon(o)) for o in (first, second))
    return likeness(a, b)
