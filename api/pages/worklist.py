"""The work list page: bench cards in the order of work, and the log of who did what."""

from __future__ import annotations

from collections import Counter
from typing import Any

from fastapi import APIRouter, Request, Response

from api.context import Context, ContextDep
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.pages.trial import plans_with
from api.services import SurveyView
from api.worklist import cards_of
from corrosion.errors import CorrosionError
from corrosion.terms import Verdict
from corrosion.worklist import Card, CardKind
from corrosion.worklist.form import CAUTION

router = APIRouter()

KIND_CLASS: dict[CardKind, str] = {
    CardKind.BLEND: "blend",
    CardKind.FAIR: "reinforce",
    CardKind.MEASURE: "open",
    CardKind.TREAT: "leave",
    CardKind.HOLD: "replace",
}
KIND_SYMBOL: dict[CardKind, str] = {
    CardKind.BLEND: "◒",
    CardKind.FAIR: "◠",
    CardKind.MEASURE: "?",
    CardKind.TREAT: "○",
    CardKind.HOLD: "■",
}


@router.get("/surveys/{survey_id}/worklist")
def worklist_page(request: Request, survey_id: str, context: ContextDep, wait: int = 0) -> Response:
    """Show the bench cards; they follow if they are not at hand (`wait`: with them)."""
    view = context.services.survey(survey_id)
    ready = bool(wait) or context.results.is_ready(survey_id)
    return render(
        request,
        "worklist.html",
        **survey_frame(request, view),
        ready=ready,
        **(_cards(request, context, view) if ready else {}),
    )


@router.get("/surveys/{survey_id}/worklist/cards")
def worklist_cards(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the cards again, after something was logged."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _cards(request, context, view)
    return render(request, "worklist_cards.html", **parts)


def _cards(request: Request, context: Context, view: SurveyView) -> dict[str, Any]:
    try:
        cards = cards_of(plans_with(request, context, view))
        logged = context.worklists.listing(view.row.id)
    except CorrosionError as error:
        return {"problem": str(error)}
    ticks = {one["id"]: one["ticks"] for one in logged["cards"]}
    cautions = {caution.id: caution for card in cards for caution in card.cautions}
    return {
        "problem": "",
        "caution_words": CAUTION,
        "cards": [_card(card, ticks.get(card.id, [])) for card in cards],
        "counts": Counter(card.kind for card in cards),
        "kinds": list(CardKind),
        "earlier": logged["earlier_ticks"],
        "cautions": list(cautions.values()),
        "kind_class": KIND_CLASS,
        "kind_symbol": KIND_SYMBOL,
    }


def _card(card: Card, ticks: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a card with its log; a step is done if it was ticked for what the card asks now."""
    current = [tick for tick in ticks if tick["current"]]
    done = {tick["what"] for tick in current}
    steps = [
        {"step": step, "ticks": [tick for tick in current if tick["what"] == step.name]}
        for step in card.steps
    ]
    return {
        "card": card,
        "steps": steps,
        "finished": bool(card.steps) and all(step.name in done for step in card.steps),
        "stopped": any(tick["what"] == "stopped" for tick in current),
        "others": [t for t in ticks if not t["current"] or t["what"] in {"stopped", "note"}],
        "within": card.target is not None and card.target.blend.verdict is Verdict.WITHIN,
    }
