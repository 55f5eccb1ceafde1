"""``corrosion decide``, as a user runs it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from tests.cli.running import one_error, run
from tests.cli.samples import survey_document, survey_folder

SOURCE = "invented manual, 3-4"
SPREAD = {"low": 1, "likely": 2, "high": 4}


def folder(path: Path, units: Any = "mm", **parts: Any) -> Path:
    """Write a survey with planning; `parts` add to the file. Return the survey's path."""
    survey = survey_folder(path, units)
    k = 1.0 if units == "mm" else 1.0 / 25.4
    planning = {
        "allowance": {"depth": 0.02 * k, "source": SOURCE},
        "run_out": {"ratio": {"total": 20}, "source": SOURCE},
    }
    document = json.loads(survey.read_text(encoding="utf-8")) | {"planning": planning} | parts
    survey.write_text(json.dumps(document), encoding="utf-8")
    return survey


def decision(**candidate: Any) -> dict[str, Any]:
    """Make a decision with one candidate; `candidate` adds to it."""
    return {
        "rates": {"currency": "EUR", "hour": SPREAD},
        "actions": [{"id": "blend", "hours": SPREAD, "money": SPREAD, "days": SPREAD}],
        "hidden": {"hours": SPREAD, "money": SPREAD, "days": SPREAD, "findings": SPREAD},
        "candidates": [{"id": "other", "kind": "second-hand", "price": SPREAD, "days": SPREAD} | candidate],
        "draws": 1000,
    }


@pytest.mark.parametrize("units", ["mm", "in"])
def test_plan_and_disposition_are_printed_and_written(tmp_path: Path, units: Any) -> None:
    """Pit 0.2 mm read, U 0.0201, allowance 0.02: planned 0.2401 mm whichever unit; 0.1 mm allowed: over.

    u is 0.01 of the reading and 0.001 of the gauge in quadrature (JCGM 100:2008, 5.1.2), U twice that.
    """
    folder(tmp_path, units)
    done = run("decide", "survey.json", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    (blend,) = document["plan"]["members"][0]["blends"]
    assert blend["depth"]["value"] == pytest.approx(0.2401, abs=1e-5)
    assert blend["verdict"] == "over"
    by_finding = {f["finding"]: f["action"] for f in document["disposition"]["members"][0]["findings"]}
    assert by_finding == {"f1/P1": "not determined", "f1/B1": "leave and protect"}
    assert document["decision"] is None
    assert {card["kind"] for card in document["worklist"]["cards"]} == {
        "hold, do not blend",
        "treat and protect",
    }
    for words in ("Blend plan", "20:1 total length to depth, which is 10:1 on each side", "Disposition"):
        assert words in done.stdout
    assert "Not seen: the deepest pit to expect there" in done.stdout
    assert "states no decision" in done.stdout


def test_a_decision_is_printed_and_drawn(tmp_path: Path) -> None:
    """Repair and candidate stand in the table; the plot is an SVG; the cards are a PDF."""
    folder(tmp_path, decision=decision(hidden_findings=SPREAD))
    done = run(
        "decide", "survey.json", "--plot", "m.svg", "--of", "drivers", "--worklist", "w.pdf",
        "--paper", "letter", "--json", "-", cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert [option["id"] for option in document["decision"]["options"]] == ["repair", "other"]
    # With JSON on standard output the tables go to standard error.
    assert "Repair or replace" in done.stderr
    assert "A licensed person decides" in done.stderr
    assert ET.parse(tmp_path / "m.svg").getroot().tag.endswith("svg")  # noqa: S314 -- our own output
    assert (tmp_path / "w.pdf").read_bytes().startswith(b"%PDF-")


def test_a_candidate_with_its_own_survey_is_read(tmp_path: Path) -> None:
    """Its survey file is named relative to the survey's, and its unseen area is counted from it."""
    folder(tmp_path, decision=decision(survey="other/survey.json"))
    (tmp_path / "other").mkdir()
    shutil.copytree(tmp_path / "photos", tmp_path / "other" / "photos")
    other = survey_document("mm", tmp_path / "other")
    (tmp_path / "other" / "survey.json").write_text(json.dumps(other), encoding="utf-8")
    done = run("decide", "survey.json", "--json", "-", "--strict", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    used = json.loads(done.stdout)["decision"]["options"][1]
    assert used["money"] is not None, used["reasons"]


def test_a_candidate_without_its_survey_is_told(tmp_path: Path) -> None:
    """A missing file leaves the candidate undetermined and is told; --strict exits with 3."""
    folder(tmp_path, decision=decision(survey="gone.json"))
    done = run("decide", "survey.json", "--json", "-", "--strict", cwd=tmp_path)
    assert done.returncode == 3, done.stderr
    document = json.loads(done.stdout)
    assert document["decision"]["options"][1]["money"] is None
    assert any("gone.json" in problem for problem in document["problems"])


def test_without_planning_nothing_is_planned_and_it_says_so(tmp_path: Path) -> None:
    """No allowance, no plan: the pit is not determined, with what is missing."""
    survey_folder(tmp_path)
    done = run("decide", "survey.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Blend plan" not in done.stdout
    assert "no clean-up allowance is set" in " ".join(done.stdout.split()).casefold()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--plot", "m.pdf"], ".svg"),
        (["--worklist", "w.svg"], ".pdf"),
        (["--plot", "m.svg"], "not determined"),
        (["--json", "survey.json"], "input"),
    ],
)
def test_outputs_that_cannot_be_are_refused(tmp_path: Path, words: list[str], told: str) -> None:
    """A wrong ending, a plot of nothing, or the survey itself: one error, and no file is left."""
    survey = folder(tmp_path)
    before = survey.read_bytes()
    assert told in one_error(run("decide", "survey.json", *words, cwd=tmp_path)).casefold()
    assert survey.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["photos", "survey.json"]


def test_a_rule_set_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    """The error names the survey and the sets there are."""
    folder(tmp_path, planning={"rule_set": "nobodys"})
    assert "example-empennage" in one_error(run("decide", "survey.json", cwd=tmp_path))
