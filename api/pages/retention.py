"""The retention page: what is due for review, the labels and their sources, labels on a survey."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel

from api import repository as repo
from api.actor import Role, current_actor
from api.context import Context, ContextDep
from api.errors import kind_of
from api.pages.templating import render
from api.routes.search import today
from api.search.retention import MarkIn, RetentionLabel, checked_day
from corrosion.errors import CorrosionError

router = APIRouter()
Text = Annotated[str, Form()]


@router.get("/retention")
def retention_page(
    request: Request,
    context: ContextDep,
    survey: Annotated[str, Query(max_length=32)] = "",
    on: Annotated[str, Query(max_length=10)] = "",
) -> Response:
    """Show what is due by a day, the labels, and those of one survey if it is named."""
    return _page(request, context, survey=survey, on=on)


class LabelForm(BaseModel):
    """The form of a new label, as typed."""

    name: str = ""
    rule: str = ""
    keep_until: str = ""
    keep_months: str = ""
    document: str = ""
    paragraph: str = ""
    revision: str = ""

    def label(self) -> RetentionLabel:
        """Return the label; `InvalidError` if it does not hold together."""
        source = {"document": self.document, "paragraph": self.paragraph, "revision": self.revision}
        known = {"name": self.name.strip(), "rule": self.rule, "source": source}
        keep = {"keep_until": self.keep_until or None, "keep_months": self.keep_months or None}
        return repo.check(RetentionLabel, known | keep, path="label")


class MarkForm(BaseModel):
    """The form that sets a label on a survey, as typed."""

    survey: str = ""
    label_id: str = ""
    starts: str = ""
    note: str = ""


@dataclass(frozen=True)
class Said:
    """What a form was refused for, and what was typed into it."""

    problem: str = ""
    typed: dict[str, str] = field(default_factory=dict)
    form: str = ""
    status: int = 200


@router.post("/retention/labels")
def add_label(request: Request, context: ContextDep, typed: Annotated[LabelForm, Form()]) -> Response:
    """Enter a label; without a source it is refused, and nothing that was typed is lost."""

    def store() -> str:
        context.search.retention.add_label(typed.label())
        return "/retention#labels"

    return _done_or_said(request, context, store, typed=typed)


@router.post("/retention/labels/{label_id}/retire")
def retire_label(
    request: Request, label_id: str, context: ContextDep, version: Annotated[int, Form(ge=1)]
) -> Response:
    """Take a label off the list."""

    def store() -> str:
        context.search.retention.retire_label(label_id, version)
        return "/retention#labels"

    return _done_or_said(request, context, store)


@router.post("/retention/marks")
def set_mark(request: Request, context: ContextDep, typed: Annotated[MarkForm, Form()]) -> Response:
    """Set a label on a survey."""

    def store() -> str:
        body = {"label_id": typed.label_id, "starts": typed.starts or None, "note": typed.note}
        context.search.retention.mark(typed.survey, repo.check(MarkIn, body, path="label"))
        return f"/retention?survey={quote(typed.survey)}"

    return _done_or_said(request, context, store, survey=typed.survey, typed=typed)


@router.post("/retention/marks/{mark_id}/lift")
def lift_mark(
    request: Request,
    mark_id: str,
    context: ContextDep,
    version: Annotated[int, Form(ge=1)],
    reason: Text = "",
    survey: Text = "",
) -> Response:
    """Lift a label from a survey, with the reason."""

    def store() -> str:
        context.search.retention.lift(mark_id, version, reason)
        return f"/retention?survey={quote(survey)}" if survey else "/retention"

    return _done_or_said(request, context, store, survey=survey)


def _done_or_said(
    request: Request,
    context: Context,
    store: Callable[[], str],
    *,
    survey: str = "",
    typed: BaseModel | None = None,
) -> Response:
    """Store something and go where it is seen, or show the page again with what is wrong."""
    try:
        return RedirectResponse(store(), 303)
    except CorrosionError as error:
        form = type(typed).__name__ if typed else ""
        said = Said(str(error), typed.model_dump() if typed else {}, form, kind_of(error).status)
        return _page(request, context, survey=survey, said=said)


def _page(
    request: Request, context: Context, *, survey: str = "", on: str = "", said: Said | None = None
) -> Response:
    retention, said = context.search.retention, said or Said()
    try:
        day = checked_day(on or None) or today()
    except ValueError:
        day = today()
        said = Said(f"{on!r} is not a day of the calendar; today is shown.")
    return render(
        request,
        "retention.html",
        status=said.status,
        on=day,
        due=retention.due(day),
        later=retention.coming(day),
        labels=[(row, RetentionLabel.model_validate(row.document)) for row in retention.labels()],
        one=_survey(context, survey) if survey else None,
        said=said,
        may_keep=bool(current_actor().roles & {Role.CLERK, Role.ADMINISTRATOR}),
    )


def _survey(context: Context, identifier: str) -> dict[str, Any]:
    """Return a survey's names and its labels; `NotFoundError` if there is none."""
    view = context.services.survey(identifier)
    marks = context.search.retention.marks(identifier)
    return {
        "id": view.row.id,
        "name": view.row.name or "Survey without a name",
        "structure": view.structure.name,
        "date": view.row.document["survey"].get("date") or "",
        "standing": [mark for mark in marks if mark.row.lifted_at is None],
        "lifted": [mark for mark in marks if mark.row.lifted_at is not None],
    }
