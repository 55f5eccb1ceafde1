"""People: who may sign in, and as what. For administrators, but for `/me`."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Path, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.actor import Role
from api.context import Context, ContextDep, ExpectedVersion, etag
from api.errors import ConflictError
from api.people.accounts import COMMAND, Details, roles_of
from api.people.passwords import generated
from api.people.sessions import LOCALLY, Identity
from api.people.tables import AccountRow
from api.routes import EDIT, problems

router = APIRouter(tags=["people"])
AccountId = Annotated[str, Path(description="Identifier of the account.")]


class PersonIn(BaseModel):
    """What can be said of a person beside name and password."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "display_name": "Inga Mäkelä",
                    "roles": ["inspector"],
                    "certificate_number": "NDT-0417",
                    "certificate_kind": "Visual testing, level 2",
                }
            ]
        },
    )
    display_name: Annotated[str, Field(max_length=120, description="As records show it.")]
    roles: Annotated[
        list[Role], Field(max_length=4, description="What the person may do; none: read only.")
    ] = []
    certificate_number: Annotated[
        str, Field(max_length=80, description="As typed; offered when the person signs.")
    ] = ""
    certificate_kind: Annotated[str, Field(max_length=120, description="Likewise.")] = ""

    def details(self) -> Details:
        """Return what the use cases take."""
        return Details(
            self.display_name, frozenset(self.roles), self.certificate_number, self.certificate_kind
        )


class NewPersonIn(PersonIn):
    """A person to be added."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [{"name": "inga", "display_name": "Inga Mäkelä", "roles": ["inspector"]}]
        },
    )
    name: Annotated[
        str, Field(max_length=64, description="Name to sign in with; case makes no difference.")
    ]


class PersonRecord(BaseModel):
    """An account."""

    id: str
    version: int
    created: datetime
    name: str
    display_name: str
    roles: list[Role]
    certificate_number: str
    certificate_kind: str
    must_change: Annotated[bool, Field(description="The password was set by somebody else.")]
    disabled_at: datetime | None


class PasswordRecord(BaseModel):
    """A first password, told this once; the person has to change it at the first sign-in."""

    password: str
    person: PersonRecord


class MeRecord(BaseModel):
    """Who is asking."""

    name: Annotated[str, Field(description="As records show it.")]
    roles: list[Role]
    via: Annotated[
        Literal["local", "session", "token", "command"],
        Field(description="`local`: the service has no accounts, so everything is allowed."),
    ]


def identity_of(request: Request) -> Identity:
    """Return who sent a request that the guard has let through."""
    found: Identity | None = getattr(request.state, "identity", None)
    return found or LOCALLY


def with_accounts(request: Request) -> Identity:
    """Return who sent a request; `ConflictError` where there are no accounts yet.

    The first one is added by the command line only: whoever can run it has the machine already, and no
    page elsewhere can do it.
    """
    identity = identity_of(request)
    if identity is LOCALLY:
        raise ConflictError(
            "this service has no accounts yet.", remedy=f"Add the first administrator: {COMMAND}"
        )
    return identity


def account_to_change(request: Request, context: Context, account_id: str) -> AccountRow:
    """Return the account that somebody is about to change."""
    with_accounts(request)
    return context.people.accounts.one(account_id)


@router.get("/me", summary="Ask who one is")
def who_am_i(request: Request) -> MeRecord:
    """Return who the request comes from, and with which roles."""
    actor = identity_of(request).actor
    return MeRecord(name=actor.name, roles=[role for role in Role if role in actor.roles], via=actor.via)


@router.get("/people", summary="List people")
def list_people(context: ContextDep) -> list[PersonRecord]:
    """List all accounts by name, disabled ones too."""
    return [person_record(row) for row in context.people.accounts.everybody()]


@router.post(
    "/people",
    status_code=201,
    summary="Add a person",
    responses=problems(400, 401, 403, 409, 413, 422),
    dependencies=[Depends(with_accounts)],
)
def add_person(body: NewPersonIn, response: Response, context: ContextDep) -> PasswordRecord:
    """Add a person and return a first password, which is shown this once."""
    password = generated()
    row = context.people.accounts.add(body.name, body.details(), password, must_change=True)
    etag(response, row.version)
    _never_keep(response)
    response.headers["Location"] = f"/api/people/{row.id}"
    return PasswordRecord(password=password, person=person_record(row))


@router.get("/people/{account_id}", summary="Read an account", responses=problems(401, 403, 404))
def read_person(account_id: AccountId, response: Response, context: ContextDep) -> PersonRecord:
    """Read an account and its ETag."""
    row = context.people.accounts.one(account_id)
    etag(response, row.version)
    return person_record(row)


@router.put("/people/{account_id}", summary="Edit an account", responses=problems(*EDIT))
def edit_person(
    account_id: AccountId, body: PersonIn, response: Response, context: ContextDep, version: ExpectedVersion
) -> PersonRecord:
    """Replace what is said of a person, and the roles. The last administrator stays one."""
    row = context.people.accounts.change(account_id, version, body.details())
    etag(response, row.version)
    return person_record(row)


@router.post(
    "/people/{account_id}/password",
    summary="Give a person a new first password",
    responses=problems(401, 403, 404, 409),
)
def reset_password(
    account_id: AccountId, request: Request, response: Response, context: ContextDep
) -> PasswordRecord:
    """Replace a forgotten password; all sessions end and all tokens are revoked. It is shown this once."""
    account_to_change(request, context, account_id)
    password = generated()
    context.people.accounts.set_password(account_id, password, must_change=True)
    _never_keep(response)
    return PasswordRecord(password=password, person=person_record(context.people.accounts.one(account_id)))


@router.post(
    "/people/{account_id}/disable", summary="Keep a person out", responses=problems(401, 403, 404, 409)
)
def disable_person(account_id: AccountId, request: Request, context: ContextDep) -> PersonRecord:
    """Disable an account: its sessions end, its tokens are revoked; what it recorded keeps its name."""
    account_to_change(request, context, account_id)
    context.people.accounts.disable(account_id)
    return person_record(context.people.accounts.one(account_id))


@router.post(
    "/people/{account_id}/enable", summary="Let a person in again", responses=problems(401, 403, 404, 409)
)
def enable_person(account_id: AccountId, request: Request, context: ContextDep) -> PersonRecord:
    """Enable a disabled account, with the password of before."""
    account_to_change(request, context, account_id)
    context.people.accounts.enable(account_id)
    return person_record(context.people.accounts.one(account_id))


@router.post(
    "/people/{account_id}/sign-out",
    status_code=204,
    summary="Sign a person out everywhere",
    responses=problems(401, 403, 404, 409),
)
def sign_out_person(account_id: AccountId, request: Request, context: ContextDep) -> None:
    """End all sessions of a person; tokens stay."""
    account_to_change(request, context, account_id)
    context.people.accounts.sign_out(account_id)


def person_record(row: AccountRow) -> PersonRecord:
    """Wire form of an account."""
    return PersonRecord(
        id=row.id,
        version=row.version,
        created=row.created,
        name=row.name,
        display_name=row.display_name,
        roles=[role for role in Role if role in roles_of(row)],
        certificate_number=row.certificate_number,
        certificate_kind=row.certificate_kind,
        must_change=row.must_change,
        disabled_at=row.disabled_at,
    )


def _never_keep(response: Response) -> None:
    response.headers["Cache-Control"] = "no-store"
