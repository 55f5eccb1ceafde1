"""Examples H.1 and H.2 of the GUM, worked with `corrosion.quantity`.

Source: JCGM 100:2008, "Evaluation of measurement data - Guide to the expression of uncertainty in
measurement", annex H.1 (end-gauge calibration, table H.1) and H.2 (simultaneous resistance and reactance,
tables H.2 to H.4). Inputs and results of H.1 as quoted by the GTC documentation of the Measurement
Standards Laboratory of New Zealand; the five observations of H.2 from memory, and checked here against
the correlations that the same source prints for them.
"""

from __future__ import annotations

import numpy as np
import pytest

from corrosion.quantity import Measured, ratio, total

# Table H.1: estimate and standard uncertainty; lengths in nm, temperatures in degrees.
L_S, U_L_S = 50_000_623.0, 25.0
D, U_D = 215.0, 9.7
ALPHA_S, U_ALPHA_S = 11.5e-6, 1.2e-6
THETA, U_THETA = -0.1, 0.41
U_DELTA_ALPHA = 0.58e-6
U_DELTA_THETA = 0.029


def end_gauge() -> Measured:
    """H.1, equation (H.3): l = l_S + d - l_S (delta_alpha theta + alpha_S delta_theta)."""
    standard = Measured(L_S, "nm", own={"l_S": U_L_S})
    difference = Measured(D, "nm", own={"d": U_D})
    alpha_s = Measured(ALPHA_S, "1/K", own={"alpha_S": U_ALPHA_S}).scaled(0.0, value=0.0, unit="nm")
    theta = Measured(THETA, "K", own={"theta": U_THETA}).scaled(0.0, value=0.0, unit="nm")
    delta_alpha = Measured(0.0, "1/K", own={"delta_alpha": U_DELTA_ALPHA}).scaled(-L_S * THETA, unit="nm")
    delta_theta = Measured(0.0, "K", own={"delta_theta": U_DELTA_THETA}).scaled(-L_S * ALPHA_S, unit="nm")
    return total([standard, difference, alpha_s, theta, delta_alpha, delta_theta], "nm")


def test_end_gauge_length() -> None:
    """H.1.4: the end gauge is 50 000 838 nm long with a combined standard uncertainty of 32 nm."""
    length = end_gauge()
    assert length.value == 50_000_838.0
    assert round(length.u) == 32


@pytest.mark.parametrize(
    ("source", "printed", "digit"),
    [
        ("l_S", 25, 1),
        ("d", 9.7, 0.1),
        ("alpha_S", 0, 0.1),
        ("theta", 0, 0.1),
        ("delta_alpha", 2.9, 0.1),
        ("delta_theta", 16.7, 0.1),
    ],
)
def test_end_gauge_budget(source: str, printed: float, digit: float) -> None:
    """Table H.1, last column: the contribution of every input, to the printed digit."""
    assert end_gauge().budget()[source] == pytest.approx(printed, abs=digit)


# Table H.2: volts, milliamperes, radians.
OBSERVED = np.array(
    [
        [5.007, 19.663e-3, 1.0456],
        [4.994, 19.639e-3, 1.0438],
        [5.005, 19.640e-3, 1.0468],
        [4.990, 19.685e-3, 1.0428],
        [4.999, 19.678e-3, 1.0433],
    ]
)


def resistances() -> tuple[Measured, Measured, Measured]:
    """H.2: R = V cos(phi) / I, X = V sin(phi) / I, Z = V / I from means that are correlated."""
    covariance = np.cov(OBSERVED.T) / len(OBSERVED)
    factor = np.linalg.cholesky(covariance)
    mean = OBSERVED.mean(axis=0)
    v, i, phi = (
        Measured(m, unit, shared={"repeats": row})
        for m, unit, row in zip(mean, ("V", "A", "rad"), factor, strict=True)
    )
    z = ratio(v, i)
    cosine = phi.scaled(-np.sin(phi.value), value=float(np.cos(phi.value)), unit="1")
    sine = phi.scaled(np.cos(phi.value), value=float(np.sin(phi.value)), unit="1")
    return product(z, cosine), product(z, sine), z


def product(a: Measured, b: Measured) -> Measured:
    """First-order product through `total`: a b0 + a0 b - a0 b0."""
    both = total([a.scaled(b.value), b.scaled(a.value)], "ohm")
    return Measured(a.value * b.value, "ohm", both.shared, both.own)


def correlation(a: Measured, b: Measured) -> float:
    return float(a.shared["repeats"] @ b.shared["repeats"] / (a.u * b.u))


def test_observations_are_those_of_the_guide() -> None:
    """Table H.2: r(V, I) = -0.36, r(V, phi) = 0.86, r(I, phi) = -0.65."""
    r = np.corrcoef(OBSERVED.T)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)


def test_correlated_inputs() -> None:
    """Table H.3: R 127.732 (0.071), X 219.847 (0.296), Z 254.260 (0.236) ohm, to the last digit."""
    r, x, z = resistances()
    assert [r.value, x.value, z.value] == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
    assert [r.u, x.u, z.u] == pytest.approx([0.071, 0.296, 0.236], abs=0.001)


def test_correlations_of_the_results() -> None:
    """Table H.3: r(R, X) = -0.588, r(R, Z) = -0.485, r(X, Z) = 0.993."""
    r, x, z = resistances()
    found = [correlation(r, x), correlation(r, z), correlation(x, z)]
    assert found == pytest.approx([-0.588, -0.485, 0.993], abs=0.001)
