"""The governing depth of a mark."""

from __future__ import annotations

from typing import Any

import pytest

from corrosion.depth import governing_depth
from corrosion.model import DepthReading, SurveyFile, parse_survey
from corrosion.quantity import Measured, total
from corrosion.terms import Flag


def survey() -> SurveyFile:
    return parse_survey(
        {
            "format": "corrosion-survey",
            "version": 1,
            "units": "mm",
            "structure": {"name": "Test panel"},
            "instruments": [{"id": "DG-2", "u_systematic": 0.004}, {"id": "DG-3"}],
        }
    )


def reading(value: float, method: str = "gauge", relation: str = "=", **more: Any) -> DepthReading:
    return DepthReading.model_validate(
        {"value": value, "u": 0.01, "method": method, "relation": relation, **more}
    )


def governing(*depths: DepthReading) -> Measured:
    found = governing_depth(depths, survey())
    assert found is not None
    return found


def test_no_reading_is_no_depth() -> None:
    """Without a reading there is no depth: a photo alone never gives one."""
    assert governing_depth([], survey()) is None


def test_deepest_direct_reading_governs() -> None:
    """The deepest gauge reading is the depth, and carries no flag."""
    found = governing(reading(0.2), reading(0.31), reading(0.25, "ultrasonic"))
    assert (found.value, found.unit, found.flags) == (0.31, "mm", frozenset())


def test_light_does_not_outrank_metal() -> None:
    """A shadow depth deeper than the gauge's does not govern."""
    assert governing(reading(0.2), reading(0.9, "shadow")).value == 0.2
    assert governing(reading(0.2), reading(0.9, "focus-travel", ">=")).value == 0.2


def test_light_alone_is_indicative() -> None:
    """A depth read only from light is given and flagged."""
    assert governing(reading(0.4, "shadow")).flags == {Flag.INDICATIVE}


@pytest.mark.parametrize(
    ("readings", "value", "flags"),
    [
        ([("=", 0.2), (">=", 0.3)], 0.3, {Flag.LOWER_BOUND}),
        ([("=", 0.4), (">=", 0.3)], 0.4, set()),
        ([(">=", 0.3), (">=", 0.5)], 0.5, {Flag.LOWER_BOUND}),
        ([("<=", 0.3), ("<=", 0.5)], 0.3, {Flag.UPPER_BOUND}),
        ([("=", 0.2), ("<=", 0.1)], 0.2, set()),
        ([("<=", 0.3), (">=", 0.1)], 0.3, {Flag.UPPER_BOUND}),
    ],
)
def test_bounds_stay_bounds(readings: list[tuple[str, float]], value: float, flags: set[Flag]) -> None:
    """A lower bound can only raise the depth, an upper bound never lowers a reading."""
    found = governing(*(reading(v, relation=r) for r, v in readings))
    assert (found.value, set(found.flags)) == (value, flags)


def test_instrument_error_is_shared() -> None:
    """Two readings of one gauge share its setting error: their sum carries it twice."""
    one, two = (governing(reading(v, instrument="DG-2")) for v in (0.2, 0.3))
    assert one.budget() == pytest.approx({"reading": 0.01, "instrument DG-2": 0.004})
    both = total([one, two], "mm")
    assert both.budget() == pytest.approx({"reading": 0.01 * 2**0.5, "instrument DG-2": 0.008})


@pytest.mark.parametrize("name", ["DG-3", "not in the list", None])
def test_gauge_without_systematic_part(name: str | None) -> None:
    """A gauge with no stated systematic part adds none."""
    assert list(governing(reading(0.2, instrument=name)).budget()) == ["reading"]
