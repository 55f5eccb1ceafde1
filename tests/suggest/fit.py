"""Fits the weights of `corrosion.suggest` on drawn pictures. Run: ``python -m tests.suggest.fit``.

Only pictures of `tests.suggest.scenes` are used, never the sample pictures: those stay unseen.
Prints the weights to be written into `corrosion/suggest/_weights.py`.
"""

from __future__ import annotations

import sys

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from corrosion.suggest._blobs import spots
from corrosion.suggest._candidates import Candidate, agreement, nested_outlines
from corrosion.suggest._evidence import NAMES
from corrosion.suggest._features import Features, features_of
from tests.suggest.scenes import Scene, shop_floor

Array = NDArray[np.float64]
FULL_SIZE = range(1, 25)
EMPTY = range(101, 109)
CLICK_SPREAD = 0.15
"""Spread of a click about the middle, in radii."""


def rank_rows(scene: Scene, features: Features, rng: np.random.Generator) -> list[tuple[Array, Array]]:
    """For a shaky click on each pit: evidence of each nested outline and its overlap with the truth."""
    rows = []
    for pit in scene.pits:
        radius = float(np.ptp(pit, axis=0).max()) / 2
        click = pit.mean(axis=0) + rng.normal(0, max(1.5, CLICK_SPREAD * radius), 2)
        found = nested_outlines(features, (click[0], click[1]), 5.0, 100.0)
        rows.append(_labelled(found, [pit]))
    return [row for row in rows if len(row[1])]


def spot_rows(scene: Scene, features: Features) -> list[tuple[Array, Array]]:
    """For every spot of the sweep: the same, against all pits."""
    rows = []
    for x, y, radius in spots(features, 6.0, 60.0):
        found = nested_outlines(features, (x, y), radius / 2.5, radius * 1.7)
        if found:
            rows.append(_labelled(found, scene.pits))
    return rows


def _labelled(found: list[Candidate], pits: list[Array]) -> tuple[Array, Array]:
    overlap = [max((agreement(c.outline, p) for p in pits), default=0.0) for c in found]
    return np.array([c.evidence for c in found]), np.array(overlap)


def fit_ranking(rows: list[tuple[Array, Array]], ridge: float = 0.03) -> Array:
    """Weights under which the best-overlapping outline of each click is the likeliest."""
    spread = np.std(np.vstack([e for e, _ in rows]), axis=0)
    inputs = [e / spread for e, _ in rows]
    wanted = [np.exp(12 * (o - o.max())) for _, o in rows]

    def cost(w: Array) -> tuple[float, Array]:
        value, slope = ridge * float(w @ w), 2 * ridge * w
        for x, y in zip(inputs, wanted, strict=True):
            score = x @ w
            p = np.exp(score - score.max())
            p, t = p / p.sum(), y / y.sum()
            value -= float(t @ np.log(p + 1e-12)) / len(rows)
            slope = slope - x.T @ (t - p) / len(rows)
        return value, slope

    best: Array = minimize(cost, np.zeros(len(spread)), jac=True).x
    return best / spread


def fit_acceptance(evidence: Array, is_pit: Array, ridge: float = 0.01) -> tuple[Array, float]:
    """Logistic regression of being a pit (overlap of at least 0.5), both classes weighing the same."""
    spread = np.std(evidence, axis=0)
    x = np.column_stack([evidence / spread, np.ones(len(evidence))])
    weight = np.where(is_pit > 0, 0.5 / is_pit.mean(), 0.5 / (1 - is_pit.mean())) / len(is_pit)

    def cost(w: Array) -> tuple[float, Array]:
        p = 1 / (1 + np.exp(-np.clip(x @ w, -40, 40)))
        value = -float(weight @ (is_pit * np.log(p + 1e-12) + (1 - is_pit) * np.log(1 - p + 1e-12)))
        return value + ridge * float(w[:-1] @ w[:-1]), x.T @ (
            weight * (p - is_pit)
        ) + 2 * ridge * np.append(w[:-1], 0.0)

    best: Array = minimize(cost, np.zeros(x.shape[1]), jac=True).x
    return best[:-1] / spread, float(best[-1])


def main() -> None:
    """Draw, gather, fit, print."""
    rng = np.random.default_rng(5)
    clicks: list[tuple[Array, Array]] = []
    swept: list[tuple[Array, Array]] = []
    for seed in [*FULL_SIZE, *EMPTY]:
        scene = shop_floor(seed, pits=5 if seed in FULL_SIZE else 0)
        features = features_of(scene.shoot(), 100.0)
        clicks += rank_rows(scene, features, rng)
        swept += spot_rows(scene, features)
        print(f"seed {seed}: {len(clicks)} clicks, {len(swept)} spots", file=sys.stderr)
    ranking = fit_ranking(clicks)
    chosen = [int(np.argmax(e @ ranking)) for e, _ in swept]
    evidence = np.array([e[k] for (e, _), k in zip(swept, chosen, strict=True)])
    is_pit = np.array([float(o[k] >= 0.5) for (_, o), k in zip(swept, chosen, strict=True)])
    acceptance, offset = fit_acceptance(evidence, is_pit)
    for name, r, a in zip(NAMES, ranking, acceptance, strict=True):
        print(f'    "{name}": ({r:.2f}, {a:.2f}),')
    print(f"OFFSET = {offset:.2f}")


if __name__ == "__main__":
    main()
