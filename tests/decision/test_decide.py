"""Repair versus replacement: sums, probabilities, monotony, hidden damage, and what is not determined."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy import stats

from corrosion.decision import (
    CAUTION,
    DecisionResult,
    decide,
    hidden_over_limit,
    pert_mean,
    pert_variance,
    unseen_faces,
)
from corrosion.extremes import largest_unseen
from corrosion.model.decision import Spread
from corrosion.terms import Face, Verdict
from tests.decision.example import EXAMPLE, NONE, decision, scattered, spread, surveyed

WHOLE = surveyed(seen_width=1000.0)
PART = surveyed(pits=scattered(60))


def action(identity: str = "A1", /, **changes: Any) -> dict[str, Any]:
    return {"id": identity, "member": "SK1", "hours": NONE, "money": NONE, "days": NONE} | changes


def new(price: dict[str, float] | None, **changes: Any) -> dict[str, Any]:
    return {"id": "N1", "kind": "new", "price": price, "days": NONE} | changes


def simple(repair: dict[str, float], price: dict[str, float], **changes: Any) -> DecisionResult:
    """Compare one repair bill with one price, everything seen."""
    changed = {"actions": [action(money=repair)], "candidates": [new(price)], "hidden": None} | changes
    return decide(decision(rates={"currency": "EUR"}, **changed), WHOLE)


def test_sums_without_doubt() -> None:
    """Hours, days and money by hand: 10 h at 80, 200 of parts, 5 days at 30; price 900 and 4 h, 2 days."""
    found = decide(
        decision(
            rates={"currency": "EUR", "hour": spread(80), "day": spread(30)},
            actions=[
                action("A1", hours=spread(4), money=spread(150), days=spread(2)),
                action("A2", hours=spread(6), money=spread(50), days=spread(3)),
            ],
            candidates=[
                new(spread(900), days=spread(20), actions=[action("F", hours=spread(4), days=spread(2))])
            ],
            hidden=None,
        ),
        WHOLE,
    )
    repair, part = found.options
    assert repair.hours is not None
    assert repair.money is not None
    assert repair.days is not None
    assert (repair.hours.mean, repair.money.mean, repair.days.mean) == (10, 10 * 80 + 200 + 5 * 30, 5)
    assert part.money is not None
    assert part.money.mean == 900 + 4 * 80 + 22 * 30
    assert part.days is not None
    assert part.days.mean == 22
    only = found.comparisons[0]
    assert only.repair_cheaper is not None
    assert (only.repair_cheaper.value, repair.cheapest, part.cheapest) == (1.0, 1.0, 0.0)
    assert only.break_even is not None
    # 1150 = price + 320 + 660.
    assert only.break_even.price.p50 == pytest.approx(170.0)
    assert found.reasons == []


def test_mean_and_variance_of_a_sum() -> None:
    """Three independent bills: mean and variance add (closed form), to four standard errors."""
    bills = [(10, 20, 60), (100, 100, 180), (0, 50, 60)]
    actions = [action(f"A{i}", money=spread(*b)) for i, b in enumerate(bills)]
    found = decide(
        decision(rates={"currency": "EUR"}, actions=actions, hidden=None, draws=100_000), WHOLE
    ).option("repair")
    parts = [Spread(low=a, likely=m, high=b) for a, m, b in bills]
    mean, variance = sum(map(pert_mean, parts)), sum(map(pert_variance, parts))
    assert found.money is not None
    assert abs(found.money.mean - mean) < 4 * math.sqrt(variance / 100_000)
    assert abs(found.money.sd**2 / variance - 1) < 4 * math.sqrt(2 / 100_000)


def test_hours_times_rate() -> None:
    """Doubtful hours at a doubtful rate: the mean of the bill is the product of the means."""
    hours, rate = Spread(low=10, likely=20, high=60), Spread(low=60, likely=80, high=120)
    found = decide(
        decision(
            rates={"currency": "EUR", "hour": rate.model_dump()},
            actions=[action(hours=hours.model_dump())],
            hidden=None,
            draws=100_000,
        ),
        WHOLE,
    ).option("repair")
    assert found.money is not None
    assert found.money.mean == pytest.approx(pert_mean(hours) * pert_mean(rate), rel=0.005)


@pytest.mark.parametrize("price", [20.0, 40.0, 60.0, 80.0])
def test_probability_against_a_fixed_price(price: float) -> None:
    """A bill of 0, 30, 100 is below a price with the beta distribution's probability (closed form)."""
    found = simple(spread(0, 30, 100), spread(price), draws=100_000).comparisons[0].repair_cheaper
    assert found is not None
    expected = stats.beta.cdf(price / 100, 2.2, 3.8)
    assert abs(found.value - expected) < 4 * math.sqrt(expected * (1 - expected) / 100_000)
    assert found.error == pytest.approx(math.sqrt(expected * (1 - expected) / 100_000), rel=0.1)


def test_equal_bills_are_even() -> None:
    """Two bills of the same doubt: one half within four errors; two equal sums without doubt: exactly."""
    same = simple(spread(0, 30, 100), spread(0, 30, 100), draws=100_000).comparisons[0].repair_cheaper
    assert same is not None
    assert abs(same.value - 0.5) < 4 * 0.5 / math.sqrt(100_000)
    tie = simple(spread(50), spread(50))
    assert tie.comparisons[0].repair_cheaper is not None
    assert tie.comparisons[0].repair_cheaper.value == 0.5
    assert [o.cheapest for o in tie.options] == [0.5, 0.5]


def test_nearly_normal_sums() -> None:
    """Twelve bills against twelve: P = Phi(gain / sd) as for normals, to 0.01 for such sums."""
    ours = [action(f"A{i}", money=spread(0, 40, 100)) for i in range(12)]
    theirs = [action(f"F{i}", money=spread(10, 45, 90)) for i in range(12)]
    found = decide(
        decision(
            rates={"currency": "EUR"},
            actions=ours,
            candidates=[new(NONE, actions=theirs)],
            hidden=None,
            draws=100_000,
        ),
        WHOLE,
    ).comparisons[0]
    a, b = Spread(low=0, likely=40, high=100), Spread(low=10, likely=45, high=90)
    gain = 12 * (pert_mean(b) - pert_mean(a))
    sd = math.sqrt(12 * (pert_variance(a) + pert_variance(b)))
    assert found.repair_cheaper is not None
    assert found.repair_cheaper.value == pytest.approx(stats.norm.cdf(gain / sd), abs=0.01)


def test_two_point_value_of_information() -> None:
    """Repair 500 and, with 30 %, 1000 more, against 700: finding out is worth 140 (closed form)."""
    found = decide(
        decision(
            rates={"currency": "EUR"},
            actions=[
                action(money=spread(500)),
                action("A2", name="new cap", money=spread(1000), needed=0.3),
            ],
            candidates=[new(spread(700))],
            hidden=None,
            draws=100_000,
        ),
        WHOLE,
    )
    assert found.knowing_everything == pytest.approx(140.0, abs=1.5)
    assert [m.group for m in found.measurements] == ["repair: whether new cap (A2) is needed"]
    assert found.measurements[0].value == pytest.approx(140.0, abs=1.5)
    assert found.measurements[0].remedy == "Find out whether new cap (A2) is needed."
    assert found.drivers[0].variance_share == pytest.approx(1.0)
    assert found.drivers[0].correlation == pytest.approx(1.0)
    assert found.noise < 1.5


def test_drivers_point_the_right_way() -> None:
    """What makes the repair dearer speaks against it; what makes the part dearer speaks for it."""
    found = simple(spread(0, 50, 100), spread(40, 60, 90))
    assert [d.name for d in found.drivers] == ["repair: A1, money", "N1: price"]
    assert found.drivers[0].correlation > 0.8
    assert found.drivers[1].correlation < -0.3
    shares = [d.variance_share for d in found.drivers]
    a, b = (pert_variance(Spread(low=x, likely=y, high=z)) for x, y, z in ((0, 50, 100), (40, 60, 90)))
    assert shares == pytest.approx([a / (a + b), b / (a + b)], abs=0.02)


def test_break_even_price() -> None:
    """A part that costs 200 to fit breaks even at the repair bill less 200, above the stated price."""
    found = simple(
        spread(700, 800, 900),
        spread(500),
        candidates=[new(spread(500), actions=[action("F", money=spread(200))])],
    )
    even = found.comparisons[0].break_even
    assert even is not None
    assert even.price.mean == pytest.approx(600, abs=2)
    assert even.price.p5 > 500
    assert even.stated_below == 1.0


prices = st.tuples(st.floats(100, 2000), st.floats(0, 500), st.floats(0, 500)).map(
    lambda t: (t[0], t[0] + t[1], t[0] + t[1] + t[2])
)


@settings(max_examples=20, deadline=None)
@given(price=prices, dearer=st.floats(0, 800), seed=st.integers(0, 1000))
def test_a_dearer_part_never_speaks_against_repair(
    price: tuple[float, float, float], dearer: float, seed: int
) -> None:
    """A dearer part never makes repair less likely cheaper, a dearer repair never more likely."""
    bill = (300.0, 900.0, 1500.0)
    changes = {"draws": 1000, "seed": seed}
    base = simple(spread(*bill), spread(*price), **changes).comparisons[0].repair_cheaper
    more = (
        simple(spread(*bill), spread(*(p + dearer for p in price)), **changes).comparisons[0].repair_cheaper
    )
    work = (
        simple(spread(*(b + dearer for b in bill)), spread(*price), **changes).comparisons[0].repair_cheaper
    )
    assert base is not None
    assert more is not None
    assert work is not None
    assert work.value <= base.value <= more.value


@settings(max_examples=10, deadline=None)
@given(factor=st.floats(0.01, 100))
def test_the_currency_does_not_matter(factor: float) -> None:
    """All money times a factor: the probabilities stay, sums and values of information scale."""

    def scaled(a: float, b: float, c: float) -> dict[str, float]:
        return spread(a * factor, b * factor, c * factor)

    one = simple(spread(300, 900, 1500), spread(500, 800, 1200), draws=2000)
    other = simple(scaled(300, 900, 1500), scaled(500, 800, 1200), draws=2000)
    assert one.comparisons[0].repair_cheaper == other.comparisons[0].repair_cheaper
    assert other.knowing_everything == pytest.approx(factor * (one.knowing_everything or 0))


def test_the_seed_gives_the_digits() -> None:
    """The same seed repeats every digit; another seed does not."""
    first, again, other = (decide(decision(seed=s), PART, {"S1": PART}) for s in (7, 7, 8))
    assert first.comparisons == again.comparisons
    assert first.measurements == again.measurements
    assert first.comparisons != other.comparisons
    assert (first.seed, first.draws) == (7, 20_000)


def test_adding_an_action_shifts_and_nothing_else() -> None:
    """A bill of 100 more without doubt shifts every draw by exactly 100."""
    base = decide(decision(), PART, {"S1": PART}).option("repair").totals.money
    actions = [*EXAMPLE["actions"], action("A3", money=spread(100))]
    more = decide(decision(actions=actions), PART, {"S1": PART}).option("repair").totals.money
    assert base is not None
    assert more is not None
    assert more - base == pytest.approx(np.full(20_000, 100.0), abs=1e-6)


def test_hidden_findings_follow_the_seen_ones() -> None:
    """60 pits on 60 % of a face: the rest has (60 + 1/2) 40/60 on average, of negative binomial spread.

    Poisson with a gamma rate of shape n + 1/2: mean m = (n + 1/2) r, variance m + m^2 / (n + 1/2).
    """
    found = decide(
        decision(
            rates={"currency": "EUR"},
            actions=[action()],
            hidden={"hours": NONE, "money": spread(1), "days": NONE},
            draws=100_000,
        ),
        PART,
    ).option("repair")
    mean = 60.5 * 40 / 60
    variance = mean + mean**2 / 60.5
    assert found.money is not None
    assert abs(found.money.mean - mean) < 4 * math.sqrt(variance / 100_000)
    assert found.money.sd**2 == pytest.approx(variance, rel=0.03)


def test_worse_hidden_places_cost_more() -> None:
    """Where the unseen area is said to be three times as bad, three times the findings are expected."""
    hidden = {"hours": NONE, "money": spread(1), "days": NONE}
    means = []
    for worse in (1, 3):
        result = decide(
            decision(
                rates={"currency": "EUR"}, actions=[action()], hidden=hidden | {"worse": spread(worse)}
            ),
            PART,
        ).option("repair")
        assert result.money is not None
        means.append(result.money.mean)
    assert means[1] / means[0] == pytest.approx(3.0, rel=0.02)


def test_a_number_stated_replaces_the_survey() -> None:
    """The user's own number of hidden findings is used as it is."""
    hidden = {"hours": NONE, "money": spread(10), "days": NONE, "findings": spread(7)}
    found = decide(decision(rates={"currency": "EUR"}, actions=[action()], hidden=hidden), PART)
    assert found.options[0].money is not None
    assert found.options[0].money.mean == 70.0


def test_unseen_is_not_clean() -> None:
    """Part unseen and no work on hidden findings stated: not determined, instead of free of charge."""
    found = decide(decision(hidden=None), PART, {"S1": PART})
    assert found.option("repair").money is None
    assert any("repair: the work on a hidden finding is not stated" in r for r in found.reasons)
    seen = decide(decision(hidden=None), WHOLE, {"S1": WHOLE})
    assert seen.option("repair").money is not None


def test_a_blind_face_borrows_the_rate_of_the_seen_ones_and_says_so() -> None:
    """Nothing seen of the inner face: the rate of the outer one stands in, with a note."""
    blind = surveyed(pits=[], seen_width=0.0)
    found = decide(decision(), blind, {"S1": WHOLE}).option("repair")
    assert found.money is not None
    assert any("nothing was seen of SK1, inner face" in note for note in found.notes)


def test_the_survey_decides_how_likely_a_hidden_pit_is_too_deep() -> None:
    """The probability is that of the block maxima at the member's limit; with a stated one, the stated."""
    probability, reason = hidden_over_limit(PART, "SK1", decision().hidden)
    assert reason == ""
    inner = PART.members[0].coverage[Face.INNER]
    direct = largest_unseen(PART.findings, inner, "SK1", side_mm=100, least_depth_mm=0.02)
    assert probability == pytest.approx(direct.probability_over(0.3))
    assert probability is not None
    assert 0.05 < probability < 0.95
    deep = action("A2", money=spread(1000), if_hidden_over=True)
    for changes, expected in (({}, probability), ({"needed": 0.5}, 0.5)):
        hidden = EXAMPLE["hidden"] | {"hours": NONE, "money": NONE, "days": NONE}
        found = decide(
            decision(rates={"currency": "EUR"}, actions=[deep | changes], hidden=hidden, draws=100_000),
            PART,
        ).option("repair")
        assert found.money is not None
        error = 1000 * math.sqrt(expected * (1 - expected) / 100_000)
        assert abs(found.money.mean - 1000 * expected) < 4 * error


def test_a_looser_limit_is_less_likely_exceeded() -> None:
    """The deeper the limit, the less likely a hidden pit beats it."""
    found = [
        hidden_over_limit(surveyed(pits=scattered(60), limit=x), "SK1", None)[0] for x in (0.1, 0.2, 0.4)
    ]
    known = [p for p in found if p is not None]
    assert len(known) == 3
    assert known == sorted(known, reverse=True)


REASONS: list[tuple[dict[str, Any], str]] = [
    ({"actions": []}, "repair: no action is stated"),
    ({"actions": [action(hours=None)]}, "repair: A1 states no hours"),
    ({"actions": [action(money=None)]}, "repair: A1 states no money"),
    (
        {"actions": [action(hours=spread(3))], "rates": {"currency": "EUR"}},
        "money for an hour of work is not stated",
    ),
    ({"actions": [action(member="SK9")]}, "names member 'SK9', which the survey does not have"),
    (
        {"hidden": EXAMPLE["hidden"] | {"money": None}},
        "repair: work per hidden finding / place states no money",
    ),
]


@pytest.mark.parametrize(("changes", "reason"), REASONS)
def test_what_is_missing_is_not_determined(changes: dict[str, Any], reason: str) -> None:
    """A sum with a gap is no sum: the money is not determined and the reason names the gap."""
    found = decide(decision(**changes), PART, {"S1": PART})
    assert found.option("repair").money is None
    assert any(reason in r for r in found.reasons)
    assert all(c.repair_cheaper is None and c.break_even is None for c in found.comparisons)
    assert found.drivers == []


def test_missing_days_leave_the_money() -> None:
    """Without days and without a price of days, the money is known and the time is not."""
    found = decide(
        decision(rates={"currency": "EUR"}, actions=[action(days=None)], hidden=None), WHOLE
    ).option("repair")
    assert (found.money is None, found.days is None) == (False, True)
    priced = decide(
        decision(rates={"currency": "EUR", "day": spread(10)}, actions=[action(days=None)], hidden=None),
        WHOLE,
    ).option("repair")
    assert priced.money is None


def test_candidates_have_their_own_reasons() -> None:
    """No price, no lead time, no survey of a second-hand part: each is named, the others still compared."""
    candidates = [
        new(spread(500)),
        new(None, id="N2"),
        new(spread(500), id="N3", days=None),
        new(spread(500), id="S2", kind="second-hand"),
        new(spread(500), id="S3", kind="second-hand", hidden_findings=spread(0, 2, 5)),
    ]
    hidden = {"hours": NONE, "money": spread(5), "days": NONE}
    actions = [action(money=spread(400))]
    found = decide(
        decision(rates={"currency": "EUR"}, actions=actions, candidates=candidates, hidden=hidden), WHOLE
    )
    known = {o.id: (o.money is not None, o.days is not None) for o in found.options}
    assert known == {
        "repair": (True, True),
        "N1": (True, True),
        "N2": (False, True),
        "N3": (True, False),
        "S2": (False, False),
        "S3": (True, True),
    }
    assert any("S2: it has no survey" in r for r in found.reasons)
    assert sum(o.cheapest or 0.0 for o in found.options) == pytest.approx(1.0)


def test_a_second_hand_part_is_judged_by_its_own_survey() -> None:
    """Its unseen area adds to its bill; over its limit without an action it is not determined."""
    clean, dirty = surveyed(seen_width=1000.0), surveyed(pits=scattered(60), seen_width=600.0)
    bills = [decide(decision(), PART, {"S1": own}).option("S1").money for own in (clean, dirty)]
    assert bills[0] is not None
    assert bills[1] is not None
    assert bills[0].mean < bills[1].mean
    over = decide(decision(), PART, {"S1": surveyed(seen_width=1000.0, verdict=Verdict.OVER)})
    assert over.option("S1").money is None
    assert "S1: SK1 is over its limit and no action names it." in over.reasons


def test_a_member_over_its_limit_needs_an_action() -> None:
    """The repair bill is not determined as long as an over-limit member has nothing planned."""
    over = surveyed(seen_width=1000.0, verdict=Verdict.OVER)
    without = decide(decision(actions=[action(member=None)], hidden=None), over)
    assert without.option("repair").money is None
    assert decide(decision(actions=[action()], hidden=None), over).option("repair").money is not None
    unsure = surveyed(seen_width=1000.0, verdict=Verdict.NOT_DETERMINED)
    noted = decide(decision(actions=[action(member=None)], hidden=None), unsure).option("repair")
    assert noted.money is not None
    assert any("no action names SK1" in note for note in noted.notes)


def test_no_candidate_is_said() -> None:
    """With nothing to compare with, the repair's own sums stand and the reason is given."""
    found = decide(decision(candidates=[]), PART)
    assert found.option("repair").money is not None
    assert "There is no candidate to compare the repair with." in found.reasons
    assert (found.knowing_everything, found.measurements) == (None, [])


def test_unknown_limits_are_reasons() -> None:
    """No limit, no such member, too few pits: the probability is not made up."""
    assert (
        hidden_over_limit(surveyed(pits=scattered(60), limit=None), "SK1", None)[1]
        == "SK1 has no limit set."
    )
    assert "no member 'SK9'" in hidden_over_limit(PART, "SK9", None)[1]
    assert "needs 10" in hidden_over_limit(surveyed(pits=scattered(4)), "SK1", None)[1]
    deep = action("A2", money=spread(1000), if_hidden_over=True)
    found = decide(decision(actions=[deep]), surveyed(pits=scattered(4)))
    assert any("State 'needed' to go on." in r for r in found.reasons)


def test_unseen_faces_of_the_example() -> None:
    """Both faces are listed with what was seen and found on them."""
    inner = next(f for f in unseen_faces(PART) if f.face is Face.INNER)
    assert (inner.seen_mm2, inner.unseen_mm2, inner.findings) == (240_000, 160_000, 60)


def test_it_informs_and_releases_nothing() -> None:
    """The caution goes with the result, and no text of it says airworthy."""
    found = decide(decision(), PART, {"S1": PART})
    texts = [found.caution, *found.notes, *found.reasons, *(m.remedy for m in found.measurements)]
    assert found.caution == CAUTION
    assert "approves no repair" in CAUTION
    assert not any("airworth" in text.lower() for text in texts)


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"actions": [action(), action()]}, "occurs more than once"),
        ({"actions": [action(money=spread(5, 3, 9))]}, "not in this order"),
        ({"actions": [action(money={"low": -1, "likely": 0, "high": 1})]}, "greater than or equal to 0"),
        ({"actions": [action(member=None, if_hidden_over=True)]}, "needs the 'member'"),
        ({"candidates": [new(NONE, id="repair")]}, "cannot be called 'repair'"),
        ({"candidates": [new(NONE), new(NONE)]}, "occurs more than once"),
        ({"correlation": 1.0}, "less than 1"),
        ({"rates": {}}, "currency"),
        ({"seed": -1}, "greater than or equal to 0"),
    ],
)
def test_the_file_part_refuses_nonsense(changes: dict[str, Any], match: str) -> None:
    """Estimates out of order, repeated ids, impossible settings: refused where the file is read."""
    with pytest.raises(ValidationError, match=match):
        decision(**changes)
