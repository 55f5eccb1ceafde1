"""The pages of an administrator: all people, and one of them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel

from api.actor import Role
from api.context import Context, ContextDep
from api.errors import InvalidError, kind_of
from api.pages.people_words import ROLE_MEANING, role_words
from api.pages.templating import render
from api.people.accounts import COMMAND, Details, roles_from, roles_of
from api.people.passwords import generated
from api.people.sessions import LOCALLY
from api.people.tables import AccountRow
from api.routes.people import account_to_change, with_accounts
from corrosion.errors import CorrosionError

router = APIRouter()


class PersonForm(BaseModel):
    """The fields of both forms about a person."""

    name: str = ""
    version: str = ""
    display_name: str = ""
    roles: list[str] = []
    certificate_number: str = ""
    certificate_kind: str = ""

    def details(self) -> Details:
        """Return what the use cases take; `InvalidError` for a role that does not exist."""
        shown = self.display_name.strip() or self.name
        return Details(shown, roles_from(self.roles), self.certificate_number, self.certificate_kind)


Filled = Annotated[PersonForm, Form()]


@router.get("/people")
def people_page(request: Request, context: ContextDep) -> Response:
    """List everybody, with a form to add somebody."""
    return _people(request, context)


@router.post("/people")
def add(request: Request, context: ContextDep, form: Filled) -> Response:
    """Add a person; the first password is shown this once."""
    with_accounts(request)
    password = generated()
    try:
        row = context.people.accounts.add(form.name, form.details(), password, must_change=True)
    except CorrosionError as error:
        return _people(request, context, error=error, filled=form.model_dump())
    return _person(request, context, row, password=password, done="added")


@router.get("/people/{account_id}")
def person_page(request: Request, account_id: str, context: ContextDep) -> Response:
    """Show one person, with a form to change what they may do."""
    return _person(request, context, context.people.accounts.one(account_id))


@router.post("/people/{account_id}")
def edit(request: Request, account_id: str, context: ContextDep, form: Filled) -> Response:
    """Change what is said of a person, and the roles."""
    row = account_to_change(request, context, account_id)
    try:
        if not (form.version.isascii() and form.version.isdigit() and len(form.version) < 10):
            raise InvalidError("the form does not say which version it edits.", remedy="Load it again.")
        context.people.accounts.change(account_id, int(form.version), form.details())
    except CorrosionError as error:
        return _person(request, context, row, error=error)
    return RedirectResponse(f"/people/{account_id}?done=saved", 303)


@router.post("/people/{account_id}/password")
def reset_password(request: Request, account_id: str, context: ContextDep) -> Response:
    """Give a person a new first password, shown this once."""
    account_to_change(request, context, account_id)
    password = generated()
    context.people.accounts.set_password(account_id, password, must_change=True)
    return _person(
        request, context, context.people.accounts.one(account_id), password=password, done="password"
    )


@router.post("/people/{account_id}/disable")
def disable(request: Request, account_id: str, context: ContextDep) -> Response:
    """Keep a person out."""
    row = account_to_change(request, context, account_id)
    try:
        context.people.accounts.disable(account_id)
    except CorrosionError as error:
        return _person(request, context, row, error=error)
    return RedirectResponse(f"/people/{account_id}?done=disabled", 303)


@router.post("/people/{account_id}/enable")
def enable(request: Request, account_id: str, context: ContextDep) -> Response:
    """Let a person in again."""
    account_to_change(request, context, account_id)
    context.people.accounts.enable(account_id)
    return RedirectResponse(f"/people/{account_id}?done=enabled", 303)


@router.post("/people/{account_id}/sign-out")
def sign_out(request: Request, account_id: str, context: ContextDep) -> Response:
    """Sign a person out everywhere."""
    account_to_change(request, context, account_id)
    context.people.accounts.sign_out(account_id)
    return RedirectResponse(f"/people/{account_id}?done=signed-out", 303)


def _people(request: Request, context: Context, **values: Any) -> Response:
    error: CorrosionError | None = values.get("error")
    local = request.state.identity is LOCALLY
    rows = context.people.accounts.everybody()
    return render(
        request,
        "people.html",
        status=kind_of(error).status if error else 200,
        people=[{"row": row, "roles": role_words(roles_of(row))} for row in rows],
        local=local,
        command=COMMAND,
        meanings=ROLE_MEANING,
        **{"error": None, "filled": {}} | values,
    )


def _person(request: Request, context: Context, row: AccountRow, **values: Any) -> Response:
    error: CorrosionError | None = values.get("error")
    response = render(
        request,
        "person.html",
        status=kind_of(error).status if error else 200,
        account=row,
        held=set(roles_of(row)),
        meanings=ROLE_MEANING,
        administrator=Role.ADMINISTRATOR,
        sessions=len(context.people.sessions.of(row.id)),
        tokens=len(context.people.tokens.of(row.id)),
        myself=request.state.identity.actor.key == row.id,
        **{"error": None, "password": "", "done": request.query_params.get("done", "")} | values,
    )
    response.headers["Cache-Control"] = "no-store"
    return response
