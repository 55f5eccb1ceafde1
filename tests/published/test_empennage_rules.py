"""Classes of empennage damage: TM 1-1520-238-23 (Change 9), para 2.103.4 and 2.103.5, p. 2-372.

The published table has gaps (exactly 20 %; shallow over more than 25 % of the area; half the area but thin)
and one conflict (class B takes damage up to half the panel, its patch only a quarter). These come back as
not determined. Shares computed from the inches named: 20 % of 0.040 is 0.008, of 0.032 is 0.0064.
"""

from __future__ import annotations

import pytest

from corrosion.model.planning import Action, RuleQuantity
from corrosion.rules import Fact, ask_rules, load_rule_set

ROWS = load_rule_set("example-empennage").rules
INCH = 25.4


def skin(thickness_in: float, removed_in: float, area_share: float, **stated: bool) -> tuple[str, str]:
    """Ask for a skin; gives the action and the class, or the action and the reasons."""
    facts = {
        RuleQuantity.DEPTH_SHARE: Fact((removed_in * INCH) / (thickness_in * INCH)),
        RuleQuantity.AREA_SHARE: Fact(area_share),
    } | {RuleQuantity(name): Fact(value) for name, value in stated.items()}
    answer = ask_rules(ROWS, "skin", facts)
    return answer.action, answer.rule.id if answer.rule else " ".join(answer.reasons)


def test_shallow_and_small_is_class_a() -> None:
    """0.007 of 0.040 in (17.5 %) over 20 % of the panel: remove the corrosion."""
    assert skin(0.040, 0.007, 0.20, adjacent_unaffected=True) == ("blend", "skin-A")


def test_deep_and_small_is_class_b() -> None:
    """0.010 of 0.040 in (25 %) over 20 % of the panel, adjacent structure unaffected: patch."""
    assert skin(0.040, 0.010, 0.20, adjacent_unaffected=True) == ("reinforce", "skin-B")


def test_a_patch_larger_than_the_table_allows_is_a_conflict() -> None:
    """0.010 of 0.040 in over 30 %: class B's damage limit is met, its patch limit of 25 % is not."""
    action, why = skin(0.040, 0.010, 0.30, adjacent_unaffected=True)
    assert action == "not determined"
    assert "undetermined, engineering" in why
    assert "contradicts itself" in why


def test_shallow_over_a_large_area_is_a_gap() -> None:
    """0.007 of 0.040 in over 40 % of the panel: no class."""
    action, why = skin(0.040, 0.007, 0.40, adjacent_unaffected=True)
    assert action == "not determined"
    assert "gap" in why
    assert "undetermined, engineering" in why


@pytest.mark.parametrize(("thickness_in", "removed_in"), [(0.040, 0.008), (0.032, 0.0064)])
def test_exactly_a_fifth_is_a_gap(thickness_in: float, removed_in: float) -> None:
    """Class A is below 20 %, class B above: exactly 20 % of 0.040 and of 0.032 in is neither."""
    assert skin(thickness_in, removed_in, 0.20, adjacent_unaffected=True)[0] == "not determined"


@pytest.mark.parametrize(("removed_in", "class_"), [(0.0063, "skin-A"), (0.0065, "skin-B")])
def test_either_side_of_a_fifth(removed_in: float, class_: str) -> None:
    """A tenth of a mil below or above 20 % of 0.032 in decides."""
    assert skin(0.032, removed_in, 0.20, adjacent_unaffected=True)[1] == class_


def test_a_quarter_of_the_area_still_is_class_a() -> None:
    """The table says "<= 25 % of panel area"."""
    assert skin(0.040, 0.007, 0.25, adjacent_unaffected=True)[1] == "skin-A"


def test_large_and_deep_is_class_c() -> None:
    """More than half of area and of thickness: replace the affected area."""
    assert skin(0.040, 0.024, 0.60, adjacent_unaffected=True) == ("replace member", "skin-C")


@pytest.mark.parametrize(("removed_in", "area"), [(0.010, 0.60), (0.024, 0.50), (0.007, 0.60)])
def test_large_but_thin_is_a_gap(removed_in: float, area: float) -> None:
    """Half or more of the area, but not of the thickness as well: no class."""
    assert skin(0.040, removed_in, area, adjacent_unaffected=True)[0] == "not determined"


def test_affected_neighbours_leave_class_b() -> None:
    """Class B is for damage "with no effect on adjacent structure"; with one there is no class."""
    assert skin(0.040, 0.010, 0.20, adjacent_unaffected=False)[0] == "not determined"


def test_what_nobody_stated_is_not_assumed() -> None:
    """Without word on the adjacent structure class B stays open."""
    action, why = skin(0.040, 0.010, 0.20)
    assert action == "not determined"
    assert "adjacent structure unaffected: yes (not known)" in why


def structure(depth: float, section: float, **stated: bool) -> str:
    """Ask for a rib."""
    facts = {
        RuleQuantity.DEPTH_SHARE: Fact(depth),
        RuleQuantity.SECTION_SHARE: Fact(section),
    } | {RuleQuantity(name): Fact(value) for name, value in stated.items()}
    return ask_rules(ROWS, "rib", facts).action


@pytest.mark.parametrize(
    ("depth", "section", "stated", "action"),
    [
        (0.09, 0.25, {}, "blend"),
        (0.10, 0.25, {"greater_than_minor": False}, "not determined"),
        (0.11, 0.40, {"attachment_possible": True, "greater_than_minor": False}, "reinforce"),
        (0.11, 0.40, {"attachment_possible": False, "greater_than_minor": False}, "not determined"),
        (0.11, 0.50, {"attachment_possible": True, "greater_than_minor": False}, "not determined"),
        (0.30, 0.60, {"greater_than_minor": True}, "replace member"),
        (0.30, 0.40, {"greater_than_minor": True, "attachment_possible": True}, "not determined"),
        (0.30, 0.60, {}, "not determined"),
    ],
    ids=["A", "exactly 10 %", "B", "no attachment", "half", "C", "B and C", "minor not stated"],
)
def test_structural_corrosion(depth: float, section: float, stated: dict[str, bool], action: str) -> None:
    """Below 10 % over a quarter: remove; above, below half the section: patch if it can be attached.

    "Greater than minor damage" is replaced; where minor ends the table does not say.
    """
    assert structure(depth, section, **stated) == action


def test_a_kind_the_table_does_not_name() -> None:
    """A window frame is neither skin nor listed structure: not determined."""
    assert ask_rules(ROWS, "window", {}).action is Action.NOT_DETERMINED


def test_clean_up_limits_of_the_set_are_doubtful_within_their_uncertainty() -> None:
    """19 % with a standard uncertainty of 1 % is within one u of the edge: too close to call."""
    facts = {
        RuleQuantity.DEPTH_SHARE: Fact(0.19, 0.01),
        RuleQuantity.AREA_SHARE: Fact(0.2),
        RuleQuantity.ADJACENT_UNAFFECTED: Fact(value=True),
    }
    answer = ask_rules(ROWS, "skin", facts)
    assert answer.action is Action.NOT_DETERMINED
    assert "too close to call" in " ".join(answer.reasons)
