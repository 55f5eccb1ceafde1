"""A member's sum, verdict, margins, volume and section loss."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from corrosion.survey import assess
from corrosion.terms import Face, Flag, Verdict
from tests.bench import Bench

DISC_MM2 = math.pi * 20.0**2


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        ({"measured_from": "original"}, 0.08),
        ({"measured_from": "current"}, 0.13),
        ({"measured_from": "original", "face": "inner"}, 0.13),
    ],
)
@pytest.mark.parametrize("profile", ["flat", "dished"])
def test_earlier_rework_and_a_new_dish(
    bench: Bench, second: dict[str, str], expected: float, profile: str
) -> None:
    """0.05 mm before and a dish of 0.08 mm on the same spot sum as their depths were measured."""
    bench.remove(0.05, date="2029-01-01")
    bench.remove(0.08, date="2031-01-01", profile=profile, **second)
    deepest = bench.assess().summary.deepest
    assert deepest is not None
    assert deepest.removed.value == pytest.approx(expected, abs=1e-9)
    assert deepest.at == pytest.approx((450, 200), abs=1.0)


def test_the_date_decides_not_the_order_in_the_file(bench: Bench) -> None:
    """A later `current` entry listed first still adds to the earlier one."""
    bench.remove(0.03, date="2031-01-01", measured_from="current")
    bench.remove(0.08, date="2029-01-01")
    spot = bench.assess().removal.spot((450.0, 200.0))
    assert spot.removed.value == pytest.approx(0.11)
    assert [line.entry_id for line in spot.ledger] == ["R2", "R1"]
    assert [line.adds for line in spot.ledger] == pytest.approx([0.08, 0.03])


@pytest.mark.parametrize(
    ("depth", "u", "verdict"),
    [
        (0.09, 0.001, Verdict.WITHIN),
        (0.0990, 0.0020, Verdict.TOO_CLOSE),
        (0.1001, 0.0020, Verdict.OVER),
        (0.1, 0.0, Verdict.WITHIN),
    ],
)
def test_three_way_verdict(bench: Bench, depth: float, u: float, verdict: Verdict) -> None:
    """Within up to 5 % probability of exceeding, over by best estimate, else too close to call."""
    summary = bench.remove(depth, u=u).assess().summary
    assert summary.verdict is verdict
    assert summary.least_margin is not None
    if u:
        assert summary.least_margin.probability_over == pytest.approx(norm.sf((0.1 - depth) / u))


def test_five_percent_is_the_edge(bench: Bench) -> None:
    """At z = 1.6449 (95 % point of the normal distribution) the verdict turns."""
    z = 1.6448536269514722
    assert bench.remove(0.1 - z * 0.01 - 1e-6, u=0.01).assess().summary.verdict is Verdict.WITHIN
    closer = Bench().remove(0.1 - z * 0.01 + 1e-6, u=0.01).assess().summary
    assert closer.verdict is Verdict.TOO_CLOSE


def test_no_limit_is_not_determined(bench: Bench) -> None:
    """Without a limit nothing is passed, and the reason says so."""
    del bench.member["limit"]
    summary = bench.remove(0.001).assess().summary
    assert summary.verdict is Verdict.NOT_DETERMINED
    assert any("No limit is set" in reason for reason in summary.reasons)
    assert summary.deepest is not None
    assert summary.deepest.margin is None


def test_nothing_seen_is_not_clean(bench: Bench) -> None:
    """A member nobody photographed and with no record is not determined."""
    summary = bench.assess().summary
    assert summary.verdict is Verdict.NOT_DETERMINED
    assert any("not seen is not clean" in reason for reason in summary.reasons)


def test_limit_zone_holds_inside_it_only(bench: Bench) -> None:
    """The stricter limit of a fastener row governs the spot with less removed but less margin."""
    bench.member["limit_zones"] = [
        {
            "id": "row",
            "outline": [[0, 0], [900, 0], [900, 50], [0, 50]],
            "limit": {"depth": 0.02, "source": "invented manual, 1-3"},
        }
    ]
    bench.remove(0.06)
    bench.remove(0.03, footprint={"type": "Circle", "center": [100, 25], "radius": 10})
    summary = bench.assess().summary
    assert summary.deepest is not None
    assert summary.least_margin is not None
    assert summary.deepest.removed.value == pytest.approx(0.06)
    assert summary.least_margin.limit == pytest.approx(0.02)
    assert summary.least_margin.limit_source == "invented manual, 1-3"
    assert summary.verdict is Verdict.OVER
    assert summary.over_area_mm2 == pytest.approx(math.pi * 100.0, rel=0.02)


def test_volume_and_mass_of_a_lone_dish_are_exact(bench: Bench) -> None:
    """A paraboloid holds half of depth times area; 2024 weighs 2.78 g/cm3.

    Source: Aluminum Design Manual Table 4.3 (density).
    """
    summary = bench.remove(0.1, profile="dished", u=0.01).assess().summary
    assert summary.removed_volume_mm3.value == pytest.approx(0.05 * DISC_MM2, rel=1e-12)
    assert summary.removed_volume_mm3.u == pytest.approx(0.1 * summary.removed_volume_mm3.value)
    assert summary.removed_mass_kg is not None
    assert summary.removed_mass_kg.value == pytest.approx(0.05 * DISC_MM2 * 2.78e-6)


def test_volume_counts_an_overlap_once(bench: Bench) -> None:
    """Two equal flats on one spot remove one's metal from the original contour, two's from the current."""
    one = Bench().remove(0.05).assess().summary.removed_volume_mm3.value
    same = bench.remove(0.05).remove(0.05).assess().summary.removed_volume_mm3.value
    added = Bench().remove(0.05).remove(0.05, measured_from="current").assess().summary
    # 20 cells across: the staircase outline of a disc errs by well under 2 % of its area.
    assert same == pytest.approx(one, rel=0.02)
    assert added.removed_volume_mm3.value == pytest.approx(2.0 * one, rel=0.02)


def test_unknown_alloy_has_no_mass(bench: Bench) -> None:
    """A material the table lacks gives no mass, unless the member states its density."""
    bench.member["material"] = "unobtainium"
    assert bench.remove(0.1).assess().summary.removed_mass_kg is None
    bench.member["density_kg_m3"] = 2000.0
    mass = bench.assess().summary.removed_mass_kg
    assert mass is not None
    assert mass.value == pytest.approx(0.1 * DISC_MM2 * 2e-6)


def test_section_loss_of_a_band(bench: Bench) -> None:
    """A band across half of the member, 10 % deep, takes 5 % of the section there and none beside."""
    bench.remove(
        0.1, footprint={"type": "Polygon", "coordinates": [[[300, 0], [400, 0], [400, 200], [300, 200]]]}
    )
    summary = bench.assess().summary
    cut = min(summary.section_losses, key=lambda c: abs(c.station - 350.0))
    away = min(summary.section_losses, key=lambda c: abs(c.station - 700.0))
    assert cut.section_mm2 == pytest.approx(400.0)
    assert cut.lost_mm2 == pytest.approx(20.0, rel=0.05)
    assert cut.share == pytest.approx(0.05, rel=0.05)
    assert away.lost_mm2 == pytest.approx(0.0, abs=1e-9)


def test_overlapping_dishes_bound_holds(bench: Bench) -> None:
    """The deepest sum of two dishes on opposite faces is found to within the stated bound.

    Closed form: equal paraboloids of radius R and depth d, centres 2a apart, are deepest together in
    the middle: 2 d (1 - (a/R)^2).
    """
    for x, face in ((440.0, "outer"), (460.0, "inner")):
        bench.remove(
            0.05,
            face=face,
            profile="dished",
            footprint={"type": "Circle", "center": [x, 200], "radius": 20},
        )
    summary = bench.assess().summary
    exact = 2 * 0.05 * (1 - (10.0 / 20.0) ** 2)
    assert summary.deepest is not None
    # The 128-gon's outline differs from the circle by less than 1.3e-3 of the share.
    slack = 2 * 0.05 * 1.3e-3
    assert summary.deepest.removed.value <= exact + slack
    assert summary.deepest.removed.value + summary.cell_error_mm >= exact - slack
    assert summary.cell_error_mm < 0.01 * exact


def test_sliver_overlap_of_flats_is_found(bench: Bench) -> None:
    """Two flat patches on opposite faces that overlap by a hundredth of a cell still sum there."""
    for x0, face in ((100.0, "outer"), (199.99, "inner")):
        ring = [[x0, 100], [x0 + 100, 100], [x0 + 100, 200], [x0, 200]]
        bench.remove(0.07, face=face, footprint={"type": "Polygon", "coordinates": [ring]})
    summary = bench.assess().summary
    assert summary.deepest is not None
    assert summary.deepest.removed.value == pytest.approx(0.14)
    assert summary.verdict is Verdict.OVER


def test_patches_that_only_touch_do_not_sum(bench: Bench) -> None:
    """Two flat patches apart by a hundredth of a millimetre are two patches."""
    for x0, face in ((100.0, "outer"), (200.01, "inner")):
        ring = [[x0, 100], [x0 + 100, 100], [x0 + 100, 200], [x0, 200]]
        bench.remove(0.07, face=face, footprint={"type": "Polygon", "coordinates": [ring]})
    summary = bench.assess().summary
    assert summary.deepest is not None
    assert summary.deepest.removed.value == pytest.approx(0.07)


def test_planned_removals_do_not_count(bench: Bench) -> None:
    """A plan removes no metal."""
    summary = bench.remove(0.5, origin="planned").assess().summary
    assert summary.deepest is None


def test_field_agrees_with_spots(bench: Bench) -> None:
    """The map's field and the ledger's spot tell the same sum."""
    bench.remove(0.05, u=0.002).remove(0.04, profile="dished", face="inner", u=0.003)
    removal = bench.assess().removal
    points = np.array([[450.0, 200.0], [460.0, 205.0], [469.0, 200.0], [10.0, 10.0]])
    field = removal.field(points)
    for number, point in enumerate(points):
        spot = removal.spot((float(point[0]), float(point[1])))
        assert spot.removed.value == pytest.approx(field.removed[number], abs=1e-12)
        assert spot.removed.u == pytest.approx(field.u[number], abs=1e-12)
        assert sum(spot.by_face.values()) == pytest.approx(field.removed[number], abs=1e-12)
    inner = removal.field(points, face=Face.INNER)
    assert inner.removed[0] == pytest.approx(0.04)


def test_shared_gauge_in_the_budget(bench: Bench) -> None:
    """Readings of one gauge on both faces share its systematic part linearly."""
    bench.instruments = [{"id": "DG-2", "u_systematic": 0.002}]
    for face in ("outer", "inner"):
        bench.remove(0.04, face=face)
        bench.removals[-1]["depth"] = {"value": 0.04, "u": 0.001, "instrument": "DG-2"}
    deepest = bench.assess().summary.deepest
    assert deepest is not None
    assert deepest.removed.u == pytest.approx(math.hypot(0.004, 0.001 * math.sqrt(2)))
    assert deepest.removed.budget()["instrument DG-2"] == pytest.approx(0.004)


def test_reading_that_agrees_changes_nothing(bench: Bench) -> None:
    """A thickness reading within the combined uncertainty leaves the entries in force."""
    bench.remove(0.05, u=0.002).read((450, 200), 0.952, 0.005)
    check = bench.assess().summary.readings[0]
    assert check.agrees
    assert check.removed_by_reading == pytest.approx(0.048)
    assert check.removed_by_entries == pytest.approx(0.05)


def test_reading_that_shows_more_governs(bench: Bench) -> None:
    """A thinner reading than the entries explain is flagged, and the larger removal governs."""
    bench.remove(0.05, u=0.002).read((450, 200), 0.85, 0.005)
    summary = bench.assess().summary
    assert summary.deepest is not None
    assert summary.deepest.removed.value == pytest.approx(0.15)
    assert Flag.READING_GOVERNS in summary.deepest.removed.flags
    assert summary.verdict is Verdict.OVER


def test_reading_that_shows_less_is_flagged_only(bench: Bench) -> None:
    """A thicker reading is flagged; the larger removal, by the entries, still governs."""
    bench.remove(0.15, u=0.002).read((450, 200), 0.95, 0.005)
    summary = bench.assess().summary
    assert not summary.readings[0].agrees
    assert Flag.READINGS_DISAGREE in summary.readings[0].spot.removed.flags
    assert summary.readings[0].spot.removed.value == pytest.approx(0.15)
    assert summary.verdict is Verdict.OVER


def test_inches_give_the_same_answer(bench: Bench) -> None:
    """The same member in inches gives the same millimetres."""
    from corrosion.model import in_millimetres  # noqa: PLC0415

    bench.units = "in"
    bench.member |= {"thickness": 0.04, "outline": [[0, 0], [36, 0], [36, 16], [0, 16]]}
    bench.remove(0.003, footprint={"type": "Circle", "center": [10, 8], "radius": 0.5})
    survey = in_millimetres(bench.survey())
    assert survey.removals[0].depth.value == pytest.approx(0.0762)
    assert survey.structure.members[0].thickness == pytest.approx(1.016)


def test_governing_reading_speaks_in_its_bin(bench: Bench) -> None:
    """A bin is not within while a thickness reading in it shows the limit exceeded."""
    bench.remove(0.05, u=0.002).read((450, 200), 0.85, 0.005)
    here = next(b for b in bench.assess().summary.bins if b.start <= 450.0 < b.stop)
    assert here.verdict is Verdict.OVER
    assert here.deepest is not None
    assert here.deepest.removed.value == pytest.approx(0.15)


def test_reasons_speak_the_display_unit(bench: Bench) -> None:
    """An inch survey's reasons are in inches."""
    bench.units = "in"
    bench.member |= {"thickness": 0.04, "outline": [[0, 0], [36, 0], [36, 16], [0, 16]]}
    bench.remove(0.005, footprint={"type": "Circle", "center": [10, 8], "radius": 0.5})
    reasons = assess(bench.survey()).members[0].reasons
    assert "0.0050 in removed is more than the limit of 0.0040 in" in reasons[0]
