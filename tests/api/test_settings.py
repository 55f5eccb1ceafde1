"""Settings come from the environment and are documented."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.settings import Settings, SettingsError


def test_every_setting_is_documented() -> None:
    """A setting without a description fails here."""
    for name, field in Settings.model_fields.items():
        assert field.description, name


def test_settings_are_read_from_the_environment() -> None:
    """Each variable sets its field; what is unset keeps its default."""
    found = Settings.from_environment(
        {
            "CORROSION_DATA_DIR": "/srv/surveys",
            "CORROSION_PORT": "9000",
            "CORROSION_ALLOWED_HOSTS": "a.example, b.example",
            "CORROSION_HOST": "",
        }
    )
    assert found == Settings(
        data_dir=Path("/srv/surveys"), port=9000, allowed_hosts=("a.example", "b.example")
    )


def test_a_bad_value_names_its_variable() -> None:
    """A value that cannot be used is refused with the variable and the value."""
    with pytest.raises(SettingsError, match=r"CORROSION_PORT: .*'many'"):
        Settings.from_environment({"CORROSION_PORT": "many"})


@pytest.mark.parametrize(
    ("address", "taken"),
    [
        ("https://store.example", True),
        ("http://127.0.0.1:9000", True),
        ("http://localhost:9000", True),
        ("http://store.example", False),
        ("http://127.0.0.1.example", False),
        ("store.example", False),
    ],
)
def test_pictures_go_over_plain_http_only_on_this_machine(address: str, *, taken: bool) -> None:
    """An object store elsewhere must be asked over https; the refusal names the variable."""
    source = {"CORROSION_PICTURE_ENDPOINT": address}
    if taken:
        assert Settings.from_environment(source).picture_endpoint == address
        return
    with pytest.raises(SettingsError, match="CORROSION_PICTURE_ENDPOINT"):
        Settings.from_environment(source)
