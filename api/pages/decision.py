"""The decision page: what is to be done, what was not seen, and repair against replacement."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response

from api.context import Context, ContextDep
from api.pages.plan import settings_data
from api.pages.plan_rows import ACTION_CLASS, ACTION_SYMBOL
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.pages.trial import NOTHING, Trial, plans_with
from api.planning import Plans
from api.services import Page, SurveyView
from corrosion.errors import CorrosionError
from corrosion.report.decision import money_text, share_text, unseen_lines
from corrosion.terms import Face

if TYPE_CHECKING:
    from corrosion.decision import DecisionResult, Spread5
    from corrosion.report.decision_plots import Plot

router = APIRouter()
MOST_SURVEYS = 500
LEAST_SHARE = 0.005
"""Drivers and figures below this share of the doubt are not listed."""


@dataclass(frozen=True)
class Picture:
    """A plot with the same said in words."""

    address: str
    title: str
    words: str


@router.get("/surveys/{survey_id}/decision")
def decision_page(request: Request, survey_id: str, context: ContextDep, wait: int = 0) -> Response:
    """Show the decision with what it is made of; the results follow later (`wait`: with them)."""
    view = context.services.survey(survey_id)
    return render(
        request,
        "decision.html",
        **survey_frame(request, view),
        **settings_data(context, view),
        others=_other_surveys(context, view),
        ready=bool(wait),
        **(_results(request, context, view) if wait else {}),
    )


@router.get("/surveys/{survey_id}/decision/table")
def decision_table(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the results as they are kept."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | _results(request, context, view)
    return render(request, "decision_table.html", **parts)


@router.post("/surveys/{survey_id}/decision/try")
def decision_try(request: Request, survey_id: str, body: Trial, context: ContextDep) -> Response:
    """Give the results with values that are not kept; nothing is stored."""
    view = context.services.survey(survey_id)
    parts = survey_frame(request, view) | results_of(plans_with(request, context, view, body))
    return render(request, "decision_table.html", **parts)


def _other_surveys(context: Context, view: SurveyView) -> list[tuple[str, str]]:
    """List the surveys that a second-hand candidate may name as its own."""
    found = context.services.surveys(Page(limit=MOST_SURVEYS, offset=0), None)
    return [
        (other.row.id, f"{other.structure.name}: {other.row.name or 'survey without a name'}")
        for other, _, _ in found
        if other.row.id != view.row.id
    ]


def _results(request: Request, context: Context, view: SurveyView) -> dict[str, Any]:
    try:
        return results_of(plans_with(request, context, view, NOTHING))
    except CorrosionError as error:
        return {"problem": str(error)}


def results_of(plans: Plans) -> dict[str, Any]:
    """Return what the results show."""
    survey = plans.assessment.survey
    result = plans.decision if survey.decision is not None else None
    names = {one.id: one.name for one in survey.structure.members}
    return {
        "problem": "",
        "dispositions": [(one, names.get(one.member_id, "")) for one in plans.dispositions],
        "seen": {
            one.member.id: {face: one.coverage[face].share for face in Face if face in one.coverage}
            for one in plans.assessment.members
        },
        "unseen": [(one, unseen_lines(one, plans.unit)) for one in plans.unseen],
        "result": result,
        "pictures": pictures(result) if result else [],
        "worth": _worth(result) if result else [],
        "spread_text": spread_text,
        "shares": share_text,
        "money": money_text,
        "least_share": LEAST_SHARE,
        "action_class": ACTION_CLASS,
        "action_symbol": ACTION_SYMBOL,
    }


def _worth(result: DecisionResult) -> list[Any]:
    """List what is worth measuring: more than pure noise would seem to be."""
    return [one for one in result.measurements if one.value > 2.0 * result.noise]


def pictures(result: DecisionResult) -> list[Picture]:
    """Draw every plot that has something to show, each with its words.

    They are data addresses, because a trial's plots have no address of their own.
    """
    # The drawing library takes long to load, and a survey without a decision draws nothing.
    from corrosion.report.decision_plots import draw_decision  # noqa: PLC0415

    titles: tuple[tuple[Plot, str], ...] = (
        ("money", "Money"),
        ("days", "Days out of use"),
        ("drivers", "What the doubt comes from"),
        ("break-even", "Break-even price"),
    )
    found = []
    for plot, title in titles:
        target = io.BytesIO()
        if draw_decision(result, target, plot):
            data = base64.b64encode(target.getvalue()).decode("ascii")
            found.append(Picture(f"data:image/svg+xml;base64,{data}", title, _words(result, plot)))
    return found


def _words(result: DecisionResult, plot: Plot) -> str:
    """Say what a plot shows."""
    if plot == "money":
        parts = [f"{o.name}: {spread_text(o.money, result.currency)}" for o in result.options]
        return f"Spread of money. {'; '.join(parts)}."
    if plot == "days":
        parts = [f"{o.name}: {spread_text(o.days)}" for o in result.options]
        return f"Spread of calendar days. {'; '.join(parts)}."
    if plot == "drivers":
        parts = [
            f"{d.name} {share_text(d.variance_share)}"
            for d in result.drivers
            if d.variance_share >= LEAST_SHARE
        ]
        return f"Share of the doubt by input: {'; '.join(parts[:10])}."
    parts = [
        f"{c.candidate_id} at {money_text(c.break_even.price.p50, result.currency)}"
        for c in result.comparisons
        if c.break_even
    ]
    even = "; ".join(parts)
    return f"Probability that a replacement costs less than the repair, by its price. Even: {even}."


def spread_text(spread: Spread5 | None, currency: str = "") -> str:
    """Write a spread: the median, and the range that holds 90 %."""
    if spread is None:
        return "not determined"
    if currency:
        low, half, high = (money_text(v, currency) for v in (spread.p5, spread.p50, spread.p95))
    else:
        low, half, high = (f"{v:.0f}" for v in (spread.p5, spread.p50, spread.p95))
    return f"{half} (90 %: {low} to {high})"
