"""The database: migrations match the tables, SQLite is set up safely, PostgreSQL works too."""

from __future__ import annotations

from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text

from api.database import Database
from api.search.tables import is_declared
from api.settings import Settings
from api.tables import Base
from corrosion.errors import StorageError
from corrosion.model import parse_survey
from tests.api.samples import MARKS, new_survey, picture, survey_file, tag, upload
from tests.api.server import running

# The word index of the search is made by each database's own means.
COMPARED = {"compare_type": True, "include_name": is_declared}


def database_at(path: Path) -> Database:
    """Open a migrated SQLite database."""
    database = Database(f"sqlite:///{path}")
    database.migrate()
    return database


def test_the_migrations_make_the_tables_of_the_program(tmp_path: Path) -> None:
    """A new database has exactly the tables that `api.tables` declares."""
    database = database_at(tmp_path / "a.sqlite3")
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts=COMPARED)
        assert compare_metadata(context, Base.metadata) == []
    database.close()


def test_migrating_twice_changes_nothing(tmp_path: Path) -> None:
    """Every start migrates; on an up-to-date database that does nothing."""
    database = database_at(tmp_path / "a.sqlite3")
    database.migrate()
    with database.engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM alembic_version")) == 1
    database.close()


def test_a_database_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    """An unknown version is refused with what to do, and nothing is changed."""
    database = database_at(tmp_path / "a.sqlite3")
    with database.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'future'"))
    with pytest.raises(StorageError, match="newer"):
        database.migrate()
    database.close()


def test_sqlite_is_set_up_safely(tmp_path: Path) -> None:
    """Write-ahead log, full synchronisation, foreign keys: an answered write survives a power cut."""
    database = database_at(tmp_path / "a.sqlite3")
    with database.engine.connect() as connection:
        assert connection.scalar(text("PRAGMA journal_mode")) == "wal"
        assert connection.scalar(text("PRAGMA synchronous")) == 2
        assert connection.scalar(text("PRAGMA foreign_keys")) == 1
    database.close()


@pytest.mark.parametrize("url", ["nonsense", "nosuchdb://x/y", "sqlite:////no/such/folder/x.sqlite3"])
def test_a_database_that_cannot_be_opened_is_a_clear_error(url: str) -> None:
    """A bad URL or folder is told with a way out, without a traceback of the driver."""
    with pytest.raises(StorageError) as caught:
        Database(url).migrate()
    assert caught.value.remedy


def test_the_service_works_on_postgresql(postgresql: str, tmp_path: Path) -> None:
    """Import, export, upload, edit, conflict and lists give the same on PostgreSQL."""
    with running(Settings(data_dir=tmp_path, database_url=postgresql)) as client:
        made = client.post("/api/surveys/import", json=survey_file())
        assert made.status_code == 201, made.text
        imported = made.json()["survey"]["id"]
        assert parse_survey(client.get(f"/api/surveys/{imported}/file").content) == parse_survey(
            survey_file()
        )
        survey = new_survey(client)
        files = [(f"{n}.jpg", picture(n)) for n in (1, 2, 1)]
        taken = upload(client, survey, *files, member="RB1", note="nul \x01")
        assert [one["status"] for one in taken] == ["stored", "stored", "duplicate"]
        address = f"/api/photos/{taken[0]['photo']['id']}/marks"
        codes = [client.put(address, json=MARKS, headers=tag(1)).status_code for _ in range(2)]
        assert codes == [200, 412]
        assert [row["photos"] for row in client.get("/api/surveys").json()] == [2, 1]
        structures = client.get("/api/structures").json()
        assert [row["surveys"] for row in structures] == [1, 1]
        document = client.get(f"/api/structures/{structures[0]['id']}").json()
        document["structure"]["members"].pop()
        body = {name: document[name] for name in ("units", "structure")}
        dropped = client.put(f"/api/structures/{document['id']}", json=body, headers=tag(1))
        assert dropped.status_code == 409


def test_the_tables_are_the_same_on_postgresql(postgresql: str) -> None:
    """The migrations make exactly the declared tables on PostgreSQL too."""
    database = Database(postgresql)
    database.migrate()
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts=COMPARED)
        assert compare_metadata(context, Base.metadata) == []
    database.close()
