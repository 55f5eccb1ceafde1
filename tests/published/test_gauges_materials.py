"""Sheet thicknesses and densities, against published tables.

Sheet series: FAA AC 43.13-1B (9/8/98), tables 4-9 to 4-11. Its entries are Brown and Sharpe gauges,
t = 0.005 in x 92^((36 - n) / 39) (definition of the gauge; common practice, no source). Densities:
Aluminum Design Manual, table 4.3; AZ31B and 4130 after MIL-HDBK-5, from memory.
"""

from __future__ import annotations

import pytest

from corrosion.terms import density_of
from corrosion.units import MM_PER_INCH, parse_station, show_length

GAUGE_IN = {26: 0.016, 24: 0.020, 22: 0.025, 20: 0.032, 19: 0.036, 18: 0.040,
            16: 0.051, 14: 0.064, 12: 0.081, 11: 0.091, 10: 0.102, 8: 0.128}  # fmt: skip

KG_PER_POUND = 0.45359237


@pytest.mark.parametrize(("gauge", "listed_in"), GAUGE_IN.items())
def test_gauge_thicknesses_show_as_listed(gauge: int, listed_in: float) -> None:
    """The gauge formula, kept in mm and shown in inches, is the table's entry to its three digits.

    Gauge 8 is 0.1285 in, halfway between two entries; the table has 0.128. Half a unit of the third
    decimal is the bound.
    """
    exact_in = 0.005 * 92.0 ** ((36 - gauge) / 39)
    shown = float(show_length(exact_in * MM_PER_INCH, "in", decimals=6).split()[0])
    assert shown == pytest.approx(listed_in, abs=0.0005 + 1e-5)


@pytest.mark.parametrize(
    ("gauge", "four_digits"), [(20, "0.0320 in"), (16, "0.0508 in"), (14, "0.0641 in")]
)
def test_thickness_in_inches_shows_four_decimals(gauge: int, four_digits: str) -> None:
    """Gauges 20, 16 and 14 are 0.0320, 0.0508 and 0.0641 in as the trade writes them."""
    assert show_length(0.005 * 92.0 ** ((36 - gauge) / 39) * MM_PER_INCH, "in") == four_digits


@pytest.mark.parametrize(
    ("material", "pounds_per_in3", "grams_per_cm3"),
    [
        ("2024-T3 clad", 0.100, 2.78),
        ("7075-T6", 0.101, 2.81),
        ("6061-T6", 0.098, 2.70),
        ("5052-H32", 0.097, 2.68),
        ("AZ31B-H24", 0.0639, 1.77),
        ("4130", 0.283, 7.83),
    ],
)
def test_density_agrees_with_both_published_units(
    material: str, pounds_per_in3: float, grams_per_cm3: float
) -> None:
    """The density is the published g/cm3; the separately rounded lb/in3 agrees within 1 %."""
    density = density_of(material)
    assert density is not None
    assert density * 1e6 == pytest.approx(grams_per_cm3, rel=1e-12)
    assert pounds_per_in3 * KG_PER_POUND / MM_PER_INCH**3 == pytest.approx(density, rel=0.01)


@pytest.mark.parametrize("material", ["", "unknown alloy", "20245", "steel"])
def test_an_unlisted_alloy_has_no_density(material: str) -> None:
    """No density is guessed; mass is then not given."""
    assert density_of(material) is None


def test_a_fuselage_station_with_a_plug_suffix() -> None:
    """FS 340B + 10.25 (notation common in the trade, no source) keeps its text, number and plug."""
    station = parse_station("340B + 10.25")
    assert (station.text, station.number, station.plug) == ("340B + 10.25", 350.25, "B")
