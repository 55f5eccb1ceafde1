"""Worked examples of JCGM 101:2008 (GUM Supplement 1), clauses 9.2, 9.3 and 9.5, all from memory.

"Evaluation of measurement data - Supplement 1 to the GUM - Propagation of distributions using a Monte
Carlo method". The printed figures are from memory and were reproduced independently for the project with
two million draws. Tolerances are one unit of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.montecarlo import Draw, Drawn, first_order_holds, propagate, propagate_adaptive

SEED = 20310417
MANY = 1_000_000
ROOT_3 = 3.0**0.5


def normal(mean: float, u: float) -> Draw:
    return lambda rng, m: rng.normal(mean, u, m)


def rectangular(low: float, high: float) -> Draw:
    return lambda rng, m: rng.uniform(low, high, m)


def scaled_t(mean: float, u: float, freedom: int) -> Draw:
    return lambda rng, m: mean + u * rng.standard_t(freedom, m)


def arc_sine(low: float, high: float) -> Draw:
    return lambda rng, m: (low + high + (high - low) * np.sin(rng.uniform(0, 2 * np.pi, m))) / 2


def curvilinear_trapezoid(low: float, high: float, inexact: float) -> Draw:
    """Draw a rectangle whose ends are themselves uncertain by +- `inexact` (6.4.3.2)."""

    def draw(rng: np.random.Generator, m: int) -> np.ndarray:
        start = rng.uniform(low - inexact, low + inexact, m)
        return start + rng.uniform(0, 1, m) * (low + high - 2 * start)

    return draw


def added(**x: np.ndarray) -> np.ndarray:
    return np.sum(list(x.values()), axis=0)


def four(draw: Draw, last: Draw | None = None) -> dict[str, Draw]:
    return {"a": draw, "b": draw, "c": draw, "d": last or draw}


@pytest.mark.parametrize(
    ("draws", "u", "half_width", "digits"),
    [
        (four(normal(0, 1)), 2.00, 3.92, 2),
        (four(rectangular(-ROOT_3, ROOT_3)), 2.00, 3.88, 2),
        (four(rectangular(-ROOT_3, ROOT_3), rectangular(-10 * ROOT_3, 10 * ROOT_3)), 10.1, 17.0, 1),
    ],
    ids=["9.2.2 normal", "9.2.3 rectangular", "9.2.4 one ten times as wide"],
)
def test_additive_model(draws: dict[str, Draw], u: float, half_width: float, digits: int) -> None:
    """9.2: sums of four inputs have the printed u and 95 % interval, both kinds of interval alike."""
    found = propagate(added, draws, count=MANY, seed=SEED)
    step = 10.0**-digits
    assert found.mean == pytest.approx(0.0, abs=4 * u / MANY**0.5)
    assert found.u == pytest.approx(u, abs=max(step, 0.1 if u > 10 else step))
    for low, high in (found.shortest, found.symmetric):
        # The shortest interval of a symmetric distribution with flat top wanders; its width does not.
        assert (high - low) / 2 == pytest.approx(half_width, abs=1.5 * step)
    assert found.symmetric == pytest.approx((-half_width, half_width), abs=3 * step)


def test_first_order_misses_a_wide_rectangle() -> None:
    """9.2.4: first order gives +- 19.9 for what is +- 17.0, and the comparison of clause 8 says so."""
    wide = four(rectangular(-ROOT_3, ROOT_3), rectangular(-10 * ROOT_3, 10 * ROOT_3))
    u = (3 * 1.0 + 100.0) ** 0.5
    assert 1.96 * u == pytest.approx(19.9, abs=0.05)
    assert not first_order_holds(0.0, u, propagate(added, wide, count=MANY, seed=SEED), factor=1.96)
    even = propagate(added, four(normal(0, 1)), count=MANY, seed=SEED)
    assert first_order_holds(0.0, 2.0, even, factor=1.96)


MASS = {
    "reference": normal(100_000.0, 0.050),
    "difference": normal(1.234, 0.020),
    "air": rectangular(1.10, 1.30),
    "weight_density": rectangular(7000.0, 9000.0),
    "reference_density": rectangular(7950.0, 8050.0),
}


def mass_difference(
    reference: np.ndarray,
    difference: np.ndarray,
    air: np.ndarray,
    weight_density: np.ndarray,
    reference_density: np.ndarray,
) -> np.ndarray:
    """Evaluate 9.3.1 with nominal mass 100 000 mg and standard air of 1.2 kg/m3."""
    buoyancy = (air - 1.2) * (1.0 / weight_density - 1.0 / reference_density)
    return (reference + difference) * (1.0 + buoyancy) - 100_000.0


def test_mass_calibration() -> None:
    """9.3, table 6: u is 0.0754 mg where first order says 0.0539, shortest 95 % [1.0834, 1.3825] mg."""
    found = propagate(mass_difference, MASS, count=MANY, seed=SEED)
    assert found.mean == pytest.approx(1.234, abs=0.0005)
    assert found.u == pytest.approx(0.0754, abs=0.0002)
    # The ends of a shortest interval scatter by a few 1e-4 at a million draws.
    assert found.shortest == pytest.approx((1.0834, 1.3825), abs=0.001)
    assert not first_order_holds(1.234, 0.0539, found, factor=1.96)


GAUGE = {
    "standard": scaled_t(50_000_623.0, 25.0, 18),
    "repeats": scaled_t(215.0, 6.0, 24),
    "random_effects": scaled_t(0.0, 4.0, 5),
    "systematic_effects": scaled_t(0.0, 7.0, 8),
    "expansion": rectangular(9.5e-6, 13.5e-6),
    "mean_temperature": normal(-0.1, 0.2),
    "cycle": arc_sine(-0.5, 0.5),
    "expansion_difference": curvilinear_trapezoid(-1.0e-6, 1.0e-6, 0.1e-6),
    "temperature_difference": curvilinear_trapezoid(-0.050, 0.050, 0.025),
}


def gauge_deviation(**x: np.ndarray) -> np.ndarray:
    """Deviation of the gauge block from 50 mm, nm (9.5.2)."""
    temperature = x["mean_temperature"] + x["cycle"]
    seen = x["repeats"] + x["random_effects"] + x["systematic_effects"]
    of_standard = 1.0 + x["expansion"] * (temperature - x["temperature_difference"])
    of_block = 1.0 + (x["expansion"] + x["expansion_difference"]) * temperature
    return (x["standard"] * of_standard + seen) / of_block - 50_000_000.0


def test_gauge_block() -> None:
    """9.5.3: 838 nm with u = 36 nm and a 99 % interval of about [745, 932] nm; first order gives 32 nm."""
    found = propagate(gauge_deviation, GAUGE, count=MANY, seed=SEED, coverage=0.99)
    assert found.mean == pytest.approx(838.0, abs=0.5)
    assert found.u == pytest.approx(36.0, abs=0.5)
    assert found.symmetric == pytest.approx((744.5, 931.5), abs=1.5)


def test_adaptive_run_stops_when_its_digits_stand_still() -> None:
    """7.9: for u = 2.0 it stops when all four results are known to 0.05, and they are right to that."""
    found = propagate_adaptive(added, four(normal(0, 1)), seed=SEED)
    assert found.settled
    assert 20_000 <= found.draws < 1_000_000
    assert [found.mean, found.u, *found.symmetric] == pytest.approx([0.0, 2.0, -3.92, 3.92], abs=0.05)
    short = propagate_adaptive(added, four(normal(0, 1)), seed=SEED, digits=4, most=30_000)
    assert not short.settled
    assert short.draws == 30_000


def test_the_same_seed_gives_the_same_digits() -> None:
    """Seed and number of draws belong to the result, and repeat it to the last digit."""
    first, again, other = (propagate(mass_difference, MASS, seed=s) for s in (1, 1, 2))
    assert (first.seed, first.draws) == (1, 20_000)
    assert isinstance(first, Drawn)
    assert first == again
    assert first.u != other.u
