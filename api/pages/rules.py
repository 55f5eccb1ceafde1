"""The rules page: every row with who says so, and what the table leaves open."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.context import ContextDep
from api.pages.plan_rows import ACTION_CLASS, ACTION_SYMBOL
from api.pages.rule_gaps import find_gaps
from api.pages.surveys import survey_frame
from api.pages.templating import render
from api.services import SurveyView
from corrosion.model import Structure
from corrosion.model.base import Identifier
from corrosion.model.planning import Action, Comparison, Condition, Planning, RuleQuantity, RuleRow
from corrosion.rules import chosen_rules, load_rule_set, parse_rule_set, rule_set_names
from corrosion.rules.evaluate import QUANTITY_WORDS

router = APIRouter()

STATED = (
    RuleQuantity.ADJACENT_UNAFFECTED,
    RuleQuantity.ATTACHMENT_POSSIBLE,
    RuleQuantity.GREATER_THAN_MINOR,
    RuleQuantity.CRITICAL,
)
OPERATOR_WORDS: dict[Comparison, str] = {
    Comparison.LESS: "under",
    Comparison.AT_MOST: "up to",
    Comparison.MORE: "over",
    Comparison.AT_LEAST: "from",
}


class TriedRules(BaseModel):
    """Rules to look at before they are kept."""

    model_config = ConfigDict(extra="forbid")
    rules: list[RuleRow] = []
    rule_set: Identifier | None = None


class RulesTrial(BaseModel):
    """What the page sends while somebody types."""

    model_config = ConfigDict(extra="forbid")
    rules: TriedRules = TriedRules()


class RulesFile(BaseModel):
    """A rule file as a person chose it."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(max_length=200)] = ""
    text: Annotated[str, Field(max_length=1_000_000)]


@router.get("/surveys/{survey_id}/rules")
def rules_page(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Show the rules in force, the form to state one's own, and the published examples."""
    view = context.services.survey(survey_id)
    planning = Planning.model_validate(context.planner.choice(survey_id, "planning").document or {})
    structure = Structure.model_validate(view.structure.document)
    sets = [load_rule_set(name) for name in rule_set_names()]
    return render(
        request,
        "rules.html",
        **survey_frame(request, view),
        **in_force(planning, view),
        sets=[(one, find_gaps(one.rules)) for one in sets],
        kinds=sorted({one.kind for one in structure.members}),
        quantities=[(str(one), QUANTITY_WORDS[one], one in STATED) for one in RuleQuantity],
        operators=[(str(op), words) for op, words in OPERATOR_WORDS.items()],
        actions=[str(one) for one in Action if one is not Action.NOT_DETERMINED],
    )


@router.get("/surveys/{survey_id}/rules/table")
def rules_table(request: Request, survey_id: str, context: ContextDep) -> Response:
    """Give the rules in force as they are kept."""
    view = context.services.survey(survey_id)
    planning = Planning.model_validate(context.planner.choice(survey_id, "planning").document or {})
    return render(request, "rules_table.html", **survey_frame(request, view), **in_force(planning, view))


@router.post("/surveys/{survey_id}/rules/try")
def rules_try(request: Request, survey_id: str, body: RulesTrial, context: ContextDep) -> Response:
    """Give the same for rules that are not kept; nothing is stored."""
    view = context.services.survey(survey_id)
    planning = Planning(rules=body.rules.rules, rule_set=body.rules.rule_set)
    return render(request, "rules_table.html", **survey_frame(request, view), **in_force(planning, view))


@router.post("/surveys/{survey_id}/rules/file")
def rules_file(survey_id: str, body: RulesFile, context: ContextDep) -> dict[str, Any]:
    """Read the rows of a rule file (TOML or JSON) for the form; nothing is stored.

    Raises
    ------
    RuleSetError
        If it cannot be read, or a row has no source, edition or paragraph.
    """
    context.services.survey(survey_id)
    found = parse_rule_set(body.text, place=body.name or "the rule file")
    return {"title": found.title, "rules": [row.model_dump(mode="json") for row in found.rules]}


def in_force(planning: Planning, view: SurveyView) -> dict[str, Any]:
    """Return what the table of rules shows."""
    chosen = chosen_rules(planning)
    kinds = {one["kind"] for one in view.structure.document["members"]}
    named = {kind.casefold() for row in chosen.rows for kind in row.applies_to}
    every = any(not row.applies_to for row in chosen.rows)
    return {
        "title": chosen.name,
        "rows": chosen.rows,
        "uncovered": [] if every else sorted(kind for kind in kinds if kind.casefold() not in named),
        "gaps": find_gaps(chosen.rows) if chosen.rows else [],
        "condition_words": condition_words,
        "action_class": ACTION_CLASS,
        "action_symbol": ACTION_SYMBOL,
    }


def condition_words(condition: Condition) -> str:
    """Write one comparison of a rule."""
    name = QUANTITY_WORDS[condition.quantity]
    if condition.op is Comparison.IS:
        return f"{name}: {'yes' if condition.value else 'no'}"
    return f"{name} {OPERATOR_WORDS[condition.op]} {100.0 * float(condition.value):g} %"
