"""Fits the weights of `corrosion.suggest` on drawn pictures. Run: ``python -m tests.suggest.fit``.

Only pictures of `tests.suggest.scenes` are used: never the sample pictures, nor those of the benchmark.
Prints the weights to be written into `corrosion/suggest/_weights.py`. Takes a few minutes.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from corrosion.suggest._blobs import spots
from corrosion.suggest._features import Features, features_of
from corrosion.suggest._rims import Rim, agreement, rims_round
from corrosion.suggest._weights import CONDITIONS, ROUGH_INSIDE, acceptance
from tests.suggest.scenes import plain_sheet, shop_floor

Array = NDArray[np.float64]
Row = tuple[Array, Array]
"""Evidence of each rim round one point, and the rim's overlap with the truth."""
CLICK_SPREAD = 0.15
"""Spread of a click about the middle, in radii."""
RIGHT, WRONG = 0.65, 0.5
"""Overlap from which a rim is a pit's, and under which it is none; between them it teaches nothing."""


def jobs() -> list[tuple[str, int, int]]:
    """List the pictures, bare metal and even sheets: kind, seed, number of pits."""
    return [
        *(("shop", seed, 5) for seed in range(2, 13, 2)),
        *(("shop", seed, 0) for seed in (102, 104)),
        *(("plain", seed, 5) for seed in range(201, 213)),
        *(("plain", seed, 0) for seed in range(301, 306)),
        *(("plain", seed, 3) for seed in range(401, 407)),
    ]


def shot(job: tuple[str, int, int]) -> tuple[NDArray[np.uint8], list[Array]]:
    """Draw and photograph one picture; its truth."""
    kind, seed, pits = job
    draw = shop_floor if kind == "shop" else plain_sheet
    scene = draw(seed, pits=pits, width=640, height=480)
    rng = np.random.default_rng(seed)
    blur, noise = float(rng.uniform(0.5, 1.3)), float(rng.uniform(0.004, 0.025))
    return scene.shoot(blur=blur, noise=noise, jpeg=int(rng.integers(80, 97))), scene.pits


def rows_of(job: tuple[str, int, int]) -> tuple[list[Row], list[Row]]:
    """Rows of shaky clicks on each pit, and rows of every spot of the sweep."""
    picture, pits = shot(job)
    rng = np.random.default_rng(job[1])
    features = features_of(picture, 75.0)
    clicks = []
    for pit in pits:
        radius = float(np.ptp(pit, axis=0).max()) / 2
        at = pit.mean(axis=0) + rng.normal(0, max(1.5, CLICK_SPREAD * radius), 2)
        clicks += _labelled(rims_round(features, at[None], 5.0, 75.0, keep=6), [pit])
    return clicks, spot_rows(features, pits)


def spot_rows(features: Features, pits: list[Array]) -> list[Row]:
    """Rows of every spot of the sweep."""
    places = spots(features, 6.0, 45.0)
    rows = []
    for radius in np.unique(places[:, 2]):
        centres = places[places[:, 2] == radius, :2]
        span = max(radius / 2.5, 6.0 / 1.3), radius * 1.7
        rows += _labelled(rims_round(features, centres, *span, keep=3, rounds=1), pits)
    return rows


def _labelled(found: list[list[Rim]], pits: list[Array]) -> list[Row]:
    return [
        (
            np.array([r.evidence for r in rims]),
            np.array([max((agreement(r.outline, p) for p in pits), default=0.0) for r in rims]),
        )
        for rims in found
        if rims
    ]


def fit_acceptance(evidence: Array, is_pit: Array, ridge: float = 2e-5) -> Array:
    """Slopes and thresholds of least cross-entropy, pits and others weighing the same."""
    weight = np.where(is_pit > 0, 0.5 / is_pit.sum(), 0.5 / (1 - is_pit).sum())
    count, rough = len(CONDITIONS), len(ROUGH_INSIDE)

    def cost(p: Array) -> float:
        score = np.clip(acceptance(evidence, p), 1e-12, 1 - 1e-9)
        value = -float(weight @ (is_pit * np.log(score) + (1 - is_pit) * np.log1p(-score)))
        return value + ridge * float(p @ p)

    start = np.array([*[3.0] * count, *[-3.0] * count, 5.0, 1.0, *[2.0] * rough, 1.0])
    slope, level = (0.0, 40.0), (-40.0, 40.0)
    bounds = [*[slope] * count, *[level] * count, slope, level, *[slope] * rough, level]
    return np.asarray(minimize(cost, start, bounds=bounds, options={"maxfun": 20_000}).x)


def main() -> None:
    """Draw, gather, fit, print."""
    rows: list[Row] = []
    with ProcessPoolExecutor(2) as pool:
        for clicks, swept in pool.map(rows_of, jobs()):
            rows += clicks + swept
    evidence, overlap = (np.concatenate([row[k] for row in rows]) for k in (0, 1))
    clear = (overlap >= RIGHT) | (overlap < WRONG)
    # Others are plenty: every third will do.
    clear &= (overlap >= RIGHT) | (np.arange(len(overlap)) % 3 == 0)
    found = fit_acceptance(evidence[clear], (overlap[clear] >= RIGHT).astype(np.float64))
    print(np.array2string(found, precision=2, suppress_small=True, separator=", "))


if __name__ == "__main__":
    main()
