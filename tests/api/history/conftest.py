"""Stores in which everything has happened once, on both databases; each test gets a copy of its own."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, text

from tests.api.history.stores import Store, live_through, open_store


@pytest.fixture(scope="session")
def lived_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a store on SQLite and return its folder."""
    folder = tmp_path_factory.mktemp("lived")
    store = open_store(f"sqlite:///{folder / 'corrosion.sqlite3'}", folder)
    live_through(store)
    store.database.close()
    return folder


@pytest.fixture(scope="session")
def lived_postgresql(postgresql_server: str, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Make a store on PostgreSQL; return its URL and the folder of its pictures."""
    folder = tmp_path_factory.mktemp("lived-pg")
    url = f"{postgresql_server}/lived"
    _run(postgresql_server, "CREATE DATABASE lived")
    store = open_store(url, folder)
    live_through(store)
    store.database.close()
    return url, folder


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Give a copy of the store that a test may tamper with."""
    if request.param == "sqlite":
        shutil.copytree(request.getfixturevalue("lived_sqlite"), tmp_path, dirs_exist_ok=True)
        url = f"sqlite:///{tmp_path / 'corrosion.sqlite3'}"
    else:
        lived, folder = request.getfixturevalue("lived_postgresql")
        server, name = request.getfixturevalue("postgresql_server"), f"t{uuid4().hex}"
        _run(server, f"CREATE DATABASE {name} TEMPLATE lived")
        shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
        url = lived.replace("/lived", f"/{name}")
    made = open_store(url, tmp_path)
    yield made
    made.database.close()


def _run(server: str, statement: str) -> None:
    engine = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()
