"""Bench cards: every finding on one card, no grinding on a card that holds."""

from __future__ import annotations

import pytest

from corrosion.model.planning import Action
from corrosion.terms import Face
from corrosion.worklist import CardKind, StepName, worklist_json
from corrosion.worklist.practice import abrasives_for, primer_for
from tests.blend.workshop import SOURCE, Workshop
from tests.worklist.shop import cards_of

GRINDING = {StepName.BLEND, StepName.FAIR}


@pytest.fixture
def shop() -> Workshop:
    """Give a member 1 mm thick, limit 10 %, allowance 0.02 mm, 20:1, seen all over."""
    return Workshop()


def test_a_card_states_its_figures(shop: Workshop) -> None:
    """Pit 0.03 and allowance 0.02 make 0.05 mm; 10 % of 1 mm stops at 0.1; 0.5 mm each side at 10:1."""
    (card,) = cards_of(shop.pit())
    assert card.kind is CardKind.BLEND
    assert card.target is not None
    assert (card.target.figures.target, card.target.figures.stop) == ("0.050 mm", "0.100 mm")
    assert card.target.figures.run_out == "0.5 mm"
    assert card.target.run_out_words == "20:1 total length to depth, which is 10:1 on each side"
    assert card.place.words == "station 450.0 mm, offset 200.0 mm"
    (step,) = [step for step in card.steps if step.name is StepName.BLEND]
    assert "0.050 mm below the original surface" in step.text
    assert "no deeper than 0.100 mm" in step.text


def test_a_card_names_the_nearest_station(shop: Workshop) -> None:
    """The bench finds the place from the nearest rib: 450 is 30 beyond one at 420."""
    shop.member["stations"] = [{"label": "RIB 2", "at": 420}, {"label": "RIB 3", "at": 800}]
    shop.member["offset_is"] = "chordwise"
    (card,) = cards_of(shop.pit())
    assert card.place.words == "station 450.0 mm (RIB 2 + 30.0), offset 200.0 mm (chordwise)"


def test_every_finding_is_on_exactly_one_card(shop: Workshop) -> None:
    """Merged pits share a card; blended, over-limit, unread pits and blend-outs each have theirs."""
    shop.pit((100, 100)).pit((104.2, 100)).pit((300, 100), 0.09).pit((500, 100), None)
    shop.blend_out(0.05, at=(700, 200)).pit((800, 300), 0.01, face=Face.INNER)
    cards = cards_of(shop)
    named = [finding.id for card in cards for finding in card.findings]
    assert sorted(named) == sorted(finding.id for finding in shop.findings)
    kinds = [card.kind for card in cards]
    assert kinds.count(CardKind.BLEND) == 2
    assert {CardKind.HOLD, CardKind.MEASURE, CardKind.TREAT} <= set(kinds)


def test_what_may_be_begun_stands_first(shop: Workshop) -> None:
    """Cards are numbered from 1; held ones come last."""
    cards = cards_of(shop.pit((100, 100), 0.5).pit((300, 100)).pit((500, 100), None))
    assert [card.number for card in cards] == [1, 2, 3]
    assert [card.kind for card in cards] == [CardKind.BLEND, CardKind.MEASURE, CardKind.HOLD]


@pytest.mark.parametrize(
    "change",
    [
        {"edge_distance": {"distance": 199.0, "source": SOURCE}},
        {"allowance": {"depth": 0.08, "source": SOURCE}},
        {"allowance": None},
        {"run_out": None},
    ],
    ids=["edge", "over", "no allowance", "no ratio"],
)
def test_only_a_blend_that_is_clear_has_a_grinding_step(shop: Workshop, change: dict[str, object]) -> None:
    """In conflict, over the limit or without an allowance or ratio: no step takes metal off."""
    assert any(step.name in GRINDING for card in cards_of(shop.pit()) for step in card.steps)
    shop.planning |= change
    cards = cards_of(shop)
    assert cards
    assert not any(step.name in GRINDING for card in cards for step in card.steps)
    assert all(not card.abrasives for card in cards)


def test_without_a_limit_nothing_is_blended(shop: Workshop) -> None:
    """No limit set: the card holds, however shallow the pit."""
    del shop.member["limit"]
    (card,) = cards_of(shop.pit(depth=0.001))
    assert (card.kind, card.action) == (CardKind.HOLD, Action.NOT_DETERMINED)


def test_a_steep_blend_out_is_to_be_faired(shop: Workshop) -> None:
    """0.09 mm deep with room for 0.5 mm at 10:1, which asks for 0.9: fair it out, no deeper."""
    (card,) = cards_of(shop.blend_out(0.09, radius=0.5))
    assert card.kind is CardKind.FAIR
    (step,) = [step for step in card.steps if step.name is StepName.FAIR]
    assert "nothing off at the deepest place" in step.text


def test_the_same_card_keeps_its_name_and_changes_its_fingerprint(shop: Workshop) -> None:
    """A pit read deeper is the same card with another task, so that old ticks are told from new."""
    (one,) = cards_of(shop.pit())
    (again,) = cards_of(shop)
    assert (one.id, one.fingerprint) == (again.id, again.fingerprint)
    shop.planning["allowance"]["depth"] = 0.03
    (other,) = cards_of(shop)
    assert other.id == one.id
    assert other.fingerprint != one.fingerprint


def test_a_kept_plan_meets_its_blend_out(shop: Workshop) -> None:
    """Planned 0.05, done 0.06: the blend-out's card says 0.01 mm deeper (closed form)."""
    (card,) = cards_of(shop.pit())
    assert card.target is not None
    assert not card.kept
    shop.removals.append(
        card.target.blend.removal.model_copy(update={"id": card.id}).model_dump(
            mode="json", exclude_none=True
        )
    )
    assert [one.kept for one in cards_of(shop)] == [True]
    shop.findings.clear()
    # A blend-out that covers the pit and carries its name takes it out.
    shop.named_pit({"feature": "P"}, id="P1").blend_out(0.06, mark={"feature": "P"}, id="B1")
    (done,) = cards_of(shop)
    assert [finding.id for finding in done.findings] == ["B1", "P1"]
    assert done.done is not None
    assert done.done.planned.id == card.id
    assert done.done.depth_difference == pytest.approx(0.01)
    assert done.kind is CardKind.TREAT


def test_abrasives_follow_the_published_table() -> None:
    """AC 43.13-1B (9/8/98), Table 6-1 and p. 6-28, 6-36: grits by material; else approved data."""
    clad = " ".join(fact.text for fact in abrasives_for("2024-T3 clad"))
    assert "240 grit or finer" in clad
    assert "minor scratches" in clad
    assert "silicon carbide" in clad
    bare = " ".join(fact.text for fact in abrasives_for("7075-T6"))
    assert "150 grit or finer" in bare
    assert "240" not in bare
    steel = " ".join(fact.text for fact in abrasives_for("4130 steel"))
    assert "240, then 300, then 400" in steel
    (unknown,) = abrasives_for("AZ31B magnesium")
    assert unknown.source == "your approved data"


def test_steel_is_primed_within_the_hour() -> None:
    """AC 43.13-1B (9/8/98), para 6-167h: primer within 1 hour on steel."""
    assert any("1 hour" in fact.text for fact in primer_for("4130 steel"))
    assert not any("1 hour" in fact.text for fact in primer_for("2024-T3"))


def test_cards_carry_the_cautions_of_their_material(shop: Workshop) -> None:
    """Magnesium burns: AC 43.13-1B, p. 6-18, step b(3), is on its card."""
    shop.member["material"] = "AZ31B magnesium"
    (card,) = cards_of(shop.pit())
    assert any("1/2 in" in caution.text for caution in card.cautions)


def test_the_form_says_who_governs_and_never_releases(shop: Workshop) -> None:
    """The JSON says that approved data govern, and nowhere that anything is airworthy."""
    document = worklist_json(cards_of(shop.pit().pit((100, 100), None)), "mm")
    assert "Approved data govern" in document["caution"]
    assert "airworthy" not in str(document).casefold()
    assert [card["number"] for card in document["cards"]] == [1, 2]
    assert all(step["source"] for card in document["cards"] for step in card["steps"])
