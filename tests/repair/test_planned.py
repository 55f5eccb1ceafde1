"""Reinforcements in the survey file: estimated from the planning, and printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from corrosion.errors import SurveyFileError
from corrosion.model import SurveyFile, in_millimetres, parse_survey
from corrosion.repair import Fastener, planned_reinforcements
from corrosion.report.reinforcement import reinforcement_line, reinforcements_json
from corrosion.terms import SpliceFastener
from tests.cli.running import run


def document(material: str = "2024-T3 clad", **asked: Any) -> dict[str, Any]:
    """Write a survey in inches with one reinforcement: 10 in wide, .032 in sheet, 1/8 rivets."""
    one = {"id": "R1", "member": "S1", "width": 10.0, "length": 2.0, "fastener": "1/8 rivet"}
    one |= {"joint": "single-lap sheet joint", "table": "4-10"} | asked
    member = {"id": "S1", "kind": "skin", "zone": "334", "material": material, "thickness": 0.032}
    outline = [[0.0, 0.0], [20.0, 0.0], [20.0, 10.0], [0.0, 10.0]]
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": "in",
        "structure": {"name": "Test panel", "members": [member | {"outline": outline}]},
        "planning": {"reinforcements": [one]},
    }


def survey(**asked: Any) -> SurveyFile:
    return in_millimetres(parse_survey(document(**asked)))


def test_the_handbooks_example() -> None:
    """AC 43.13-1B, para 4-58g: 10 in of .032 clad 2024, 1/8 rivets, lap: 37 each side, two rows of 19."""
    (one,) = planned_reinforcements(survey())
    assert one.estimate is not None
    assert (one.estimate.per_side, one.estimate.rows, one.estimate.per_row) == (37, 2, 19)
    shown = reinforcements_json([one], "in")
    estimate = shown["reinforcements"][0]["estimate"]
    assert estimate["thickness"] == pytest.approx(0.032)
    assert "not approved data" in estimate["label"]
    assert reinforcement_line(one, "in").startswith(
        "R1 on S1: 37 of 1/8 rivet on each side in 2 rows of 19"
    )


def test_what_no_table_covers_is_not_determined() -> None:
    """A material outside the tables gives no figure but the reason, in JSON and in words."""
    (one,) = planned_reinforcements(survey(material="AZ31B", table=None))
    assert one.estimate is None
    assert "no splice table covers 'AZ31B'" in one.problem
    assert reinforcements_json([one], "mm")["reinforcements"][0]["estimate"] is None
    assert "not determined" in reinforcement_line(one, "mm")


@pytest.mark.parametrize(
    ("asked", "words"),
    [({"member": "S9"}, "S9"), ({"width": 0.0}, "width"), ({"fastener": "glue"}, "fastener")],
)
def test_nonsense_is_refused_at_the_edge(asked: dict[str, Any], words: str) -> None:
    """An unknown member, a width of nothing or an unknown fastener does not get in."""
    with pytest.raises(SurveyFileError, match=words):
        survey(**asked)


def test_the_command_prints_and_writes_them(tmp_path: Path) -> None:
    """`corrosion decide` says the estimate beside its label, and puts it into the JSON."""
    (tmp_path / "survey.json").write_text(json.dumps(document()), "utf-8")
    done = run("decide", "survey.json", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "not approved data" in done.stdout
    (one,) = json.loads((tmp_path / "out.json").read_text("utf-8"))["reinforcements"]
    assert one["estimate"]["per_side"] == 37


def test_every_fastener_of_the_file_is_in_the_tables() -> None:
    """The survey file's fasteners are the tables' own."""
    assert Fastener is SpliceFastener
