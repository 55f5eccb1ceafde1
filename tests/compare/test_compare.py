"""Two surveys through the whole chain: what became of every finding, and when a limit may be reached."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from corrosion.carry import carry_forward
from corrosion.compare import Change, Comparison, FindingChange, Reach, Shown, compare, compare_all
from corrosion.errors import CompareError
from corrosion.model import parse_survey
from corrosion.survey import assess
from corrosion.terms import Flag
from tests.compare.scenes import (
    GAUGE,
    MEMBER,
    SOURCE,
    depth,
    document,
    look,
    mark,
    photo,
    rss,
    years_between,
)

THEN, NOW = "2031-04-17", "2033-10-02"
YEARS = years_between(THEN, NOW)
Z = 1.959963984540054
AT = (230.0, 170.0)


def only(comparison: Comparison) -> FindingChange:
    """Give the one row of a comparison."""
    (row,) = comparison.findings
    return row


def grown(first: dict[str, Any], second: dict[str, Any], **parts: Any) -> FindingChange:
    """Compare one pit with two depth readings."""
    earlier = look(THEN, mark("P1", AT, 4, first), **parts)
    return only(compare(earlier, look(NOW, mark("Q7", AT, 4, second), **parts)))


def test_a_survey_against_itself_finds_everything_unchanged() -> None:
    """The same marks and readings at a later date are all unchanged: nothing grew, came off or is new."""
    marks = [
        mark("P1", AT, 4, depth(0.1)),
        mark("P2", (236, 170), 2, depth(0.2)),
        mark("B1", (260, 160), 12, depth(0.15), kind="blend-out"),
        mark("A1", (280, 180), 15, kind="affected"),
    ]
    comparison = compare(look(THEN, *marks), look(NOW, *marks))
    assert comparison.counts() == {Change.UNCHANGED: 4}
    assert all(row.earlier[0].id == row.later.id for row in comparison.findings if row.later)
    growths = [g for row in comparison.findings for g in row.growths]
    assert {g.difference.value for g in growths} == {0.0}
    (member,) = comparison.members
    assert member.most is not None
    assert (member.most.value, member.missing, member.volume.value) == (0.0, (), 0.0)
    assert comparison.problems == []


def test_depth_growth_drops_the_systematic_part_of_one_gauge() -> None:
    """0.10 to 0.22 mm, u 0.01 each and one gauge: 0.12 mm with u = 0.01 sqrt 2 (JCGM 100:2008, 5.1.2)."""
    row = grown(depth(0.10), depth(0.22))
    growth = row.growth("depth")
    assert growth is not None
    assert row.change is Change.GROWN
    assert growth.difference.value == pytest.approx(0.12)
    assert growth.difference.u == pytest.approx(rss(0.01, 0.01))
    assert growth.cancelled == ("DG-2",)
    assert growth.per_year.value == pytest.approx(0.12 / YEARS)
    reach = Z * rss(0.01, 0.01)
    assert growth.interval == pytest.approx(((0.12 - reach) / YEARS, (0.12 + reach) / YEARS))


def test_a_gauge_calibrated_in_between_shares_nothing() -> None:
    """With another calibration date both systematic parts stay in: u = 0.01 x 2, and a problem says so."""
    earlier = look(THEN, mark("P1", AT, 4, depth(0.10)))
    later = look(NOW, mark("P1", AT, 4, depth(0.22)), instruments=[GAUGE | {"calibrated": "2032-05-05"}])
    comparison = compare(earlier, later)
    growth = only(comparison).growth("depth")
    assert growth is not None
    assert growth.difference.u == pytest.approx(rss(0.01, 0.01, 0.01, 0.01))
    assert growth.cancelled == ()
    assert any("calibrated in between" in one for one in comparison.problems)


def test_photos_of_equal_name_share_nothing() -> None:
    """Photo f1 of one survey is not f1 of the other: area errors add in quadrature, they do not cancel."""
    earlier, later = look(THEN, mark("P1", AT, 4)), look(NOW, mark("P1", AT, 4))
    growth = only(compare(earlier, later)).growth("area")
    u = earlier.findings[0].quantities["area"].u
    assert growth is not None
    assert growth.difference.u == pytest.approx(rss(u, u))


@pytest.mark.parametrize(
    ("second", "shown", "change"),
    [
        (0.100, Shown.UNCHANGED, Change.UNCHANGED),
        (0.114, Shown.UNCHANGED, Change.UNCHANGED),
        (0.115, Shown.WITHIN_NOISE, Change.WITHIN_NOISE),
        (0.127, Shown.WITHIN_NOISE, Change.WITHIN_NOISE),
        (0.128, Shown.LARGER, Change.GROWN),
        (0.072, Shown.SMALLER, Change.SMALLER),
    ],
)
def test_significance_is_judged_at_the_stated_level(second: float, shown: Shown, change: Change) -> None:
    """The difference has u = 0.01414 mm: up to u unchanged, up to 1.96 u = 0.0277 mm noise, then grown."""
    row = grown(depth(0.100), depth(second))
    growth = row.growth("depth")
    assert growth is not None
    assert (growth.shown, row.change) == (shown, change)


def test_bounds_stay_bounds() -> None:
    """At least 0.3 after 0.1 mm is growth of at least 0.2; two bounds of one sense say nothing."""
    at_least = grown(depth(0.1), depth(0.3, relation=">="))
    growth = at_least.growth("depth")
    assert growth is not None
    assert (growth.shown, growth.interval[1]) == (Shown.LARGER, None)
    assert Flag.LOWER_BOUND in growth.difference.flags
    assert at_least.forecast is not None
    assert (at_least.forecast.reach, at_least.forecast.earliest) == (Reach.NO_LATER, None)
    at_most = grown(depth(0.1, relation=">="), depth(0.2)).growth("depth")
    assert at_most is not None
    assert (at_most.shown, at_most.interval[0]) == (Shown.NOT_DETERMINED, None)
    assert Flag.UPPER_BOUND in at_most.difference.flags
    nothing = grown(depth(0.1, relation=">="), depth(0.3, relation=">="))
    both = nothing.growth("depth")
    assert both is not None
    assert (both.shown, both.interval) == (Shown.NOT_DETERMINED, (None, None))
    assert nothing.forecast is not None
    assert (nothing.forecast.reach, nothing.forecast.latest) == (Reach.NO_DATE, None)


def test_the_limit_date_is_an_interval_that_random_draws_confirm() -> None:
    """Limit 0.5 - 0.22 left, 0.12 grown: the interval is where the drawn true time would fall, by Fieller.

    Independent check: at both ends, draws of (left - t rate) from the readings' own errors have their mean
    exactly z standard deviations off zero (numpy, 400 000 draws; tolerance over four sampling errors).
    """
    import numpy as np  # noqa: PLC0415

    ahead = grown(depth(0.10), depth(0.22)).forecast
    assert ahead is not None
    assert ahead.reach is Reach.BETWEEN
    assert ahead.left is not None
    assert ahead.left.value == pytest.approx(0.28)
    rng = np.random.default_rng(11)
    n = 400_000
    gauge = rng.normal(0, 0.01, n)
    first, second = 0.10 + rng.normal(0, 0.01, n) + gauge, 0.22 + rng.normal(0, 0.01, n) + gauge
    for end in ahead.years:
        assert end is not None
        off = (0.5 - second) - end * (second - first) / YEARS
        assert abs(off.mean()) / off.std() == pytest.approx(Z, abs=0.02)
    assert ahead.earliest is not None
    assert ahead.latest is not None
    low, high = ((day - dt.date.fromisoformat(NOW)).days / 365.25 for day in (ahead.earliest, ahead.latest))
    # Whole days, rounded outwards.
    assert ahead.years[0] is not None
    assert ahead.years[1] is not None
    assert low <= ahead.years[0] < low + 1 / 365.25
    assert high - 1 / 365.25 < ahead.years[1] <= high


def test_growth_that_is_not_established_gives_no_date() -> None:
    """With zero inside the rate's interval there is no date, only "not before" at the fastest growth."""
    ahead = grown(depth(0.100), depth(0.115)).forecast
    assert ahead is not None
    assert ahead.reach is Reach.NO_DATE
    assert ahead.latest is None
    assert ahead.earliest is not None
    assert "growth is not established" in ahead.reason


def test_earlier_removal_and_allowance_count_against_the_limit() -> None:
    """0.2 mm removed before and 0.03 mm allowance leave 0.5 - 0.2 - 0.03 - 0.22 = 0.05 mm of growth."""
    removal = {
        "id": "R1", "member": "SK1", "face": "inner", "measured_from": "original", "date": "2020-01-01",
        "footprint": {"type": "Circle", "center": list(AT), "radius": 20.0},
        "depth": {"value": 0.2, "u": 0.0},
    }  # fmt: skip
    planning = {"allowance": {"depth": 0.03, "source": SOURCE}}
    ahead = grown(depth(0.10), depth(0.22), removals=[removal], planning=planning).forecast
    assert ahead is not None
    assert ahead.left is not None
    assert ahead.left.value == pytest.approx(0.05)
    assert ahead.allowance == 0.03
    over = grown(depth(0.10), depth(0.30), removals=[removal], planning=planning).forecast
    assert over is not None
    assert over.reach is Reach.REACHED


def test_the_zone_with_the_smallest_limit_governs() -> None:
    """A pit half in a zone of 0.3 mm has 0.3 - 0.22 = 0.08 mm left, not the member's 0.28."""
    zone = {
        "id": "row",
        "outline": [[231, 100], [300, 100], [300, 200], [231, 200]],
        "limit": {"depth": 0.3, "source": SOURCE},
    }
    structure = {"name": "Stabilizer, left", "members": [MEMBER | {"limit_zones": [zone]}]}
    ahead = grown(depth(0.10), depth(0.22), structure=structure).forecast
    assert ahead is not None
    assert ahead.left is not None
    assert ahead.left.value == pytest.approx(0.08)


def test_no_limit_and_light_readings_give_no_date() -> None:
    """Without a limit, or from shadows, there is a reason in place of a date."""
    bare = {"name": "Stabilizer, left", "members": [{k: v for k, v in MEMBER.items() if k != "limit"}]}
    unlimited = grown(depth(0.10), depth(0.22), structure=bare).forecast
    assert unlimited is not None
    assert (unlimited.reach, unlimited.reason) == (Reach.NO_DATE, "no date: no limit is set there")
    shadow = grown(depth(0.10), depth(0.22, method="shadow")).forecast
    assert shadow is not None
    assert (shadow.reach, shadow.earliest) == (Reach.NO_DATE, None)


def test_what_was_not_photographed_is_not_gone() -> None:
    """A pit off the later photo is not seen, on it unmarked not found; its edge is not claimed as seen."""
    pits = [mark("P1", AT, 3), mark("P2", (280, 150), 3), mark("P3", (248.4, 180), 3)]
    earlier = look(THEN, *pits)
    half = photo([mark("C1", AT, 8, kind="clear")], size=[502, 700])
    half["placement"]["image"] = [[0, 0], [500, 0], [500, 600], [0, 600]]
    half["placement"]["layout"] = [[200, 200], [250, 200], [250, 140], [200, 140]]
    later = assess(parse_survey(document(NOW, [half])))
    found = {row.earlier[0].id: row for row in compare(earlier, later).findings}
    assert found["f1/P1"].change is Change.NOT_FOUND
    assert found["f1/P1"].notes == ("marked as clear: f1/C1",)
    assert found["f1/P2"].change is Change.NOT_SEEN
    assert found["f1/P3"].change is Change.NOT_SEEN
    backwards = {
        r.later.id: r.change for r in compare(look("2029-01-01", *pits[:2]), earlier).findings if r.later
    }
    assert backwards["f1/P3"] is Change.NEW
    first = assess(parse_survey(document("2029-01-01", [half])))
    ahead = {r.later.id: r.change for r in compare(first, earlier).findings if r.later}
    assert ahead == {"f1/P1": Change.NEW, "f1/P2": Change.FIRST_SEEN, "f1/P3": Change.FIRST_SEEN}


def test_blended_merged_and_unplaced_are_told_apart() -> None:
    """A pit under a new blend-out is blended, two in one outline merged; off the layout is not placed."""
    earlier = look(
        THEN,
        mark("P1", (270, 160), 3, depth(0.1)),
        mark("P2", (240, 150), 3, depth(0.10)),
        mark("P3", (243.2, 150), 3, depth(0.12)),
    )
    loose = photo([mark("X", AT, 2)], "f2")
    del loose["placement"]
    marks = [
        mark("B1", (270, 160), 12, depth(0.2), kind="blend-out"),
        mark("M", (241.6, 150), 8, depth(0.2)),
    ]
    comparison = compare(earlier, assess(parse_survey(document(NOW, [photo(marks), loose]))))
    by_key = {row.key: row for row in comparison.findings}
    assert by_key["earlier:f1/P1"].change is Change.BLENDED
    joined = by_key["later:f1/M"]
    assert joined.change is Change.MERGED
    assert {one.id for one in joined.earlier} == {"f1/P2", "f1/P3"}
    area, deep = joined.growth("area"), joined.growth("depth")
    assert area is not None
    assert deep is not None
    assert area.difference.value == pytest.approx(64.0 - 9.0 - 9.0)
    assert deep.difference.value == pytest.approx(0.2 - 0.12)
    assert by_key["later:f2/X"].change is Change.NOT_PLACED
    (member,) = comparison.members
    assert member.most is not None
    assert member.most.value == pytest.approx(0.2)


def test_removal_is_the_sum_now_minus_the_sum_then() -> None:
    """A blend-out carried over cancels; the new one is what came off; one that is lost is named."""
    old = mark("B1", (230, 170), 12, depth(0.15), kind="blend-out")
    new = mark("B2", (270, 160), 12, depth(0.06, 0.003), kind="blend-out", date=NOW)
    then = look(THEN, old)
    (kept,) = compare(then, look(NOW, old | {"date": THEN}, new)).members
    assert kept.most is not None
    assert kept.at is not None
    assert kept.most.value == pytest.approx(0.06)
    assert kept.most.u == pytest.approx(rss(0.003, 0.01))
    assert 264 <= kept.at[0] <= 276
    assert (kept.missing, kept.least) == ((), None)
    (lost,) = compare(then, look(NOW, new)).members
    assert lost.missing == ("f1/B1",)
    assert lost.least is not None
    assert lost.least.value == pytest.approx(-0.15)


def test_what_is_known_twice_is_known_once() -> None:
    """Where only a carried blend-out lies nothing came off, exactly: it is one reading, not two."""
    old = mark("B1", (230, 170), 12, depth(0.15), kind="blend-out")
    (member,) = compare(look(THEN, old), look(NOW, old | {"date": THEN})).members
    assert member.most is not None
    assert (member.most.value, member.most.u) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: compare(look(None), look(NOW)), "has no date"),
        (lambda: compare(look(NOW), look(NOW)), "no time passed"),
        (lambda: compare(look(NOW), look(THEN)), "wrong order"),
        (lambda: compare(look(THEN), look(NOW), level=1.5), "not between 0 and 1"),
        (lambda: compare_all([look(THEN)]), "nothing to compare"),
        (
            lambda: compare(
                look(THEN),
                assess(
                    parse_survey(
                        document(NOW, [], structure={"name": "Fin", "members": [MEMBER | {"id": "FN1"}]})
                    )
                ),
            ),
            "no member in common",
        ),
    ],
)
def test_what_cannot_be_compared_is_refused_with_the_reason(make: Callable[[], object], words: str) -> None:
    """Missing, equal or reversed dates, another structure and a senseless level are clear errors."""
    with pytest.raises(CompareError, match=words) as refused:
        make()
    assert refused.value.remedy


def test_three_surveys_are_compared_step_by_step_and_over_all() -> None:
    """Three surveys in order of date give two steps and the whole span."""
    looks = [
        look(f"{year}-01-01", mark("P1", AT, 4, depth(d)))
        for year, d in ((2030, 0.1), (2031, 0.15), (2033, 0.3))
    ]
    steps = compare_all(looks)
    assert [(s.earlier_date.year, s.later_date.year) for s in steps] == [
        (2030, 2031),
        (2031, 2033),
        (2030, 2033),
    ]
    rates = [only(s).growth("depth") for s in steps]
    assert [round(g.difference.value, 3) for g in rates if g] == [0.05, 0.15, 0.2]


def test_inches_and_millimetres_compare_alike() -> None:
    """A survey entered in inches (25.4 mm, exact) against one in mm gives the same growth."""
    from tests.compare.scenes import in_inches  # noqa: PLC0415

    marks = [mark("P1", AT, 4, depth(0.10))]
    inches = assess(parse_survey(in_inches(document(THEN, [photo(marks)]))))
    row = only(compare(inches, look(NOW, mark("P1", AT, 4, depth(0.22)))))
    growth = row.growth("depth")
    assert growth is not None
    assert growth.difference.value == pytest.approx(0.12)


def test_a_blend_out_that_is_only_on_record_now_is_not_missed() -> None:
    """A survey that carries the old blend-out as a removal record says so, and nothing came off there."""
    then = look(THEN, mark("B1", (230, 170), 12, depth(0.15), kind="blend-out"))
    corners = [[224, 164], [236, 164], [236, 176], [224, 176]]
    record = {
        "id": "B1", "member": "SK1", "face": "outer", "measured_from": "original", "date": THEN,
        "footprint": {"type": "Polygon", "coordinates": [corners]},
        "depth": {"value": 0.15, "u": 0.01, "instrument": "DG-2"},
    }  # fmt: skip
    comparison = compare(then, look(NOW, removals=[record]))
    assert only(comparison).change is Change.ON_RECORD
    (member,) = comparison.members
    assert member.most is not None
    assert (member.most.value, member.missing) == (pytest.approx(0.0, abs=1e-12), ())


def test_a_carried_history_loses_nothing_and_blends_nothing() -> None:
    """The next survey's carried records match the old blend-outs; one of unknown place blends no pit.

    `corrosion.carry` lets a blend-out that is not placed stand for the whole member at "at least nothing".
    """
    loose = photo([mark("B9", (260, 160), 12, depth(0.1), kind="blend-out")], "f2")
    del loose["placement"]
    # As large as it may be on the photo: the sums over the whole member are then quick.
    blend = mark("B1", AT, 40, depth(0.15), kind="blend-out")
    old = document(
        THEN,
        [photo([blend, mark("P1", (280, 160), 3)]), loose],
    )
    then = assess(parse_survey(old))
    carried = carry_forward(then, parse_survey(old), source="Look", until=THEN)
    removals = [one.model_dump(mode="json", exclude_none=True) for one in carried.removals]
    now = assess(parse_survey(document(NOW, [], removals=removals)))
    comparison = compare(then, now)
    changes = {row.key: row.change for row in comparison.findings}
    assert changes["earlier:f1/B1"] is Change.ON_RECORD
    assert changes["earlier:f1/P1"] is Change.NOT_SEEN
    (member,) = comparison.members
    assert (member.missing, member.least) == ((), None)


def test_a_blend_out_without_a_depth_still_blends_and_an_old_record_does_not() -> None:
    """A new mark without a depth over a pit says blended; a record older than the pit does not."""
    then = look(THEN, mark("P1", (230, 170), 3, depth(0.1)), mark("P2", (270, 160), 3, depth(0.1)))
    corners = [[262, 152], [278, 152], [278, 168], [262, 168]]
    record = {
        "id": "R1", "member": "SK1", "face": "outer", "measured_from": "original", "date": "2020-01-01",
        "footprint": {"type": "Polygon", "coordinates": [corners]}, "depth": {"value": 0.15, "u": 0.01},
    }  # fmt: skip
    now = look(NOW, mark("B1", (230, 170), 12, kind="blend-out", measured_from=None), removals=[record])
    changes = {row.key: row.change for row in compare(then, now).findings}
    assert changes["earlier:f1/P1"] is Change.BLENDED
    assert changes["earlier:f1/P2"] is Change.NOT_FOUND


def test_a_pit_in_an_old_blend_out_is_blended_only_when_that_is_ground_deeper() -> None:
    """0.10 mm then and 0.10 now leave the pit unexplained; 0.25 now has taken it away."""
    old = mark("B1", AT, 12, depth(0.10), kind="blend-out")
    then = look(THEN, old, mark("P1", AT, 3, depth(0.05)))
    same = {row.key: row.change for row in compare(then, look(NOW, old)).findings}
    assert same["earlier:f1/P1"] is Change.NOT_FOUND
    deeper = look(NOW, mark("B1", AT, 12, depth(0.25), kind="blend-out"))
    assert {r.key: r.change for r in compare(then, deeper).findings}["earlier:f1/P1"] is Change.BLENDED
