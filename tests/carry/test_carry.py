"""The sum per place goes on: what the next survey starts with is what the old one ended with."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corrosion.carry import carry_forward
from corrosion.model import SurveyFile, dump_survey, parse_survey
from corrosion.survey import assess, member_removal
from corrosion.terms import Face, Flag, MeasuredFrom, Origin, Relation, Verdict

MEMBER = {
    "id": "SK1",
    "kind": "skin",
    "zone": "334",
    "material": "2024-T3 clad",
    "thickness": 1.0,
    "outline": [[0, 0], [300, 0], [300, 300], [0, 300]],
    "limit": {"fraction": 0.1, "source": "invented scheme RS-12, 4"},
}
SCALE = {"kind": "bar", "image": [[0, 0], [200, 0]], "length": 200.0, "u_length": 0.1}
GRID = np.stack(np.meshgrid(np.linspace(52, 298, 25), np.linspace(2, 298, 30)), axis=-1).reshape(-1, 2)
PROFILES = ("flat", "dished", "faired")


def photo(name: str, marks: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    """Make a photo of 300 x 200 px whose pixels are the layout's millimetres."""
    placed = {"image": [[0, 0], [200, 0]], "layout": [[50, 150], [250, 150]]}
    return {
        "id": name,
        "file": f"{name}.jpg",
        "size": [300, 200],
        "member": "SK1",
        "face": "outer",
        "scale": SCALE,
        "placement": placed,
        "marks": marks,
    } | changes


def survey(**parts: Any) -> SurveyFile:
    """Make a survey of the one member."""
    document = {
        "format": "corrosion-survey",
        "version": 1,
        "units": "mm",
        "structure": {"name": "bench", "members": [MEMBER]},
        "survey": {"name": "First", "date": "2031-04-17"},
        "instruments": [{"id": "DG-2", "u_systematic": 0.004}],
    }
    return parse_survey(document | parts)


def blend(name: str, **changes: Any) -> dict[str, Any]:
    """Make a blend-out mark: a disc of 20 px about (100, 60), 0.06 mm below the original contour."""
    return {
        "id": name,
        "kind": "blend-out",
        "shape": {"type": "Circle", "center": [100, 60], "radius": 20},
        "depths": [{"value": 0.06, "u": 0.003, "method": "gauge", "instrument": "DG-2"}],
        "measured_from": "original",
    } | changes


def following(old: SurveyFile, *, date: str = "2033-06-01") -> SurveyFile:
    """Open the next survey: nothing but what was carried, and the old instruments."""
    carried = carry_forward(assess(old), old, source="'First'", until="2031-05-02")
    next_one = old.model_copy(
        update={
            "survey": old.survey.model_copy(update={"date": date}),
            "photos": [],
            "removals": carried.removals,
            "thickness_readings": carried.readings,
            "decision": None,
        }
    )
    return parse_survey(dump_survey(next_one))


depths = st.integers(1, 90).map(lambda n: n / 1000)
dates = st.none() | st.sampled_from(["2029-02-01", "2031-04-17", "2031-05-01", "2031-06-30"])


@st.composite
def entries(draw: st.DrawFn) -> dict[str, Any]:
    """Draw where and how metal came off; the footprints mostly overlap."""
    profile = draw(st.sampled_from(PROFILES))
    return {
        "center": [draw(st.integers(60, 120)), draw(st.integers(40, 80))],
        "radius": draw(st.integers(8, 40)),
        "depth": draw(depths),
        "face": draw(st.sampled_from(["outer", "inner"])),
        "profile": profile,
        "run_out": {"per_side": 100} if profile == "faired" else None,
        "measured_from": draw(st.sampled_from(["original", "current"])),
        "date": draw(dates),
    }


def as_mark(number: int, entry: dict[str, Any]) -> dict[str, Any]:
    """Turn an entry into a blend-out on a photo of its own, so that none is one pass with another."""
    mark = blend(f"B{number}", feature=f"F{number}")
    mark["shape"] = {"type": "Circle", "center": entry["center"], "radius": entry["radius"]}
    mark["depths"][0] |= {"value": entry["depth"]}
    mark |= {name: entry[name] for name in ("profile", "run_out", "measured_from", "date")}
    return photo(f"f{number}", [mark], face=entry["face"])


def as_record(number: int, entry: dict[str, Any], origin: str) -> dict[str, Any]:
    """Turn an entry into a removal on record, at the place where the photos show theirs."""
    x, y = entry["center"]
    # From inside, a picture's y runs with the offset; from outside against it.
    offset = 150 - y if entry["face"] == "outer" else 150 + y
    return {
        "id": f"F{number}",
        "member": "SK1",
        "footprint": {"type": "Circle", "center": [50 + x, offset], "radius": entry["radius"]},
        "depth": {"value": entry["depth"], "u": 0.002, "instrument": "DG-2"},
        "origin": origin,
        **{name: entry[name] for name in ("face", "profile", "run_out", "measured_from", "date")},
    }


@settings(max_examples=20, deadline=None)
@given(
    st.lists(entries(), max_size=4),
    st.lists(st.tuples(entries(), st.sampled_from(["earlier", "survey", "planned"])), max_size=4),
    st.sampled_from(["2031-04-17", None]),
    st.sampled_from(["mm", "in"]),
)
def test_the_sum_at_every_place_is_the_old_ones(
    blends: list[dict[str, Any]], records: list[tuple[dict[str, Any], str]], date: str | None, units: str
) -> None:
    """Before the next survey adds anything, T and u(T) are the old survey's everywhere, on each face.

    The bound 1e-9 mm is rounding: nothing but a unit's conversion and back stands between the two.
    """
    old = survey(
        survey={"name": "First", "date": date},
        photos=[as_mark(n, one) for n, one in enumerate(blends)],
        removals=[as_record(n, one, origin) for n, (one, origin) in enumerate(records)],
    )
    if units == "in":
        old = in_inches(old)
    then, now = (member_removal(assess(one), "SK1") for one in (old, following(old)))
    for face in (None, *Face):
        expected, found = then.field(GRID, face=face), now.field(GRID, face=face)
        np.testing.assert_allclose(found.removed, expected.removed, rtol=0, atol=1e-9)
        np.testing.assert_allclose(found.u, expected.u, rtol=0, atol=1e-9)
    names = [one.id for one in now.entries]
    assert len(names) == len(set(names)) == len(then.entries)


@pytest.mark.parametrize(
    ("current", "original", "survey_date"),
    [
        ({"origin": "survey", "date": None}, {"origin": "earlier", "date": "2029-02-01"}, "2031-04-17"),
        ({"origin": "survey", "date": "2031-04-17"}, {"origin": "earlier", "date": "2031-04-17"}, None),
        ({"origin": "survey", "date": None}, {"origin": "earlier", "date": "2031-06-30"}, None),
        ({"origin": "earlier", "date": "2029-02-01"}, {"origin": "earlier", "date": None}, "2031-04-17"),
    ],
    ids=["undated takes the survey's date", "earlier first on one day", "no date at all: last", "undated"],
)
def test_what_came_first_still_comes_first(
    current: dict[str, Any], original: dict[str, Any], survey_date: str | None
) -> None:
    """0.05 mm from the original, then 0.03 mm from the surface as found, are 0.08 mm, not 0.05 mm.

    The one that adds stands first in the file each time, so that only date and origin put it second.
    """
    here = {"center": [100, 60], "radius": 20, "depth": 0.03, "face": "outer", "profile": "flat"}
    adds = here | {"measured_from": "current", "run_out": None, "date": current["date"]}
    first = here | {"measured_from": "original", "run_out": None, "date": original["date"], "depth": 0.05}
    old = survey(
        survey={"name": "First", "date": survey_date},
        removals=[as_record(0, adds, current["origin"]), as_record(1, first, original["origin"])],
    )
    for one in (old, following(old)):
        removed = member_removal(assess(one), "SK1").spot((150.0, 90.0)).removed.value
        assert removed == pytest.approx(0.08)


def in_inches(old: SurveyFile) -> SurveyFile:
    """Write a survey in mm as one in inches."""
    from corrosion.model.files import from_millimetres  # noqa: PLC0415

    return from_millimetres(old, "in").model_copy(update={"units": "in"})


def test_a_blend_out_seen_twice_is_carried_once() -> None:
    """Two photos of one blend-out make one removal, whose note names survey, photos and marks."""
    old = survey(
        photos=[photo("f1", [blend("B1", feature="D1")]), photo("f2", [blend("B7", feature="D1")])]
    )
    (removal,) = following(old).removals
    assert removal.origin is Origin.EARLIER
    assert (removal.depth.value, removal.date) == (0.06, "2031-04-17")
    assert removal.measured_from is MeasuredFrom.ORIGINAL
    for words in ("'First'", "photo f1, mark B1", "photo f2, mark B7"):
        assert words in removal.note


def test_history_goes_on_over_three_surveys() -> None:
    """0.06 mm blended from the original, then 0.03 mm more from the surface as found, make 0.09 mm."""
    first = survey(photos=[photo("f1", [blend("B1")])])
    second = following(first)
    more = blend("B1", measured_from="current")
    more["depths"][0] |= {"value": 0.03}
    second = second.model_copy(update={"photos": survey(photos=[photo("f1", [more])]).photos})
    third = following(second, date="2035-01-01")
    centre = (150.0, 90.0)
    sums = [member_removal(assess(one), "SK1").spot(centre).removed.value for one in (first, second, third)]
    assert sums == pytest.approx([0.06, 0.09, 0.09])
    assert [one.date for one in third.removals] == ["2031-04-17", "2033-06-01"]


@pytest.mark.parametrize(
    ("depths_of_mark", "flag"),
    [
        ([{"value": 0.02, "u": 0.001, "method": "gauge", "relation": ">="}], Flag.LOWER_BOUND),
        ([{"value": 0.02, "u": 0.001, "method": "gauge", "relation": "<="}], Flag.UPPER_BOUND),
        ([{"value": 0.02, "u": 0.001, "method": "shadow"}], Flag.INDICATIVE),
    ],
)
def test_a_doubtful_depth_stays_doubtful(depths_of_mark: list[dict[str, Any]], flag: Flag) -> None:
    """A bound stays a bound and an indicative depth indicative, so that the verdict does not improve."""
    old = survey(photos=[photo("f1", [blend("B1", depths=depths_of_mark)])])
    verdicts = []
    for one in (old, following(old)):
        found = assess(one)
        (entry,) = member_removal(found, "SK1").entries
        assert flag in entry.flags
        verdicts.append(found.verdict)
    assert verdicts[0] is verdicts[1]


@pytest.mark.parametrize(
    "changes",
    [{"marks": [blend("B1", depths=[])]}, {"placement": None}, {"face": None}],
    ids=["no depth", "not placed", "no face"],
)
def test_what_no_sum_could_count_never_becomes_a_pass(changes: dict[str, Any]) -> None:
    """A blend-out without depth or place keeps its member from passing, also where photos see nothing."""
    one = photo("f1", [blend("B1")]) | changes
    old = survey(photos=[one])
    after = following(old)
    (removal,) = after.removals
    assert (removal.depth.value, removal.relation) == (0.0, Relation.AT_LEAST)
    assert assess(old).verdict is Verdict.NOT_DETERMINED
    assert assess(after).verdict in {Verdict.NOT_DETERMINED, Verdict.TOO_CLOSE}
    seen = after.model_copy(update={"photos": survey(photos=[photo("f2", [])]).photos})
    assert assess(seen).verdict is Verdict.TOO_CLOSE


def test_a_reading_that_governed_still_does() -> None:
    """Metal that only a thickness reading showed to be gone is not forgotten; agreeing readings stay."""
    reading = {"id": "T1", "member": "SK1", "at": [150, 90], "value": 0.85, "u": 0.005}
    agreeing = {"id": "T2", "member": "SK1", "at": [20, 20], "value": 1.0, "u": 0.005}
    old = survey(thickness_readings=[reading, agreeing])
    after = following(old)
    assert [(one.id, one.date) for one in after.thickness_readings] == [("T1", "2031-04-17")]
    assert assess(old).verdict is assess(after).verdict is Verdict.OVER


def test_what_belongs_to_no_member_is_said() -> None:
    """A blend-out without a member cannot be carried; it is named, not dropped silently."""
    old = survey(photos=[photo("f1", [blend("B1")], member=None)])
    carried = carry_forward(assess(old), old, source="'First'", until="2031-05-02")
    assert carried.removals == []
    assert any("f1/B1" in words for words in carried.left_out)


def test_an_id_taken_twice_is_numbered() -> None:
    """A blend-out that bears the id of a removal on record gets an id of its own."""
    record = as_record(0, {
        "center": [20, 20], "radius": 5, "depth": 0.01, "face": "outer", "profile": "flat",
        "run_out": None, "measured_from": "original", "date": "2029-01-01",
    }, "earlier")  # fmt: skip
    old = survey(photos=[photo("f1", [blend("B1", feature="F0")])], removals=[record])
    assert [one.id for one in following(old).removals] == ["F0", "F0-2"]
