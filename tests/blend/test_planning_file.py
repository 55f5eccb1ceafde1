"""The planning part of the survey file: no figure without its source, areas in the file's unit."""

from __future__ import annotations

from typing import Any

import pytest

from corrosion.errors import SurveyFileError
from corrosion.model import dump_survey, in_millimetres, parse_survey
from tests.blend.workshop import SOURCE

RULE = {
    "id": "r1",
    "label": "class 1",
    "action": "blend",
    "when": [{"quantity": "depth_share", "op": "<", "value": 0.1}],
    "source": SOURCE,
    "edition": "rev 3",
    "paragraph": "1-2",
}


def survey(planning: dict[str, Any]) -> dict[str, Any]:
    """Write a survey file in inches with a planning part."""
    member = {
        "id": "SK1",
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3",
        "thickness": 0.04,
        "outline": [[0, 0], [30, 0], [30, 10], [0, 10]],
    }
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": "in",
        "structure": {"name": "bench", "members": [member]},
        "planning": planning,
    }


@pytest.mark.parametrize(
    "planning",
    [
        {"allowance": {"depth": 0.001}},
        {"allowance": {"depth": 0.001, "source": " "}},
        {"run_out": {"ratio": {"total": 20}}},
        {"edge_distance": {"distance": 0.2}},
        {"fastener_distance": {"source": SOURCE}},
        {"fastener_distance": {"distance": 0.1, "diameters": 2.0, "source": SOURCE}},
        {"run_out": {"ratio": {"total": 20, "per_side": 10}, "source": SOURCE}},
        {"rules": [{key: value for key, value in RULE.items() if key != "source"}]},
        {"rules": [RULE, RULE]},
        {"rules": [RULE], "rule_set": "example-limits"},
        {"facts": [{"member": "SK9", "source": SOURCE}]},
        {"facts": [{"member": "SK1"}]},
        {"elongation": {"ratio": 0.5, "source": SOURCE}},
    ],
)
def test_incomplete_planning_is_refused(planning: dict[str, Any]) -> None:
    """A figure without a source, a ratio stated twice, a rule set beside rules: errors, not defaults."""
    with pytest.raises(SurveyFileError):
        parse_survey(survey(planning))


def test_planning_comes_back_as_it_was() -> None:
    """Rules and facts leave and re-enter without loss."""
    planning = {
        "rules": [RULE],
        "facts": [{"member": "SK1", "panel_area": 40.0, "adjacent_unaffected": True, "source": SOURCE}],
        "fastener_distance": {"diameters": 2.0, "source": SOURCE},
    }
    read = parse_survey(survey(planning))
    assert parse_survey(dump_survey(read)) == read
    assert read.planning.rules[0].paragraph == "1-2"


def test_a_panel_area_is_converted_by_the_square() -> None:
    """One square inch is 25.4^2 = 645.16 mm2 (NIST SP 811, appendix B.8); diameters stay."""
    planning = {
        "facts": [{"member": "SK1", "panel_area": 1.0, "source": SOURCE}],
        "fastener_distance": {"diameters": 2.0, "source": SOURCE},
    }
    in_mm = in_millimetres(parse_survey(survey(planning))).planning
    assert in_mm.facts[0].panel_area == pytest.approx(645.16)
    assert in_mm.fastener_distance is not None
    assert in_mm.fastener_distance.diameters == 2.0


def test_an_empty_planning_states_nothing() -> None:
    """Without a planning part there is no allowance, no ratio, no distance and no rule."""
    read = parse_survey(survey({})).planning
    assert (read.allowance, read.run_out, read.edge_distance, read.fastener_distance) == (None,) * 4
    assert read.rules == []
    assert read.rule_set is None
