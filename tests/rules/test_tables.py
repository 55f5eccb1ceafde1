"""Rule sets as data: a rule without a source is refused, and every answer cites its row."""

from __future__ import annotations

import pytest

from corrosion.errors import RuleSetError
from corrosion.model.planning import Action, Planning, RuleQuantity
from corrosion.rules import (
    Fact,
    ask_rules,
    chosen_rules,
    load_rule_set,
    parse_rule_set,
    rule_set_names,
)

ROW = """
name = "mine"
title = "My rules"
[[rule]]
id = "r1"
label = "class 1"
action = "blend"
source = "invented manual"
edition = "rev 3"
paragraph = "1-2"
when = [{ quantity = "depth_share", op = "<", value = 0.1 }]
"""


def test_a_complete_row_is_read() -> None:
    """Source, edition and paragraph arrive, and the row answers."""
    rows = parse_rule_set(ROW).rules
    answer = ask_rules(rows, "skin", {RuleQuantity.DEPTH_SHARE: Fact(0.05)})
    assert answer.action is Action.BLEND
    assert "invented manual, rev 3, 1-2" in answer.reasons[0]


@pytest.mark.parametrize("field", ["source", "edition", "paragraph"])
@pytest.mark.parametrize("how", ["missing", "blank"])
def test_a_rule_nobody_vouches_for_is_refused(field: str, how: str) -> None:
    """Without source, edition or paragraph a rule is not a rule; the error names the field."""
    lines = ROW.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith(field))
    lines[at] = "" if how == "missing" else f'{field} = "  "'
    with pytest.raises(RuleSetError, match=field):
        parse_rule_set("\n".join(lines))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"depth_share"', '"luck"'),
        ('action = "blend"', 'action = "hope"'),
        ("value = 0.1", "value = true"),
        ("value = 0.1", 'value = "0.1"'),
        ("[[rule]]", "[[rule"),
        ('label = "class 1"', 'label = "class 1"\nlabel_ = "x"'),
        ("when = [", "when = [] # "),
    ],
)
def test_a_broken_table_is_refused(old: str, new: str) -> None:
    """Unknown quantities, actions and fields, wrong kinds and empty conditions are errors."""
    assert old in ROW
    with pytest.raises(RuleSetError):
        parse_rule_set(ROW.replace(old, new))


def test_two_rules_of_one_id_are_refused() -> None:
    """A row must be told from every other."""
    again = ROW + ROW[ROW.index("[[rule]]") :]
    with pytest.raises(RuleSetError, match="r1"):
        parse_rule_set(again)


@pytest.mark.parametrize("name", rule_set_names())
def test_the_example_sets_hold_together(name: str) -> None:
    """Every set that comes with the program passes its own reader and says that it is an example."""
    found = load_rule_set(name)
    assert found.name == name
    assert "approved data" in found.note


def test_a_set_that_is_not_there_is_an_error() -> None:
    """The error names the sets there are."""
    with pytest.raises(RuleSetError, match="example-empennage"):
        load_rule_set("../secrets")


def test_no_rules_by_default() -> None:
    """A survey that names no rules works by none."""
    assert chosen_rules(Planning()).rows == []


def test_contradicting_rows_are_not_resolved() -> None:
    """Two rows that hold with different actions leave the case undetermined."""
    other = ROW[ROW.index("[[rule]]") :].replace('"r1"', '"r2"').replace('"blend"', '"reinforce"')
    rows = parse_rule_set(ROW + other).rules
    answer = ask_rules(rows, "skin", {RuleQuantity.DEPTH_SHARE: Fact(0.05)})
    assert answer.action is Action.NOT_DETERMINED
    assert "contradict" in answer.reasons[0]
