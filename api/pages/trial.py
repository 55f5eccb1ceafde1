"""What a survey's plan and decision would be with other limits, allowances, ratios, rules or prices.

Nothing here is stored: a planner tries values, sees what they do, and keeps them or lets them go.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fastapi import Request
from pydantic import BaseModel, ConfigDict

from api.choices import members_named
from api.context import Context
from api.errors import Fault, InvalidError
from api.exchange import Export
from api.pages.surveys import survey_display
from api.planning import Plans
from api.services import SurveyView
from corrosion.model import Limit, LimitZone, Member, SurveyFile, in_millimetres
from corrosion.model.decision import Decision
from corrosion.model.planning import Planning
from corrosion.removal.reasons import judge_member
from corrosion.results import Assessment
from corrosion.survey import assess
from corrosion.units import LengthUnit


class MemberLimits(BaseModel):
    """A member's limit and its zones with limits of their own, both to be replaced."""

    model_config = ConfigDict(extra="forbid")
    limit: Limit | None
    limit_zones: list[LimitZone]


class Trial(BaseModel):
    """Values to try, in the survey's own unit; what is left out stays as it is kept.

    `limits` are by member: the limit alone, or with the zones; null takes a member's limit away.
    """

    model_config = ConfigDict(extra="forbid")
    planning: Planning | None = None
    decision: Decision | None = None
    limits: dict[str, Limit | MemberLimits | None] = {}


NOTHING = Trial()


def plans_with(request: Request, context: Context, view: SurveyView, trial: Trial = NOTHING) -> Plans:
    """Work out plan and decision with a trial's values, worded in the unit the person chose.

    Raises
    ------
    InvalidError
        If the trial names a member that the structure has not.
    CorrosionError
        If a fault in the survey stops the sums.
    """
    unit = survey_display(request, view).units
    if not trial.model_fields_set:
        kept = context.planner.plans(view.row.id)
        if kept.unit == unit:
            return kept
    export = context.exchange.export(view.row.id)
    file = _tried(export.file, trial, unit)
    assessment = _assessed(context, export, file, limits=bool(trial.limits))
    return Plans(
        assessment, ((view.row.id, 0, 0), 0, 0), context.planner.candidates(replace(export, file=file))
    )


def _tried(file: SurveyFile, trial: Trial, unit: LengthUnit) -> SurveyFile:
    changes: dict[str, Any] = {"display_units": unit}
    for name in ("planning", "decision"):
        if name in trial.model_fields_set:
            changes[name] = getattr(trial, name) or (Planning() if name == "planning" else None)
    members = {member.id for member in file.structure.members}
    _must_know(trial, members)
    if trial.limits:
        limited = [_limited(member, trial.limits) for member in file.structure.members]
        changes["structure"] = file.structure.model_copy(update={"members": limited})
    return file.model_copy(update=changes)


def _limited(member: Member, limits: dict[str, Limit | MemberLimits | None]) -> Member:
    if member.id not in limits:
        return member
    tried = limits[member.id]
    if isinstance(tried, MemberLimits):
        return member.model_copy(update={"limit": tried.limit, "limit_zones": tried.limit_zones})
    return member.model_copy(update={"limit": tried})


def _must_know(trial: Trial, members: set[str]) -> None:
    named = [(f"body.limits.{one}", one) for one in trial.limits]
    for part in ("planning", "decision"):
        named += [(f"body.{part}.{path}", name) for path, name in members_named(getattr(trial, part))]
    faults = [
        Fault(path=path, message=f"there is no member {name!r}", value=name)
        for path, name in named
        if name not in members
    ]
    if faults:
        raise InvalidError(f"{faults[0]['message']}.", place=faults[0]["path"], faults=faults)


def _assessed(context: Context, export: Export, file: SurveyFile, *, limits: bool) -> Assessment:
    """Assess; only limits have a say in the sums, everything else takes the sums that are kept."""
    if limits:
        return assess(file, sizes=export.sizes)
    kept = context.results.of(export)
    found = replace(kept.assessment, survey=in_millimetres(file))
    unit: LengthUnit = file.display_units or file.units
    if unit == (kept.assessment.survey.display_units or kept.unit):
        return found
    members = [
        replace(
            one,
            reasons=judge_member(
                kept.removal(one.member.id), one.readings, one.coverage, one.least_margin, unit
            )[1],
        )
        for one in found.members
    ]
    return replace(found, members=members)
