"""One member with its cards; invented."""

from __future__ import annotations

from corrosion.disposition import MemberDisposition, dispose
from corrosion.removal import assess_member
from corrosion.results import Assessment, Coverage
from corrosion.terms import Face
from corrosion.worklist import Card, build_cards
from tests.blend.workshop import Workshop


def assessed(shop: Workshop) -> tuple[Assessment, list[MemberDisposition]]:
    """Assess the one member, seen all over, and dispose of it."""
    survey, layout = shop.survey(), shop.layout
    covers = {face: Coverage(face, layout.polygon, layout.polygon, 1.0) for face in Face}
    summary = assess_member(layout, survey, shop.findings, covers).summary
    whole = Assessment(survey, [], [], shop.findings, [summary], [], summary.verdict)
    return whole, dispose(whole)


def cards_of(shop: Workshop) -> list[Card]:
    """Make the member's cards."""
    return build_cards(*assessed(shop))
