"""Parts of the suggestions against closed forms."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from corrosion.opencv import cv2
from corrosion.suggest._evidence import NAMES, _two_tone
from corrosion.suggest._features import EDGE_SIGMA, NOISE_FLOOR, Features, features_of, roughness
from corrosion.suggest._polar import MOST_JUMP, RAYS, best_closed_paths, ring_around
from corrosion.suggest._weights import ACCEPTANCE, RANKING, SPREAD, acceptance


def test_one_direction_is_not_rough() -> None:
    """Grain of any direction has a structure tensor of rank one: only the noise floor is left."""
    y, x = np.mgrid[:80, :80].astype(np.float32)
    for angle in (0.0, 0.4, 1.1):
        grain = 50 + 20 * np.sin(0.9 * (np.cos(angle) * x + np.sin(angle) * y)).astype(np.float32)
        middle = roughness(grain)[20:-20, 20:-20]
        assert middle.max() < 2 * NOISE_FLOOR


def test_two_directions_are_rough() -> None:
    """Crossed waves of frequency w: both eigenvalues are half the squared slope after blur and Sobel.

    A Gaussian passes exp(-(w s)^2 / 2) of a wave, a central difference sin w of its slope's w.
    """
    y, x = np.mgrid[:80, :80].astype(np.float32)
    crossed = 50 + 20 * (np.sin(x) + np.sin(y)).astype(np.float32)
    slope = 20 * np.exp(-(EDGE_SIGMA**2) / 2) * np.sin(1.0)
    expected = np.sqrt(slope**2 / 2 + NOISE_FLOOR**2)
    assert roughness(crossed)[20:-20, 20:-20] == pytest.approx(expected, rel=0.03)


def test_the_closed_path_is_the_best_of_all() -> None:
    """On a small ring every closed path is tried by hand; none gains more."""
    rng = np.random.default_rng(4)
    for _ in range(5):
        gain = rng.normal(size=(5, 3))
        path = best_closed_paths(gain, np.array([1]), 1, 0.1)[0]

        def worth(p: tuple[int, ...], gain: np.ndarray = gain) -> float:
            jumps = np.diff([*p, p[0]])
            if np.abs(jumps).max() > MOST_JUMP:
                return -np.inf
            return float(gain[np.arange(5), p].sum() - 0.1 * (jumps**2).sum())

        best = max(worth(p) for p in itertools.product(range(3), repeat=5))
        # The start is chosen from a path of two rounds, so the best closed one may be missed by little.
        assert worth(tuple(path)) >= best - 0.3


def test_every_path_closes() -> None:
    """The last ray leads back to the first within the largest jump."""
    gain = np.random.default_rng(1).normal(size=(RAYS, 40))
    paths = best_closed_paths(gain, np.arange(5, 35, 3), 5, 0.05)
    jumps = np.diff(np.column_stack([paths, paths[:, 0]]), axis=1)
    assert np.abs(jumps).max() <= MOST_JUMP


@pytest.mark.parametrize("radius", [8.0, 30.0, 90.0])
def test_levels_do_not_shift_the_picture(radius: float) -> None:
    """A linear shade is read back exactly at every level: halving keeps the pixel frame."""
    y, x = np.mgrid[:256, :256].astype(np.float32)
    levels = [np.dstack([x, y, x, y])]
    for _ in range(3):
        half = (levels[-1].shape[1] // 2, levels[-1].shape[0] // 2)
        levels.append(np.asarray(cv2.resize(levels[-1], half, interpolation=cv2.INTER_AREA)))
    ring = ring_around(Features(tuple(levels), (5.0, 7.0)), (125.0, 137.0), radius * 0.7, radius)
    at = ring.outline(np.full(RAYS, 3))
    # Fixed-point interpolation resolves 1/32 px of a level.
    assert ring.planes[:, 3, 0] + 5.0 == pytest.approx(at[:, 0], abs=8 / 32)
    assert ring.planes[:, 3, 1] + 7.0 == pytest.approx(at[:, 1], abs=8 / 32)


def test_print_has_two_tones_and_a_bell_curve_has_not() -> None:
    """Best two-class split: all the variance of two tones, 2 / pi of a normal, 3 / 4 of a uniform."""
    rng = np.random.default_rng(0)
    shape = (1, 40, 50)
    cases = {
        1.0: rng.choice([20.0, 90.0], shape), 2 / np.pi: rng.normal(50, 20, shape),
        0.75: rng.uniform(0, 100, shape),
    }  # fmt: skip
    for share, light in cases.items():
        assert _two_tone(light)[0] == pytest.approx(share, abs=0.02)


def test_every_piece_of_evidence_has_a_weight() -> None:
    """No evidence is gathered for nothing, and no weight waits for evidence that is gone."""
    count = len(NAMES)
    assert len(RANKING) == len(ACCEPTANCE) == count + count * (count + 1) // 2
    assert (SPREAD > 0).all()
    assert 0.0 <= acceptance(np.full(count, 99.0)) <= 1.0


def test_features_know_where_the_picture_ends() -> None:
    """Samples past the border are marked unknown; the middle is known."""
    ring = ring_around(features_of(np.full((40, 40, 3), 9, np.uint8), 20.0), (2.0, 20.0), 4.0, 16.0)
    assert ring.known[0].all()
    assert not ring.known[RAYS // 2, -1]
