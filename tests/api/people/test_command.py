"""``corrosion people``, and the refusal to listen beyond this machine without an administrator."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.app import _has_administrator, serve
from api.cli import app
from api.settings import Settings, SettingsError
from corrosion.errors import CorrosionError
from tests.api.people.people import PASSWORD


def run(folder: Path, *words: str, given: str = "") -> str:
    """Run a command on the store of a folder; return what it prints, or raise what it raises."""
    result = CliRunner().invoke(app, ["people", *words, "--data", str(folder)], input=given)
    if isinstance(result.exception, CorrosionError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def test_the_command_line_makes_the_first_administrator(tmp_path: Path, cheaply: None) -> None:
    """It adds, lists, disables, enables and resets; the password comes by standard input."""
    with pytest.raises(CorrosionError, match="standard input"):
        run(tmp_path, "add", "ada", "--role", "administrator")
    with pytest.raises(CorrosionError, match="first account must be an administrator"):
        run(tmp_path, "add", "inga", "--role", "inspector", given=f"{PASSWORD}\n")
    assert "sign in from now on" in run(
        tmp_path, "add", "Ada", "--role", "administrator", "--role", "clerk", given=f"{PASSWORD}\n"
    )
    run(tmp_path, "add", "inga", "--role", "inspector", "--certificate", "NDT-0417", given=f"{PASSWORD}\n")
    with pytest.raises(CorrosionError, match="last administrator"):
        run(tmp_path, "disable", "ada")
    run(tmp_path, "disable", "INGA")
    listed = run(tmp_path, "list")
    assert "clerk, administrator" in listed
    assert "NDT-0417" in listed
    assert "disabled" in listed
    run(tmp_path, "enable", "inga")
    assert "is set" in run(tmp_path, "reset-password", "inga", "--must-change", given=f"{PASSWORD} too\n")
    assert "disabled" not in run(tmp_path, "list")
    assert PASSWORD not in listed
    assert _has_administrator(Settings(data_dir=tmp_path))


def test_a_certificate_that_cannot_be_used_is_named(tmp_path: Path) -> None:
    """A missing or broken certificate is a clear error before the service starts, never a traceback."""
    broken = tmp_path / "broken.pem"
    broken.write_text("no certificate")
    for path in (broken, tmp_path / "missing.pem"):
        with pytest.raises(SettingsError, match="CORROSION_TLS_CERTIFICATE") as caught:
            serve(Settings(data_dir=tmp_path / "data", tls_certificate=path))
        assert path.name in str(caught.value)
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    ("settings", "variable"),
    [
        ({"host": "0.0.0.0"}, "CORROSION_HOST"),  # noqa: S104 - it must be refused
        ({"host": "192.0.2.4"}, "CORROSION_HOST"),
        ({"host": "::"}, "CORROSION_HOST"),
        ({"allowed_hosts": ("survey.example",)}, "CORROSION_ALLOWED_HOSTS"),
    ],
)
def test_nobody_is_let_in_before_there_is_an_administrator(
    tmp_path: Path, settings: dict[str, str], variable: str
) -> None:
    """Serving beyond this machine is refused with the setting and the command, and opens nothing."""
    folder = tmp_path / "data"
    given = Settings.model_validate({"data_dir": folder, **settings})
    with pytest.raises(SettingsError, match=variable) as caught:
        serve(given)
    assert "corrosion people add" in str(caught.value)
    assert not folder.exists()
    given.check_bind(administrator=True)
