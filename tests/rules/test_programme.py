"""Programme levels 1 to 3 from the history of sums: definitions of NASC (2017-01-16), with their gaps."""

from __future__ import annotations

from typing import Any

import pytest

from corrosion.model.planning import ApproachShare, MemberFacts
from corrosion.rules import Inspection, ProgrammeLevel, location_history, programme_level
from corrosion.terms import Verdict
from tests.bench import Bench

MIL = 0.0254
AT = (450.0, 200.0)


def facts(**stated: Any) -> MemberFacts:
    """Facts of the member."""
    return MemberFacts(member="SK1", source="inspector", **stated)


def history(bench: Bench, *steps: tuple[str | None, float]) -> list[Inspection] | None:
    """History of steps that each go deeper from the surface as found."""
    for date, depth in steps:
        bench.remove(depth, measured_from="current", date=date)
    return location_history(bench.assess().removal, AT)


def test_history_has_one_total_per_inspection(bench: Bench) -> None:
    """Three reworks on two days: totals add (0.02 + 0.01, then 0.03 more)."""
    found = history(bench, ("2029-05-01", 0.02), ("2029-05-01", 0.01), ("2031-05-01", 0.03))
    assert found is not None
    assert [one.date for one in found] == ["2029-05-01", "2031-05-01"]
    assert [one.removed for one in found] == pytest.approx([0.03, 0.03])
    assert [one.total for one in found] == pytest.approx([0.03, 0.06])


def test_a_rework_from_the_original_adds_only_what_is_new(bench: Bench) -> None:
    """0.03 below the original after 0.02: the second inspection took 0.01 (closed form)."""
    bench.remove(0.02, date="2029-05-01").remove(0.03, date="2031-05-01")
    found = location_history(bench.assess().removal, AT)
    assert found is not None
    assert [one.removed for one in found] == pytest.approx([0.02, 0.01])


def test_an_undated_removal_has_no_inspection(bench: Bench) -> None:
    """Without a date the history is not known, and so is the level."""
    found = history(bench, (None, 0.02), ("2031-05-01", 0.03))
    assert found is None
    assert programme_level(found, facts(widespread=False)).level is ProgrammeLevel.NOT_DETERMINED


def test_local_and_within_is_level_1(bench: Bench) -> None:
    """The first clause: "local and can be reworked within the allowable limits"."""
    found = history(bench, ("2031-05-01", 0.03))
    assert programme_level(found, facts(widespread=False)).level is ProgrammeLevel.ONE


def test_a_single_rework_beyond_the_limit_is_level_2(bench: Bench) -> None:
    """The first clause of level 2: a single rework exceeds limits."""
    found = history(bench, ("2031-05-01", 0.12))
    assert programme_level(found, facts(widespread=False)).level is ProgrammeLevel.TWO


def test_an_event_not_typical_of_the_fleet_is_level_1(bench: Bench) -> None:
    """Beyond the limit, but local and due to an untypical event such as a mercury spill."""
    stated = facts(widespread=False, unusual_event="mercury spill")
    assert programme_level(history(bench, ("2031-05-01", 0.12)), stated).level is ProgrammeLevel.ONE


def light_inspections(bench: Bench, count: int, each: float) -> list[Inspection] | None:
    """Inspections two years apart."""
    return history(bench, *((f"20{10 + 2 * i}-05-01", each) for i in range(count)))


def test_many_light_reworks_beyond_the_limit_are_level_1(bench: Bench) -> None:
    """Light each time (at most 1 mil), the latest brings the sum to 0.1016 over 0.1 mm: third clause."""
    found = light_inspections(bench, 4, MIL)
    answer = programme_level(found, None)
    assert answer.level is ProgrammeLevel.ONE
    assert "4 inspections" in answer.reasons[0]


def test_the_same_sum_in_one_rework_is_not(bench: Bench) -> None:
    """One grand total would hide the difference: the same 0.1016 mm at once is level 2."""
    found = history(bench, ("2031-05-01", 4 * MIL))
    assert programme_level(found, None).level is ProgrammeLevel.TWO


def test_deeper_reworks_must_be_stated_light(bench: Bench) -> None:
    """0.06 twice: each may or may not have been light corrosion; a person must say so."""
    found = history(bench, ("2029-05-01", 0.06), ("2031-05-01", 0.06))
    assert programme_level(found, None).level is ProgrammeLevel.NOT_DETERMINED
    assert programme_level(found, facts(light_each_time=True)).level is ProgrammeLevel.ONE
    assert programme_level(found, facts(light_each_time=False)).level is ProgrammeLevel.NOT_DETERMINED


@pytest.mark.parametrize(
    ("depth", "share", "level"),
    [(0.095, 0.9, "level 2"), (0.05, 0.9, "not determined"), (0.095, None, "not determined")],
)
def test_widespread_and_approaching_is_level_2(
    bench: Bench, depth: float, share: float | None, level: str
) -> None:
    """Widespread and a single blend-out approaches limits; from which share on, the source does not say."""
    approach = None if share is None else ApproachShare(share=share, source="invented manual, 5")
    found = history(bench, ("2031-05-01", depth))
    assert programme_level(found, facts(widespread=True), approach).level == ProgrammeLevel(level)


def test_urgency_is_for_a_person_to_state(bench: Bench) -> None:
    """Level 3 is never computed; stated, it outranks everything."""
    assert programme_level(history(bench, ("2031-05-01", 0.01)), facts(urgent=True)).level == "level 3"


def test_local_or_widespread_is_not_guessed(bench: Bench) -> None:
    """A photo of one place does not show whether corrosion is local."""
    assert programme_level(history(bench, ("2031-05-01", 0.03)), None).level == "not determined"


def test_doubt_at_the_limit_stays_doubt(bench: Bench) -> None:
    """0.098 +- 0.004 against 0.100 is too close to call, so is the level."""
    bench.remove(0.098, u=0.004, date="2031-05-01")
    found = location_history(bench.assess().removal, AT)
    assert found is not None
    assert found[0].single is Verdict.TOO_CLOSE
    assert programme_level(found, facts(widespread=False)).level == "not determined"
