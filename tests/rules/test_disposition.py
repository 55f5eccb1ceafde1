"""Dispositions: moved by every limit, allowance, ratio and rule, never silent about what is missing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from corrosion.disposition import FindingDisposition, MemberDisposition, dispose
from corrosion.model.planning import Action
from corrosion.removal import assess_member
from corrosion.results import Assessment, Coverage
from corrosion.terms import Face, MarkKind
from tests.blend.workshop import SOURCE, Workshop

OWN_RULES = [
    {
        "id": "patch",
        "label": "class 2",
        "action": "reinforce",
        "when": [{"quantity": "limit_share", "op": ">", "value": 1.0}],
        "source": "invented manual",
        "edition": "rev 3",
        "paragraph": "4-1",
    },
    {
        "id": "blend",
        "label": "class 1",
        "action": "blend",
        "when": [{"quantity": "limit_share", "op": "<=", "value": 1.0}],
        "source": "invented manual",
        "edition": "rev 3",
        "paragraph": "4-1",
    },
]


@pytest.fixture
def shop() -> Workshop:
    """Give a member 1 mm thick, limit 10 %, allowance 0.02 mm, 20:1, seen all over."""
    return Workshop()


def decide(shop: Workshop, seen: dict[Face, float] | None = None) -> MemberDisposition:
    """Assess and dispose of the one member; faces are wholly seen unless told."""
    survey, layout = shop.survey(), shop.layout
    shares = seen if seen is not None else dict.fromkeys(Face, 1.0)
    covers = {face: Coverage(face, layout.polygon, layout.polygon, share) for face, share in shares.items()}
    summary = assess_member(layout, survey, shop.findings, covers).summary
    whole = Assessment(survey, [], [], shop.findings, [summary], [], summary.verdict)
    (member,) = dispose(whole)
    return member


def first(shop: Workshop) -> FindingDisposition:
    """Disposition of the first finding."""
    return decide(shop).findings[0]


def test_a_pit_within_the_limit_is_blended(shop: Workshop) -> None:
    """0.05 planned of 0.10 allowed, nothing in the way: blend, and the numbers are there."""
    found = first(shop.pit())
    assert found.action is Action.BLEND
    assert found.numbers["planned_depth"] == pytest.approx(0.05)
    assert found.numbers["stop_depth"] == pytest.approx(0.10)
    assert found.numbers["limit"] == pytest.approx(0.10)
    assert decide(shop).action is Action.BLEND


def test_reasons_name_depth_uncertainty_allowance_and_sources(shop: Workshop) -> None:
    """The chain is readable: what was read, its uncertainty, the allowance and limit with their sources."""
    words = " ".join(first(shop.pit(depth=0.03, u=0.005)).reasons)
    for part in ("0.030 mm read on P1", "0.010 mm for its uncertainty", SOURCE, "invented manual, 1-2"):
        assert part in words
    assert "20:1 total length to depth, which is 10:1 on each side" in words


@pytest.mark.parametrize(
    "change",
    [
        {"allowance": {"depth": 0.08, "source": SOURCE}},
        {"allowance": None},
        {"run_out": None},
        {"edge_distance": {"distance": 199.0, "source": SOURCE}},
    ],
    ids=["allowance", "no allowance", "no ratio", "edge distance"],
)
def test_moving_a_figure_moves_the_disposition(shop: Workshop, change: dict[str, Any]) -> None:
    """A larger or missing allowance, a missing ratio, a larger distance: no longer *blend*."""
    assert first(shop.pit()).action is Action.BLEND
    shop.planning |= change
    assert first(shop).action is Action.NOT_DETERMINED


def test_moving_the_ratio_moves_the_disposition(shop: Workshop) -> None:
    """A flatter run-out reaches the stated distance from the edge; a steeper one keeps it (closed form).

    Pit radius 2 at offset 200 of 400, planned 0.05: footprint radius 2.5 at 20:1, 4.5 at 100:1.
    """
    shop.planning["edge_distance"] = {"distance": 197.0, "source": SOURCE}
    assert first(shop.pit()).action is Action.BLEND
    shop.planning["run_out"] = {"ratio": {"total": 100}, "source": SOURCE}
    assert first(shop).action is Action.NOT_DETERMINED


def test_moving_the_limit_moves_the_disposition(shop: Workshop) -> None:
    """5 % of 1 mm holds the planned 0.05 mm, 4 % does not."""
    shop.member["limit"] = {"fraction": 0.051, "source": "invented manual, 1-2"}
    assert first(shop.pit()).action is Action.BLEND
    shop.member["limit"] = {"fraction": 0.04, "source": "invented manual, 1-2"}
    assert first(shop).action is Action.NOT_DETERMINED


def test_no_limit_is_not_determined(shop: Workshop) -> None:
    """A limit is never taken from anywhere but the survey."""
    del shop.member["limit"]
    assert first(shop.pit()).action is Action.NOT_DETERMINED


def test_beyond_the_limit_own_rules_decide(shop: Workshop) -> None:
    """0.12 of 0.10: without rules not determined, with a row for it that row's action and source."""
    shop.pit(depth=0.10)
    assert first(shop).action is Action.NOT_DETERMINED
    shop.planning["rules"] = OWN_RULES
    found = first(shop)
    assert found.action is Action.REINFORCE
    assert "invented manual, rev 3, 4-1" in " ".join(found.reasons)
    assert decide(shop).action is Action.REINFORCE


def test_a_part_is_not_given_up_for_doubt(shop: Workshop) -> None:
    """Read 0.07 +- 0.04 plus 0.02: 0.13 planned is beyond 0.10, 0.09 by best estimate is not.

    The same 0.13 read without doubt is replaced.
    """
    shop.planning["rule_set"] = "example-limits"
    found = first(shop.pit(depth=0.07, u=0.02))
    assert found.numbers["planned_depth"] == pytest.approx(0.13)
    assert found.action is Action.NOT_DETERMINED
    shop.findings.clear()
    assert first(shop.pit(depth=0.11)).action is Action.REPLACE


def test_doubt_alone_is_named(shop: Workshop) -> None:
    """Planned 0.0795 + 0.008 + 0.020 = 0.1075 is surely beyond 0.1, without the 0.008 it is not."""
    shop.planning["rule_set"] = "example-limits"
    found = first(shop.pit(depth=0.0795, u=0.004))
    assert found.action is Action.NOT_DETERMINED
    assert "Only the uncertainty of the depth read takes it there" in " ".join(found.reasons)


def test_the_stop_depth_is_rounded_down(shop: Workshop) -> None:
    """Limit 0.0997 mm: the bench reads 0.099 mm, not 0.100 mm."""
    shop.member["limit"] = {"depth": 0.0997, "source": "invented manual, 1-2"}
    assert "Grind no deeper than 0.099 mm" in " ".join(first(shop.pit()).reasons)


def test_nothing_left_says_so(shop: Workshop) -> None:
    """Where the limit is already passed the bench is told not to begin."""
    shop.pit().remove(0.12, face="inner")
    words = " ".join(first(shop).reasons)
    assert "do not grind" in words


def test_an_example_set_decides_by_name(shop: Workshop) -> None:
    """Beyond the limit AC 43.13-1B, 6-113, replaces; within it the corrosion is removed."""
    shop.planning["rule_set"] = "example-limits"
    assert first(shop.pit()).action is Action.BLEND
    shop.findings.clear()
    assert first(shop.pit(depth=0.10)).action is Action.REPLACE


def test_a_rule_does_not_override_the_limit(shop: Workshop) -> None:
    """A table may allow blending to 20 % of the skin; a limit of 10 % in the survey still holds."""
    shop.planning |= {
        "rule_set": "example-empennage",
        "facts": [
            {"member": "SK1", "panel_area": 3.6e5, "adjacent_unaffected": True, "source": "inspector"}
        ],
    }
    found = first(shop.pit(depth=0.13))
    assert found.action is Action.NOT_DETERMINED
    assert "not within the blend limit" in " ".join(found.reasons)


def test_the_panel_is_not_guessed(shop: Workshop) -> None:
    """The share of a panel needs the panel's area; the member's own is not taken for it."""
    shop.planning["rule_set"] = "example-empennage"
    assert first(shop.pit()).action is Action.NOT_DETERMINED
    shop.planning["facts"] = [{"member": "SK1", "panel_area": 100.0, "source": "inspector"}]
    assert first(shop).action is Action.BLEND
    shop.planning["facts"] = [{"member": "SK1", "panel_area": 40.0, "source": "inspector"}]
    assert first(shop).action is Action.NOT_DETERMINED


def test_a_blend_out_within_is_left_and_protected(shop: Workshop) -> None:
    """A blend-out made within the limit and no steeper than the ratio: treat and protect."""
    assert first(shop.blend_out(0.05)).action is Action.LEAVE


def test_a_steep_blend_out_is_not_left(shop: Workshop) -> None:
    """0.05 mm deep needs 0.5 mm of run-out; an outline of 0.4 mm radius has no room for it."""
    found = first(shop.blend_out(0.05, radius=0.4))
    assert found.action is Action.NOT_DETERMINED
    assert "Steeper" in " ".join(found.reasons)


def test_a_blend_out_without_depth_is_not_determined(shop: Workshop) -> None:
    """A photo alone never gives a depth."""
    assert first(shop.blend_out(None)).action is Action.NOT_DETERMINED


def test_a_face_nobody_saw_keeps_the_member_open(shop: Workshop) -> None:
    """All is well on the face that was seen, the other may hide anything."""
    member = decide(shop.pit(), {Face.OUTER: 1.0, Face.INNER: 0.0})
    assert member.action is Action.NOT_DETERMINED
    assert "not seen is not clean" in " ".join(member.reasons)


def test_a_part_not_seen_is_named(shop: Workshop) -> None:
    """What was not photographed is said beside the disposition."""
    member = decide(shop.pit(), {Face.OUTER: 0.75, Face.INNER: 1.0})
    assert member.action is Action.BLEND
    assert "25% of the outer face" in " ".join(member.reasons)


def test_the_member_follows_its_worst_finding(shop: Workshop) -> None:
    """One pit to blend and one without a depth: not determined; one to replace outranks both."""
    shop.pit().pit((100, 100), None)
    assert decide(shop).action is Action.NOT_DETERMINED
    shop.planning["rule_set"] = "example-limits"
    shop.pit((700, 300), 0.2)
    assert decide(shop).action is Action.REPLACE


def test_earlier_rework_alone_can_decide(shop: Workshop) -> None:
    """A member without findings whose records already sum beyond the limit is not left."""
    shop.remove(0.12)
    shop.planning["rule_set"] = "example-limits"
    assert decide(shop).action is Action.REPLACE


def test_an_outline_round_planned_pits_is_not_judged_itself(shop: Workshop) -> None:
    """An affected area without a depth of its own that holds pits leaves it to them, and says so."""
    shop.pit().pit(kind=MarkKind.AFFECTED, depth=None, radius=30.0, id="A1")
    member = decide(shop)
    assert member.action is Action.BLEND
    assert "A1" in " ".join(member.reasons)


def test_an_affected_area_alone_is_not_determined(shop: Workshop) -> None:
    """Corrosion without a depth is never passed over."""
    shop.pit(kind=MarkKind.AFFECTED, depth=None, radius=30.0)
    assert decide(shop).action is Action.NOT_DETERMINED


def test_cautions_and_level_come_along(shop: Workshop) -> None:
    """The member's material brings its cautions; nothing removed yet gives no programme level."""
    member = decide(shop.pit())
    assert "chromate" in {caution.id for caution in member.cautions}
    assert member.level.level == "not determined"


def test_the_words_promise_nothing(shop: Workshop) -> None:
    """The tool never says airworthy."""
    shop.planning["rule_set"] = "example-limits"
    member = decide(shop.pit().blend_out(0.05, at=(200, 200)))
    text = repr(replace(member, plan=member.plan)).casefold()
    assert "airworthy" not in text


def test_pure_function_of_the_survey(shop: Workshop) -> None:
    """Twice the same survey gives twice the same words."""
    shop.pit().pit((100, 100), 0.05).remove(0.03)
    one, two = decide(shop), decide(shop)
    assert [f.reasons for f in one.findings] == [f.reasons for f in two.findings]
    assert one.reasons == two.reasons
