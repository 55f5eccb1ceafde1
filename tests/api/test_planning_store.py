"""The tables of choices and of the log."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import inspect, text

from api.database import Database
from api.tables import Base
from tests.api.test_migrations import MOMENT, fill, to_revision

ROWS = {
    "choices": "INSERT INTO choices (id, version, created, document, survey_id, part) "
    "VALUES ('c', 1, :moment, '{}', 'v', 'planning')",
    "ticks": "INSERT INTO ticks (id, survey_id, card, fingerprint, created, document) "
    "VALUES ('t', 'v', 'SK1-1', 'f', :moment, '{}')",
}


@pytest.fixture
def database(tmp_path: Path) -> Database:
    """Give a database with one survey, ``v``."""
    made = Database(f"sqlite:///{tmp_path / 'a.sqlite3'}")
    made.migrate()
    fill(made.engine)
    return made


@pytest.mark.parametrize("table", ROWS)
def test_models_and_migrations_agree(database: Database, table: str) -> None:
    """The migrated tables have the columns and indexes that the program's models say."""
    looked, model = inspect(database.engine), Base.metadata.tables[table]
    assert {one["name"] for one in looked.get_columns(table)} == set(model.columns.keys())
    assert {one["name"] for one in looked.get_indexes(table)} == {one.name for one in model.indexes}
    database.close()


@pytest.mark.parametrize("table", ROWS)
def test_a_step_back_never_loses_what_was_stated(database: Database, table: str) -> None:
    """The downgrade works while the tables are empty, and is refused once they hold anything."""
    to_revision(database.engine, "0002", down=True)
    assert table not in inspect(database.engine).get_table_names()
    database.migrate()
    with database.engine.begin() as connection:
        connection.execute(text(ROWS[table]), {"moment": MOMENT.isoformat(sep=" ")})
    with pytest.raises(RuntimeError, match=table):
        to_revision(database.engine, "0002", down=True)
    with database.engine.connect() as connection:
        assert connection.scalar(text(f"SELECT count(*) FROM {table}")) == 1  # noqa: S608 -- our names
    database.close()
