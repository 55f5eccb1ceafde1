"""Rule files: TOML and JSON of one shape, refused alike without a source."""

from __future__ import annotations

import json

import pytest

from corrosion.errors import RuleSetError
from corrosion.rules import parse_rule_set

ROW = {
    "id": "light",
    "label": "Light corrosion",
    "action": "blend",
    "source": "Invented order 9",
    "edition": "A",
    "paragraph": "2",
    "when": [{"quantity": "depth_share", "op": "<", "value": 0.1}],
}


def text(**changes: object) -> str:
    return json.dumps({"name": "shop", "title": "Shop", "rule": [ROW | changes]})


def test_json_reads_as_toml_does() -> None:
    """The same row from JSON and from TOML is the same rule."""
    toml = 'name = "shop"\ntitle = "Shop"\n[[rule]]\n' + "\n".join(
        f"{key} = {json.dumps(value)}" for key, value in ROW.items() if key != "when"
    )
    toml += '\nwhen = [{ quantity = "depth_share", op = "<", value = 0.1 }]\n'
    assert parse_rule_set(text()) == parse_rule_set(toml)


BAD = ["{", "[" * 100_000, "{" + '"a":[' * 50_000, text(source=" "), text(colour=1)]


@pytest.mark.parametrize("bad", BAD, ids=["broken", "brackets", "deep", "unsourced", "unknown field"])
def test_what_is_no_rule_file_is_refused(bad: str) -> None:
    """Broken, endless or unsourced text is one error of the tree, never another."""
    with pytest.raises(RuleSetError):
        parse_rule_set(bad)
