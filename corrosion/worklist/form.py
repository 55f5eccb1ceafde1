"""The machine-readable form of the work list; rules as in `corrosion.report.json_form`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from corrosion.report.json_form import number, plain
from corrosion.report.planning_json import caution_json, done_json, stop_json
from corrosion.units import LengthUnit
from corrosion.worklist.cards import Card, Target
from corrosion.worklist.practice import Fact

Json = dict[str, Any]

WORKLIST_FORMAT = "corrosion-worklist"
FORM_VERSION = 1
CAUTION = (
    "Planning aid. Approved data govern: where they differ from this card, they hold. A licensed person "
    "inspects, signs and releases the work."
)


def worklist_json(cards: Iterable[Card], unit: LengthUnit) -> Json:
    """Machine-readable form of bench cards, in the order of work."""
    return {
        "format": WORKLIST_FORMAT,
        "version": FORM_VERSION,
        "units": {"length": "mm", "display": unit},
        "caution": CAUTION,
        "cards": [card_json(card, unit) for card in cards],
    }


def card_json(card: Card, unit: LengthUnit) -> Json:
    """Machine-readable form of one card."""
    return {
        "id": card.id,
        "fingerprint": card.fingerprint,
        "number": card.number,
        "kind": str(card.kind),
        "action": str(card.action),
        "place": _place(card),
        "findings": [finding.id for finding in card.findings],
        "target": None if card.target is None else _target(card.target, unit),
        "abrasives": [fact_json(fact) for fact in card.abrasives],
        "steps": [
            {"name": str(step.name), "text": step.text, "source": step.source} for step in card.steps
        ],
        "cautions": [caution_json(caution) for caution in card.cautions],
        "reasons": list(card.reasons),
        "notes": list(card.notes),
        "replaces": card.replaces,
        "kept": card.kept,
        "done": None if card.done is None else done_json(card.done, unit),
    }


def fact_json(fact: Fact) -> Json:
    """Machine-readable form of a published fact."""
    return {"text": fact.text, "source": fact.source}


def _place(card: Card) -> Json:
    place, member = card.place, card.place.member
    return {
        "member": member.id,
        "name": member.name,
        "kind": member.kind,
        "material": member.material,
        "zone": member.zone,
        "face": None if place.face is None else str(place.face),
        "at_mm": None if place.at is None else [number(v) for v in place.at],
        "bounds_mm": None if place.bounds is None else [number(v) for v in place.bounds],
        "words": place.words,
    }


def _target(target: Target, unit: LengthUnit) -> Json:
    blend = target.blend
    return {
        "blend": blend.id,
        "depth": plain(blend.depth, unit),
        "stop_depth": stop_json(blend, unit),
        "measured_from": str(blend.removal.measured_from),
        "why_from": blend.why_from,
        "run_out_per_side": number(blend.run_out.side),
        "run_out_total": number(2.0 * blend.run_out.side),
        "run_out_words": target.run_out_words,
        "run_out_source": target.run_out_source,
        "verdict_after": str(blend.verdict),
        "words": {
            "target": target.figures.target,
            "stop": target.figures.stop,
            "run_out": target.figures.run_out,
            "footprint": target.figures.footprint,
            "measured": target.figures.measured,
        },
    }
