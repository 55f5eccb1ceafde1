"""The README keeps its promises: its survey file works, its commands exist."""

import json
import re
from pathlib import Path

from typer.main import get_command

from api.cli import app
from corrosion.model import parse_survey
from corrosion.survey import assess
from corrosion.terms import Verdict

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def block(language: str, number: int = 0) -> str:
    """Return the number-th fenced block of a language."""
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)[number]


def test_the_example_survey_is_assessed() -> None:
    """The survey file that the README shows parses, measures and is judged."""
    survey = parse_survey(json.loads(block("json")))
    assessment = assess(survey)
    assert assessment.problems == []
    assert assessment.members[0].deepest is not None
    assert assessment.verdict in {Verdict.WITHIN, Verdict.TOO_CLOSE, Verdict.OVER}


def test_set_up_takes_two_commands() -> None:
    """One command installs and runs the demo, one runs the tests."""
    assert len(block("sh").strip().splitlines()) == 1
    assert block("sh", 1).strip() == ".venv/bin/pytest"


def test_every_command_is_named() -> None:
    """Each command of the program stands in the README."""
    for name in get_command(app).commands:  # type: ignore[attr-defined]
        assert f"corrosion {name}" in README, name
