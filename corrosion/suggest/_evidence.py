"""What speaks for an outline being the rim of a pit: a few shares, each from 0 to 1 and each with a sense.

All are measured against the surface round the outline, as it is: its usual colour and how far that strays.
"""

from __future__ import annotations

import numpy as np

from corrosion.suggest._conditions import all_hold
from corrosion.suggest._features import PIT, ROUGH, FloatArray, PlaneArray
from corrosion.suggest._polar import STEP, UNIT, Bands

FIRST, LAST = -20, 18
"""Samples looked at, from the rim: from 0.45 of the radius (four fifths of the area) to 2.05 of it."""
OFFSETS = np.arange(FIRST, LAST + 1)
LEAST_SPREAD = np.array([1.5, 0.8, 0.8, 0.12, 0.05], np.float32)
"""Least spread of the surface's L*, a*, b*, log roughness and likeness: what rounding and noise leave."""
UNUSUAL, FOREIGN = 1.5, 4.0
"""Spreads away from the surface's usual colour at which a sample begins to be, and surely is, foreign."""
CLEAR_EDGE = 4.0
"""Spreads by which the two sides of a rim differ where it is seen clearly."""
LEAST_SEEN = 0.5
"""Share of the surroundings that has to lie in the picture."""
NAMES = (
    "closed", "weakest", "filled", "stray", "sharp", "darker", "rougher", "contrast", "brighter_flat",
    "wavy", "elongated", "crowded", "one_sided", "rough_rim", "rough_filled", "rough_stray",
    "uneven", "rough_around", "pit_inside", "pit_outside", "pit_rim", "pit_weakest", "all_hold",
)  # fmt: skip


def evidence(bands: Bands) -> FloatArray:
    """Evidence for each outline.

    Parameters
    ----------
    bands : Bands
        Read at `OFFSETS`.

    Returns
    -------
    ndarray of shape (n, len(NAMES))
        NaN rows where too little of the surroundings lies in the picture.
    """
    around = bands.planes
    usual, spread = _surface(around)
    apart = (around - usual[:, None]) / spread[:, None]
    foreign = np.clip(
        (np.linalg.norm(apart[..., :ROUGH], axis=3) - UNUSUAL) / (FOREIGN - UNUSUAL), 0.0, 1.0
    )
    rough = np.clip((around[..., ROUGH] - usual[:, None, ROUGH]) / 0.5 - 0.2, 0.0, 1.0)
    edge = np.linalg.norm(_mean(apart[..., :ROUGH], -3, -1) - _mean(apart[..., :ROUGH], 1, 3), axis=2)
    clear = np.minimum(edge / CLEAR_EDGE, 1.0)
    step = [
        np.linalg.norm(_mean(around[..., :ROUGH], -k, -1) - _mean(around[..., :ROUGH], 1, k), axis=2)
        for k in (2, 6)
    ]
    area = np.exp(2 * STEP * OFFSETS)[(OFFSETS <= -2)]
    inside = OFFSETS <= -2
    light = (around[:, :, inside, 0].mean(axis=0) @ area / area.sum() - usual[:, 0]) / 20
    rougher = np.clip((_mean(around, FIRST, -4)[..., ROUGH].mean(axis=0) - usual[:, ROUGH]) / 0.8, 0, 1)
    smooth = (clear + np.roll(clear, 1, 0) + np.roll(clear, -1, 0)) / 3
    across = (_mean(around, -7, -2) - _mean(around, 3, 8))[..., PIT]
    wide = (across + np.roll(across, 1, 0) + np.roll(across, -1, 0)) / 3
    found = np.column_stack([
        clear.mean(axis=0),
        np.percentile(smooth, 15, axis=0),
        foreign[:, :, inside].mean(axis=0) @ area / area.sum(),
        _mean(foreign, 3, 10).mean(axis=0),
        np.median(step[0] / (step[1] + 1.0), axis=0),
        np.clip(-light, 0, 1),
        rougher,
        np.minimum(np.median(step[1], axis=0) / 20, 1.0),
        np.clip(light, 0, 1) * (1 - rougher),
        _waviness(bands.radii),
        _elongation(bands),
        np.percentile(_mean(foreign, 5, LAST), 85, axis=0),
        _one_sided(_mean(around[..., 0], -8, -2)),
        np.clip((_mean(around, -8, -3) - _mean(around, 3, 8))[..., ROUGH].mean(axis=0) / 0.8, -1, 1),
        rough[:, :, inside].mean(axis=0) @ area / area.sum(),
        _mean(rough, 5, 12).mean(axis=0),
        np.clip(0.5 * np.log((around[:, :, inside, 0].std(axis=(0, 2)) + 1.5) / spread[:, 0]), -1, 1),
        np.clip((usual[:, ROUGH] + 1.0) / 1.5, 0, 1.5),
        around[:, :, inside, PIT].mean(axis=0) @ area / area.sum(),
        _mean(around, 3, 10)[..., PIT].mean(axis=0),
        across.mean(axis=0),
        np.percentile(wide, 15, axis=0),
    ])  # fmt: skip
    by_name = dict(zip(NAMES, found.T, strict=False))
    found = np.column_stack([found, all_hold(by_name)])
    seen = bands.known[:, :, (OFFSETS >= 3) & (OFFSETS <= 11)].mean(axis=(0, 2))
    found[seen < LEAST_SEEN] = np.nan
    return np.asarray(found, dtype=np.float64)


def _surface(around: PlaneArray) -> tuple[PlaneArray, PlaneArray]:
    """Usual features of the surface round each outline, and their spread: (n, 4) each.

    Every second sample of every second ray is enough for a median, and four times as fast.
    """
    some = around[::2, :, (OFFSETS >= 3) & (OFFSETS <= 11)][:, :, ::2].transpose(1, 0, 2, 3)
    some = some.reshape(len(some), -1, some.shape[-1])
    usual = np.median(some, axis=1)
    spread = 1.4826 * np.median(np.abs(some - usual[:, None]), axis=1)
    return usual, np.maximum(spread, LEAST_SPREAD)


def _mean(values: PlaneArray, first: int, last: int) -> PlaneArray:
    """Mean over the offsets from `first` to `last`, the third axis."""
    return np.asarray(values[:, :, first - FIRST : last - FIRST + 1].mean(axis=2))


def _waviness(radii: FloatArray) -> FloatArray:
    """Departure of the log-radius from a shifted ellipse (harmonics 0 to 2), five-fold."""
    spectrum = np.abs(np.fft.rfft(np.log(radii), axis=1)) / radii.shape[1]
    return np.asarray(np.minimum(5.0 * np.sqrt(2.0 * (spectrum[:, 3:] ** 2).sum(axis=1)), 1.5))


def _elongation(bands: Bands) -> FloatArray:
    """Half the logarithm of the ratio of the corners' principal spreads."""
    corners = bands.radii[..., None] * UNIT
    apart = corners - corners.mean(axis=1, keepdims=True)
    low, high = np.linalg.eigvalsh(np.einsum("nri,nrj->nij", apart, apart)).T
    return np.asarray(np.minimum(0.5 * np.log(high / np.maximum(low, 1e-9)), 1.5))


def _one_sided(light: PlaneArray) -> FloatArray:
    """Amplitude, of 20 L*, of the light's turn once round the inside of the rim: a dome's."""
    once = np.abs(np.fft.rfft(light, axis=0))[1] * 2 / len(light)
    return np.asarray(np.minimum(once / 20, 1.5))
