"""``corrosion people``: add, list, disable, enable, set passwords; the only way to the first account."""
# ruff: noqa: PLC0415

from __future__ import annotations

import getpass
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.actor import Actor, Role, acting_as
from api.console import make_console, show
from corrosion.errors import CorrosionError

if TYPE_CHECKING:
    from rich.table import Table

    from api.people.accounts import Accounts
    from api.people.tables import AccountRow

Data = Annotated[
    Path | None,
    typer.Option("--data", metavar="DIR", help="Folder of the service's data, as in 'corrosion serve'."),
]
Name = Annotated[
    str, typer.Argument(metavar="NAME", help="Name to sign in with; case makes no difference.")
]
MustChange = Annotated[
    bool,
    typer.Option(
        "--must-change", help="Somebody else will use it: it has to be changed at the first sign-in."
    ),
]
HOW_ASKED = (
    "The password is asked for at the terminal, or read from the first line of standard input; it is never "
    "an argument, which other users of the machine could read."
)


def register(app: typer.Typer, epilog: str) -> None:
    """Add the commands to the command line."""
    people = typer.Typer(
        no_args_is_help=True, help="Accounts of the service: who may sign in, and as what."
    )
    people.command(epilog=HOW_ASKED)(add)
    people.command(name="list", epilog=epilog)(list_people)
    people.command(epilog=epilog)(disable)
    people.command(epilog=epilog)(enable)
    people.command(epilog=HOW_ASKED)(reset_password)
    app.add_typer(people, name="people")


def add(
    name: Name,
    roles: Annotated[
        list[Role] | None,
        typer.Option(
            "--role",
            help="What the person may do; may be repeated. Without one: read only.",
            show_default=False,
        ),
    ] = None,
    display_name: Annotated[
        str, typer.Option("--display-name", help="Name that records show; NAME if not given.")
    ] = "",
    certificate: Annotated[
        str, typer.Option("--certificate", help="Certificate number, offered when the person signs.")
    ] = "",
    certificate_kind: Annotated[
        str, typer.Option("--certificate-kind", help="What the certificate is.")
    ] = "",
    must_change: MustChange = False,
    data: Data = None,
) -> None:
    """Add a person. From the first administrator on everybody has to sign in."""
    from api.people.accounts import Details, checked_name

    checked_name(name)
    details = Details(display_name or name, frozenset(roles or ()), certificate, certificate_kind)
    with _accounts(data) as accounts:
        first = not accounts.exist()
        row = accounts.add(name, details, _password(), must_change=must_change)
    console = make_console()
    console.print(f"Added {row.name}: {row.roles.replace(' ', ', ') or 'may read only'}.", soft_wrap=True)
    if first:
        console.print(
            "Everybody has to sign in from now on. Add the others on the page People, or here.",
            soft_wrap=True,
        )


def list_people(data: Data = None) -> None:
    """List the accounts."""
    with _accounts(data) as accounts:
        rows = accounts.everybody()
    console = make_console()
    if not rows:
        console.print("No accounts: everything is allowed to whoever uses this machine.", soft_wrap=True)
        return
    show(console, _table(rows))


def disable(name: Name, data: Data = None) -> None:
    """Keep a person out. What they recorded stays, with their name."""
    with _accounts(data) as accounts:
        row = accounts.named(name)
        accounts.disable(row.id)
    make_console().print(f"Disabled {row.name}; all sessions have ended, all tokens are revoked.")


def enable(name: Name, data: Data = None) -> None:
    """Let a disabled person in again, with the password of before."""
    with _accounts(data) as accounts:
        row = accounts.named(name)
        accounts.enable(row.id)
    make_console().print(f"Enabled {row.name}.")


def reset_password(name: Name, must_change: MustChange = False, data: Data = None) -> None:
    """Set a person's password; all sessions end and all tokens are revoked."""
    with _accounts(data) as accounts:
        row = accounts.named(name)
        accounts.set_password(row.id, _password(), must_change=must_change)
    make_console().print(f"The password of {row.name} is set; all sessions have ended.")


@contextmanager
def _accounts(data: Path | None) -> Iterator[Accounts]:
    """Open the accounts of a service; whoever has the machine may do everything with them."""
    from api.app import open_database
    from api.people.service import open_people
    from api.settings import Settings

    settings = Settings.from_environment()
    if data is not None:
        settings = settings.model_copy(update={"data_dir": data})
    database = open_database(settings)
    actor = Actor("command", f"command line ({getpass.getuser()})", frozenset(Role), "command")
    try:
        with acting_as(actor):
            yield open_people(database, settings).accounts
    finally:
        database.close()


def _password() -> str:
    """Ask for a password twice, without showing it, or read a line that a program sends."""
    if sys.stdin.isatty():
        return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True))
    line = sys.stdin.readline().rstrip("\r\n")
    if not line:
        raise CorrosionError(
            "no password was given.",
            place="standard input",
            remedy="Run it at a terminal, or send the password as the first line.",
        )
    return line


def _table(rows: list[AccountRow]) -> Table:
    from rich.table import Table

    table = Table("Name", "Shown as", "Roles", "Certificate", "State")
    for row in rows:
        state = f"disabled {row.disabled_at:%Y-%m-%d}" if row.disabled_at else ""
        certificate = " ".join(filter(None, (row.certificate_number, row.certificate_kind)))
        roles = row.roles.replace(" ", ", ") or "reads only"
        table.add_row(row.name, row.display_name, roles, certificate, state)
    return table
