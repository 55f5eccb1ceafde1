"""Every command and option explains itself."""

from __future__ import annotations

import pytest
import typer.main

from api.cli import EXIT_CODES, app

COMMANDS = typer.main.get_command(app)


def names() -> list[str]:
    """List the commands."""
    return sorted(COMMANDS.commands)  # type: ignore[attr-defined]


def test_the_commands_are_these() -> None:
    """A new command must be added here, and so be seen by the tests below."""
    assert names() == [
        *("archive", "archive-key", "assess", "backup", "compare", "decide", "demo", "find", "import"),
        *("lens", "measure", "people", "reindex", "report", "restore", "schema", "serve", "straighten"),
        *("target", "verify"),
    ]


@pytest.mark.parametrize("name", names())
def test_commands_have_help(name: str) -> None:
    """Every command has a sentence of help, and so has each of its arguments and options."""
    command = COMMANDS.commands[name]  # type: ignore[attr-defined]
    assert command.help.endswith("."), name
    for parameter in command.params:
        assert (parameter.help or "").strip().endswith((".", ".)")), f"{name} {parameter.name}"


def test_exit_codes_are_documented() -> None:
    """The help of the program and of its working commands lists the exit codes."""
    assert COMMANDS.epilog == EXIT_CODES  # type: ignore[attr-defined]
    for name in ("measure", "assess", "decide", "demo", "lens", "find", "target"):
        assert COMMANDS.commands[name].epilog == EXIT_CODES  # type: ignore[attr-defined]
    for code in ("0 ", "1 ", "2 ", "3 "):
        assert code in EXIT_CODES
