"""Signing in and out, and the page of one's own account: password, sessions, tokens."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from api.context import Context, ContextDep
from api.errors import ConflictError, kind_of
from api.pages.people_words import browser_words, role_words
from api.pages.preferences import local_path
from api.pages.templating import render
from api.people.accounts import COMMAND, roles_of
from api.people.passwords import LEAST, MOST
from api.people.service import browser_of, is_near
from api.people.sessions import LOCALLY, Identity
from api.problems import headers_of
from corrosion.errors import CorrosionError

router = APIRouter()
SIGN_IN, ACCOUNT = "/sign-in", "/account"
Text = Annotated[str, Form()]


@router.get(SIGN_IN)
def sign_in_page(request: Request, next: str = "/", again: int = 0) -> Response:  # noqa: A002 - the address
    """Show the form to sign in, or go on if somebody already is."""
    if request.state.identity is not None:
        return RedirectResponse(local_path(next), 303)
    # A strict cookie stays at home when a link on another site is followed. Loading the form once more
    # from here brings it along, and whoever is signed in goes on without noticing.
    from_elsewhere = request.headers.get("sec-fetch-site") in {"cross-site", "same-site"}
    return _sign_in_form(request, next, reload=from_elsewhere and not again)


@router.post(SIGN_IN)
def sign_in(
    request: Request,
    context: ContextDep,
    name: Text = "",
    password: Text = "",
    next: Text = "/",  # noqa: A002
) -> Response:
    """Sign a person in and go on to where they wanted to."""
    if request.state.identity is LOCALLY:
        return RedirectResponse("/", 303)
    people = context.people
    browser = browser_of(request.scope, request.headers)
    try:
        secret = people.sessions.sign_in(name, password, browser, before=people.secret_of(request.headers))
    except CorrosionError as error:
        return _sign_in_form(request, next, name=name, error=error)
    response = RedirectResponse(local_path(next), 303)
    people.keep(response, secret)
    return response


@router.post("/sign-out")
def sign_out(request: Request, context: ContextDep) -> Response:
    """End this session."""
    identity: Identity | None = request.state.identity
    if identity is None or identity is LOCALLY:
        return RedirectResponse(SIGN_IN, 303)
    context.people.sessions.end(identity.actor.key, identity.door)
    response = RedirectResponse(SIGN_IN, 303)
    # What pages this person saw must not come back by the browser's "back" (W3C Clear Site Data).
    response.headers["Clear-Site-Data"] = '"cache"'
    context.people.forget(response)
    return response


@router.get(ACCOUNT)
def account_page(request: Request, context: ContextDep) -> Response:
    """Show one's own account."""
    return _account(request, context)


@router.post(ACCOUNT)
def describe(
    request: Request,
    context: ContextDep,
    display_name: Text = "",
    certificate_number: Text = "",
    certificate_kind: Text = "",
) -> Response:
    """Change one's own name in records, or the certificate."""
    try:
        context.people.accounts.describe(
            _own(request).actor.key, display_name, certificate_number, certificate_kind
        )
    except CorrosionError as error:
        return _account(request, context, error=error, at="details")
    return RedirectResponse(f"{ACCOUNT}?done=details", 303)


@router.post("/account/password")
def change_password(
    request: Request, context: ContextDep, old: Text = "", new: Text = "", repeated: Text = ""
) -> Response:
    """Change one's own password; all other sessions end."""
    identity = _own(request)
    try:
        if new != repeated:
            raise ConflictError("the new password was typed in two ways.", remedy="Type it twice alike.")
        browser = browser_of(request.scope, request.headers)
        secret = context.people.sessions.change_password(identity, old, new, browser)
    except CorrosionError as error:
        return _account(request, context, error=error, at="password")
    response = RedirectResponse(f"{ACCOUNT}?done=password", 303)
    context.people.keep(response, secret)
    return response


@router.post("/account/sessions/end")
def end_other_sessions(request: Request, context: ContextDep) -> Response:
    """Sign out everywhere but here."""
    identity = _own(request)
    context.people.accounts.sign_out(identity.actor.key, keep=identity.door)
    return RedirectResponse(f"{ACCOUNT}?done=sessions#sessions", 303)


@router.post("/account/sessions/{session_id}/end")
def end_session(request: Request, session_id: str, context: ContextDep) -> Response:
    """Sign out one browser."""
    context.people.sessions.end(_own(request).actor.key, session_id)
    return RedirectResponse(f"{ACCOUNT}?done=sessions#sessions", 303)


@router.post("/account/tokens")
def make_token(
    request: Request, context: ContextDep, label: Text = "", scope: Text = "read", days: Text = "90"
) -> Response:
    """Make a token and show it this once."""
    number = int(days) if days.isascii() and days.isdigit() and len(days) < 6 else 0
    try:
        secret, _ = context.people.tokens.make(_own(request).actor.key, label, scope, number)
    except CorrosionError as error:
        return _account(request, context, error=error, at="tokens")
    return _account(request, context, token=secret)


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(request: Request, token_id: str, context: ContextDep) -> Response:
    """Revoke a token."""
    context.people.tokens.revoke(_own(request).actor.key, token_id)
    return RedirectResponse(f"{ACCOUNT}?done=tokens#tokens", 303)


def _own(request: Request) -> Identity:
    identity: Identity = request.state.identity
    if identity is LOCALLY:
        raise ConflictError(
            "this service has no accounts yet.", remedy=f"Add the first administrator: {COMMAND}"
        )
    return identity


def _sign_in_form(request: Request, next_: str, **values: Any) -> Response:
    error: CorrosionError | None = values.get("error")
    settings = request.app.state.context.settings
    plain = settings.secure_cookies and request.url.scheme == "http" and not is_near(request.scope)
    response = render(
        request,
        "sign_in.html",
        status=kind_of(error).status if error else 200,
        next=local_path(next_),
        plain=plain,
        **values,
    )
    if error:
        response.headers.update(headers_of(error))
    response.headers["Cache-Control"] = "no-store"
    return response


def _account(request: Request, context: Context, **values: Any) -> Response:
    identity: Identity = request.state.identity
    error: CorrosionError | None = values.get("error")
    if identity is LOCALLY:
        return render(request, "account.html", account=None, command=COMMAND)
    people = context.people
    account = people.accounts.one(identity.actor.key)
    response = render(
        request,
        "account.html",
        status=kind_of(error).status if error else 200,
        account=account,
        roles=role_words(roles_of(account)),
        sessions=[
            {"row": row, "browser": browser_words(row.browser), "here": row.id == identity.door}
            for row in people.sessions.of(account.id)
        ],
        tokens=people.tokens.of(account.id),
        least=LEAST,
        most=MOST,
        **{"error": None, "at": "", "token": "", "done": request.query_params.get("done", "")} | values,
    )
    response.headers["Cache-Control"] = "no-store"
    return response
