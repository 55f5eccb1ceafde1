"""What speaks for an outline being the rim of a pit, as numbers between about -3 and 3."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corrosion.suggest._features import ROUGH, FloatArray
from corrosion.suggest._polar import RAYS, STEP, IntArray, Ring, band_means

BAND = 5
"""Samples (22 % of the radius) averaged on either side of a rim: past the window roughness is gathered in."""
SHARP_BAND = 2
"""Samples (8 %) in which a sharp rim, unlike a smudge, has already reached its full contrast."""
LEAST_SPREAD = 1.5
"""Least spread (L*a*b*) of differences between bands that counts as unevenness of the surface."""
DEEPEST, FARTHEST = -20, 11
"""Samples looked at, from the rim: from 0.45 of the radius (four fifths of the area) to 1.55 of it."""
LEAST_SEEN = 0.6
"""Share of the surroundings that has to lie in the picture."""
NAMES = (
    "closed", "gap", "rougher", "rougher_rim", "filled", "colour_step", "nested", "uneven",
    "light_step", "wavy", "sharp", "elongated", "contrast", "rough_around", "greyer", "shaded_as_dome",
)  # fmt: skip


@dataclass(frozen=True)
class Edges:
    """Contrast across each sample of a ring.

    Attributes
    ----------
    relative : ndarray of shape (RAYS, m)
        Contrast against the unevenness of the surface, 0 to 1.
    wide, narrow : ndarray of shape (RAYS, m)
        Contrast in L*a*b* between wide and between narrow bands.
    rougher : ndarray of shape (RAYS, m)
        Logarithm of roughness inside over outside.
    """

    relative: FloatArray
    wide: FloatArray
    narrow: FloatArray
    rougher: FloatArray

    @property
    def gain(self) -> FloatArray:
        """Gain of a path: contrast of either sign, and roughness that has to be on the inside."""
        return self.relative + np.clip(self.rougher, -0.7, 0.7)


def edges_of(ring: Ring) -> Edges:
    """Measure the contrast across every sample of `ring`; 0 where a side is not in the picture."""
    inner, outer = band_means(ring.planes, BAND)
    step = inner - outer
    inner, outer = band_means(ring.planes[:, :, :ROUGH], SHARP_BAND)
    narrow = np.linalg.norm(inner - outer, axis=2)
    colour = np.hypot(step[:, :, 1], step[:, :, 2])
    light_spread, colour_spread = (
        max(LEAST_SPREAD, 1.4826 * float(np.median(np.abs(p)))) for p in (step[:, :, 0], colour)
    )
    relative = np.hypot(step[:, :, 0] / light_spread, colour / colour_spread) / 3.0
    return Edges(
        np.minimum(relative, 1.0), np.linalg.norm(step[:, :, :ROUGH], axis=2), narrow, step[:, :, ROUGH]
    )


def evidence(ring: Ring, edges: Edges, paths: IntArray) -> FloatArray:
    """Evidence for each path.

    Parameters
    ----------
    paths : ndarray of shape (n, RAYS), int
        Samples of the ring.

    Returns
    -------
    ndarray of shape (n, len(NAMES))
        NaN rows where too little of the surroundings lies in the picture.
    """
    offsets = np.arange(DEEPEST, FARTHEST + 1)
    m = len(ring.radii)
    at = np.clip(paths[:, :, None] + offsets, 0, m - 1)
    rays = np.arange(RAYS)
    around = ring.planes[rays[None, :, None], at]  # (n, RAYS, offsets, 4)
    # Area grows with the square of the radius; every direction counts alike.
    weight = np.exp(2 * STEP * offsets)
    inside, outside = offsets <= -2, offsets >= 3
    near, core = (offsets <= -4) & (offsets >= -11), offsets < -14
    rim = edges.relative[rays, paths]
    rough, light = around[:, :, :, ROUGH], around[:, :, :, 0]
    calm = _middle(rough[:, :, outside], weight[outside])[0]
    light_in, spread_in = _middle(light[:, :, inside], weight[inside])
    light_out, spread_out = _middle(light[:, :, outside], weight[outside])
    colour = [_mean(around[:, :, s, 1:ROUGH], weight[s]) for s in (inside, outside, near, core)]
    wide, narrow = edges.wide[rays, paths], edges.narrow[rays, paths]
    found = np.column_stack([
        rim.mean(axis=1),
        np.percentile((rim + np.roll(rim, 1, 1) + np.roll(rim, -1, 1)) / 3, 20, axis=1),
        _middle(rough[:, :, inside], weight[inside])[0] - calm,
        rough[:, :, near].mean(axis=(1, 2)) - rough[:, :, outside].mean(axis=(1, 2)),
        _mean((rough[:, :, inside, None] > calm[:, None, None, None] + 0.2) * 1.0, weight[inside])[:, 0],
        np.linalg.norm(colour[0] - colour[1], axis=1) / 10,
        np.linalg.norm(colour[3] - colour[2], axis=1) / 10,
        np.log((spread_in + 0.5) / (spread_out + 0.5)),
        np.abs(light_in - light_out) / 20,
        _waviness(paths),
        np.median(narrow / (wide + 0.5), axis=1),
        _elongation(ring, paths),
        np.median(wide, axis=1) / 10,
        calm + 1.0,
        (np.linalg.norm(colour[1], axis=1) - np.linalg.norm(colour[0], axis=1)) / 10,
        _dome(light[:, :, near]),
    ])  # fmt: skip
    found = np.clip(found, -3.0, 3.0)
    seen = ring.known[rays[None, :, None], at][:, :, outside].mean(axis=(1, 2))
    found[seen < LEAST_SEEN] = np.nan
    return found


def _waviness(paths: IntArray) -> FloatArray:
    """Departure of the log-radius from a shifted ellipse (harmonics 0 to 2), five-fold."""
    spectrum = np.abs(np.fft.rfft(STEP * paths, axis=1)) / RAYS
    return np.asarray(5.0 * np.sqrt(2.0 * (spectrum[:, 3:] ** 2).sum(axis=1)))


def _elongation(ring: Ring, paths: IntArray) -> FloatArray:
    """Half the logarithm of the ratio of the corners' principal spreads."""
    corners = np.stack([ring.outline(path) for path in paths])
    apart = corners - corners.mean(axis=1, keepdims=True)
    low, high = np.linalg.eigvalsh(np.einsum("nri,nrj->nij", apart, apart)).T
    return np.asarray(0.5 * np.log(high / np.maximum(low, 1e-9)))


def _dome(light: FloatArray) -> FloatArray:
    """Share of the light's variation round the rim that one bright and one dark side explain."""
    around = light.mean(axis=2)
    power = np.abs(np.fft.rfft(around - around.mean(axis=1, keepdims=True), axis=1)) ** 2
    return np.asarray(power[:, 1:3].sum(axis=1) / (power[:, 1:].sum(axis=1) + RAYS))


def _mean(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Weighted mean of (n, RAYS, offsets, c) over the middle axes."""
    return np.asarray(np.einsum("nroc,o->nc", values, weight) / (RAYS * weight.sum()))


def _middle(values: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weighted median of (n, RAYS, offsets) and the spread about it (scaled median deviation)."""
    flat = values.reshape(len(values), -1)
    weights = np.tile(weight, values.shape[1])
    middle = _median(flat, weights)
    return middle, 1.4826 * _median(np.abs(flat - middle[:, None]), weights)


def _median(flat: FloatArray, weights: FloatArray) -> FloatArray:
    order = np.argsort(flat, axis=1)
    summed = np.cumsum(weights[order], axis=1)
    place = (summed < summed[:, -1:] / 2).sum(axis=1)
    return np.asarray(np.take_along_axis(flat, np.take_along_axis(order, place[:, None], 1), 1)[:, 0])
