"""Profile integrals and dish volumes against published idealisations.

The areas are those of corroded-pipe assessment (ASME B31G: rectangle d L, parabola 2/3 d L; formulas
from memory, idealisations named in published texts). Here they only test the integrator; they are not
strength formulas for aircraft.
"""

import math

import pytest

from tests.bench import Bench

IN = 25.4


def lost_at_middle(bench: Bench, profile: str) -> float:
    """Area lost, in2, on a cut through a patch 7.5 in long (across stations) and 0.1 in deep."""
    bench.member |= {"thickness": 0.438 * IN, "outline": [[0, 0], [600, 0], [600, 400], [0, 400]]}
    radius = 7.5 / 2 * IN
    circle = {"type": "Circle", "center": [300, 200], "radius": radius}
    square = [[300 - radius, 200 - radius], [300 + radius, 200 - radius]]
    square += [[300 + radius, 200 + radius], [300 - radius, 200 + radius]]
    box = {"type": "Polygon", "coordinates": [square]}
    bench.remove(0.1 * IN, profile=profile, footprint=circle if profile == "dished" else box)
    cut = min(bench.assess().summary.section_losses, key=lambda c: abs(c.station - 300.0))
    return cut.lost_mm2 / IN**2


def test_parabola_loses_two_thirds(bench: Bench) -> None:
    """L 7.5 in, d 0.1 in: 2/3 d L = 0.5000 in2 (original B31G parabola).

    The cut runs through cells 1/20 of the dish wide and up to half a cell off its middle: the midpoint
    rule errs by (h/L)^2 and the cut by (h/2R)^2, together below 0.5 %.
    """
    assert lost_at_middle(bench, "dished") == pytest.approx(0.5000, rel=0.005)


def test_rectangle_loses_all(bench: Bench) -> None:
    """L 7.5 in, d 0.1 in: d L = 0.7500 in2; whole cells may add or miss one row in 20."""
    assert lost_at_middle(bench, "flat") == pytest.approx(0.7500, rel=0.05)


@pytest.mark.parametrize(
    ("diameter_in", "spherical_in3"), [(0.200, 1.57603e-4), (0.100, 3.97935e-5)], ids=["20:1", "10:1"]
)
def test_dish_volume_against_the_spherical_cap(
    bench: Bench, diameter_in: float, spherical_in3: float
) -> None:
    """A 0.010 in deep dish: the paraboloid holds the spherical cap's volume less 1/(1 + h^2/3a^2).

    V = pi h (3 a^2 + h^2) / 6 for the cap; 20:1 total is AC 43.13-1B para 6-115c.
    """
    radius = diameter_in / 2 * IN
    bench.remove(
        0.010 * IN,
        profile="dished",
        footprint={"type": "Circle", "center": [450, 200], "radius": radius},
    )
    volume = bench.assess().summary.removed_volume_mm3.value / IN**3
    excess = 1.0 + 0.010**2 / (3.0 * (diameter_in / 2) ** 2)
    assert volume * excess == pytest.approx(spherical_in3, rel=4e-6)
    assert math.isclose(volume, 0.010 * math.pi * (diameter_in / 2) ** 2 / 2, rel_tol=1e-9)
