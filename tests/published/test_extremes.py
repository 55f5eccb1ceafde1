"""Extreme values against published figures.

Sources, beside each test: S. Coles, "An Introduction to Statistical Modeling of Extreme Values" (2001),
annual maximum sea levels at Port Pirie (data and GEV fit as in the R package ismev, ``gev.fit``);
J. R. M. Hosking and J. R. Wallis for L-moments; R. B. Abernethy's median ranks; ASTM G46-94, from memory.
The figures of the Gumbel fits were computed independently for the project from the same data.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from corrosion.extremes import (
    Position,
    fit_gev,
    fit_gumbel,
    goodness_of,
    gumbel_by_l_moments,
    gumbel_by_moments,
    plotting_positions,
    reduced_variate,
    return_period,
)

# Annual maximum sea levels at Port Pirie, m; Coles (2001), 1.1 and 3.4.1.
PORT_PIRIE = np.array([
    4.03, 3.83, 3.65, 3.88, 4.01, 4.08, 4.18, 3.80, 4.36, 3.96, 3.98, 4.69, 3.85, 3.96, 3.85,
    3.93, 3.75, 3.63, 3.57, 4.25, 3.97, 4.05, 4.24, 4.22, 3.73, 4.37, 4.06, 3.71, 3.96, 4.06,
    4.55, 3.79, 3.89, 4.11, 3.85, 3.86, 3.86, 4.21, 4.01, 4.11, 4.24, 3.96, 4.21, 3.74, 3.85,
    3.88, 3.66, 4.11, 3.71, 4.18, 3.90, 3.78, 3.91, 3.72, 4.00, 3.66, 3.62, 4.33, 4.55, 3.75,
    4.08, 3.90, 3.88, 3.94, 4.33,
])  # fmt: skip


def test_the_data_are_the_published_ones() -> None:
    """65 maxima with the mean and standard deviation computed from the published list."""
    assert len(PORT_PIRIE) == 65
    assert PORT_PIRIE.mean() == pytest.approx(3.980615, abs=5e-7)
    assert PORT_PIRIE.std(ddof=1) == pytest.approx(0.240513, abs=5e-7)


def test_port_pirie_gev() -> None:
    """The R package ismev prints 3.87474692, 0.19804120, -0.05008773 and log-likelihood 4.339058.

    The likelihood agrees to the printed digit. ismev stops its simplex early: two optimisers differ by
    up to 7e-5 in the shape (ismev and SciPy), so the parameters are held to 1e-4.
    """
    fit = fit_gev(PORT_PIRIE)
    assert fit.log_likelihood == pytest.approx(4.339058, abs=1e-6)
    assert [fit.location, fit.scale, fit.shape] == pytest.approx(
        [3.87474692, 0.19804120, -0.05008773], abs=1e-4
    )


def test_port_pirie_covariance() -> None:
    """Coles, p. 59: the covariance of location, scale and shape, to the three digits printed."""
    printed = [
        [0.000780, 0.000197, -0.00107],
        [0.000197, 0.000410, -0.000778],
        [-0.00107, -0.000778, 0.00965],
    ]
    # One unit of the last printed digit: of -0.00107 that is 1e-5.
    assert fit_gev(PORT_PIRIE).covariance == pytest.approx(np.array(printed), abs=1e-5)
    assert fit_gev(PORT_PIRIE).covariance[:2, :2] == pytest.approx(np.array(printed)[:2, :2], abs=1e-6)


def test_port_pirie_return_levels() -> None:
    """Coles, p. 60: 4.30 m in 10 years with variance 0.00303, and 4.69 m in 100 years."""
    fit = fit_gev(PORT_PIRIE)
    assert fit.return_level(10) == pytest.approx(4.30, abs=0.005)
    assert fit.return_level(100) == pytest.approx(4.69, abs=0.005)
    assert fit.standard_error(return_period(10)) ** 2 == pytest.approx(0.00303, abs=5e-6)


def test_port_pirie_profile_interval() -> None:
    """Coles, p. 60, from memory: profile interval [4.50, 5.27] m of the 100-year level, read off a graph.

    A graph is read to about 0.01 m.
    """
    low, high = fit_gev(PORT_PIRIE).interval(return_period(100))
    assert (low, high) == pytest.approx((4.50, 5.27), abs=0.011)


def test_port_pirie_gumbel() -> None:
    """Maximum likelihood 3.869444, 0.194889, log-likelihood 4.217682, levels 4.30802 and 4.76596 m.

    Coles gives 3.87 and 0.195 (from memory).
    """
    fit = fit_gumbel(PORT_PIRIE)
    assert [fit.location, fit.scale, fit.log_likelihood] == pytest.approx(
        [3.869444, 0.194889, 4.217682], abs=1e-6
    )
    assert [fit.return_level(10), fit.return_level(100)] == pytest.approx([4.30802, 4.76596], abs=1e-5)


def test_port_pirie_gumbel_by_moments_and_l_moments() -> None:
    """Moments give 3.872372 and 0.187527, L-moments 3.868491 and 0.194251."""
    assert gumbel_by_moments(PORT_PIRIE) == pytest.approx((3.872372, 0.187527), abs=1e-6)
    assert gumbel_by_l_moments(PORT_PIRIE) == pytest.approx((3.868491, 0.194251), abs=1e-6)


def test_port_pirie_needs_no_gev() -> None:
    """Twice the gain in likelihood is 0.243: no reason to leave the Gumbel.

    The gain follows from the two published log-likelihoods, 2 (4.339058 - 4.217682).
    """
    found = goodness_of(fit_gumbel(PORT_PIRIE))
    assert found.gev_better == pytest.approx(stats.chi2.sf(2 * (4.339058 - 4.217682), 1), abs=1e-5)
    assert found.doubtful is False


def test_scipy_has_the_shape_with_the_other_sign() -> None:
    """SciPy's genextreme finds the same maximum with c = -shape (PyMC's text on it says the same)."""
    fit = fit_gev(PORT_PIRIE)
    logs = stats.genextreme.logpdf(PORT_PIRIE, -fit.shape, fit.location, fit.scale)
    assert logs.sum() == pytest.approx(fit.log_likelihood, abs=1e-9)
    c, location, scale = stats.genextreme.fit(PORT_PIRIE)
    assert [fit.shape, fit.location, fit.scale] == pytest.approx([-c, location, scale], abs=1e-4)


def test_plotting_positions() -> None:
    """The second of ten lies at 2/11 = 0.1818 (ASTM G46-94, from memory)."""
    assert plotting_positions(10)[1] == pytest.approx(0.1818, abs=5e-5)


def test_median_ranks() -> None:
    """The first of five has median rank 12.945 %, and 12.963 % by Benard (Abernethy)."""
    assert plotting_positions(5, Position.MEDIAN_RANK)[0] == pytest.approx(0.12945, abs=5e-6)
    assert plotting_positions(5, Position.BENARD)[0] == pytest.approx(0.12963, abs=5e-6)


@pytest.mark.parametrize(("probability", "printed"), [(0.826, 1.657), (0.950, 2.979), (0.992, 4.792)])
def test_reduced_variates(probability: float, printed: float) -> None:
    """NPTEL's Gumbel plot: reduced variates of three positions; the positions are rounded, hence 1 %."""
    assert reduced_variate(np.array([probability]))[0] == pytest.approx(printed, rel=0.01)


def test_area_scaling_is_not_the_return_level() -> None:
    """For mu 0.5, sigma 0.1 and T 100: mu + sigma ln T = 0.96052, return level 0.96001 (closed forms)."""
    exact = fit_gumbel(PORT_PIRIE)
    fit = type(exact)(exact.law, 0.5, 0.1, 0.0, 0.0, exact.covariance, exact.sample)
    assert fit.characteristic_largest(100) == pytest.approx(0.96052, abs=5e-6)
    assert fit.return_level(100) == pytest.approx(0.96001, abs=5e-6)
