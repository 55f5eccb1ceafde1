"""A database of an older release keeps everything when the program is updated."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, MetaData, inspect, select, text
from sqlalchemy.exc import IntegrityError

import api
from api.database import Database
from api.exchange import HEAD_FIELDS
from api.files import PictureFiles
from api.history.verify import verify_store
from api.settings import Settings
from corrosion.model import parse_survey
from tests.api.samples import READING, REMOVAL, survey_file, tag
from tests.api.server import running

MOMENT = datetime(2031, 4, 17, 12, 30, tzinfo=UTC)
PARTS = ("photos", "removals", "readings")


def alembic(connection: Connection) -> Config:
    """Point Alembic at the program's migrations and at one connection."""
    config = Config()
    config.set_main_option("script_location", str(Path(api.__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    return config


def to_revision(engine: Engine, revision: str, *, down: bool = False) -> None:
    """Bring a database to a revision as the release of that time left it."""
    with engine.begin() as connection:
        (command.downgrade if down else command.upgrade)(alembic(connection), revision)


def fill(engine: Engine) -> None:
    """Write a survey with one of each part, by plain inserts as the tables are now."""
    document = parse_survey(survey_file()).model_dump(mode="json")
    tables = MetaData()
    tables.reflect(engine)
    common = {"version": 1, "created": MOMENT}
    rows: list[tuple[str, dict[str, Any]]] = [
        ("structures", {"id": "s", "name": "S", "units": "mm", "document": document["structure"]}),
        (
            "surveys",
            {
                "id": "v",
                "structure_id": "s",
                "name": "V",
                "revision": 4,
                "document": {name: document[name] for name in HEAD_FIELDS},
            },
        ),
    ]
    for table, name in zip(PARTS, ("photos", "removals", "thickness_readings"), strict=True):
        (part,) = document[name]
        row = {"id": table, "survey_id": "v", "key": part["id"], "position": 0, "document": part}
        rows.append((table, row | ({"upload_name": "IMG_1.jpg"} if table == "photos" else {})))
    with engine.begin() as connection:
        for table, row in rows:
            connection.execute(tables.tables[table].insert().values(common | row))


def check_survey(client: httpx.Client) -> None:
    """Check that the survey written by `fill` is whole, and that withdrawing works on it."""
    assert parse_survey(client.get("/api/surveys/v/file").content) == parse_survey(survey_file())
    assert client.get("/api/photos/photos").json()["upload_name"] == "IMG_1.jpg"
    for noun, body in (("removals", REMOVAL), ("readings", READING)):
        taken = client.post(f"/api/surveys/v/{noun}", json=body)
        gone = client.delete(f"/api/{noun}/{noun}", headers=tag(1), params={"reason": "wrong"})
        again = client.post(f"/api/surveys/v/{noun}", json=body)
        assert [answer.status_code for answer in (taken, gone, again)] == [409, 204, 201]
    kept = client.get("/api/surveys/v/withdrawn").json()
    assert sorted(row["id"] for row in kept) == ["readings", "removals"]
    assert {datetime.fromisoformat(row["created"]) for row in kept} == {MOMENT}


def test_an_older_sqlite_database_is_upgraded_with_its_data(tmp_path: Path) -> None:
    """A survey of revision 0001 reads equal after the upgrade, and its parts can be withdrawn."""
    database = Database(f"sqlite:///{tmp_path / 'corrosion.sqlite3'}")
    to_revision(database.engine, "0001")
    assert "withdrawn_at" not in {one["name"] for one in inspect(database.engine).get_columns("removals")}
    fill(database.engine)
    database.close()
    with running(Settings(data_dir=tmp_path)) as client:
        check_survey(client)


def test_an_older_postgresql_database_is_upgraded_with_its_data(postgresql: str, tmp_path: Path) -> None:
    """The same on PostgreSQL."""
    database = Database(postgresql)
    to_revision(database.engine, "0001")
    fill(database.engine)
    database.close()
    with running(Settings(data_dir=tmp_path, database_url=postgresql)) as client:
        check_survey(client)


def test_an_upgrade_that_breaks_off_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If the last step fails the database is at the old revision with its data, and upgrades later."""
    database = Database(f"sqlite:///{tmp_path / 'corrosion.sqlite3'}")
    to_revision(database.engine, "0001")
    fill(database.engine)
    original = MigrationContext.run_migrations

    def run_then_fail(context: MigrationContext, **options: Any) -> None:
        original(context, **options)
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(MigrationContext, "run_migrations", run_then_fail)
        with pytest.raises(RuntimeError, match="power cut"):
            database.migrate()
    with database.engine.connect() as connection:
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == "0001"
        assert connection.scalar(text("SELECT count(*) FROM removals")) == 1
    assert "withdrawn_at" not in {one["name"] for one in inspect(database.engine).get_columns("photos")}
    database.close()
    with running(Settings(data_dir=tmp_path)) as client:
        check_survey(client)


@pytest.mark.parametrize("table", PARTS)
def test_the_database_itself_keeps_standing_ids_apart(tmp_path: Path, table: str) -> None:
    """Two standing parts of one id are refused by the database; a withdrawn one beside it is not."""
    database = Database(f"sqlite:///{tmp_path / 'a.sqlite3'}")
    database.migrate()
    fill(database.engine)
    columns = [one["name"] for one in inspect(database.engine).get_columns(table)]
    others = ", ".join(name for name in columns if name != "id")
    copy = text(f"INSERT INTO {table} (id, {others}) SELECT 'new', {others} FROM {table}")  # noqa: S608
    with pytest.raises(IntegrityError), database.engine.begin() as connection:
        connection.execute(copy)
    with database.engine.begin() as connection:
        connection.execute(text(f"UPDATE {table} SET withdrawn_at = '2031-05-01 00:00:00'"))  # noqa: S608
        connection.execute(copy)
    database.close()


def test_a_step_back_never_brings_the_withdrawn_back(tmp_path: Path) -> None:
    """A downgrade works while nothing was withdrawn, and is refused once the old program would count it."""
    database = Database(f"sqlite:///{tmp_path / 'a.sqlite3'}")
    database.migrate()
    fill(database.engine)
    to_revision(database.engine, "0001", down=True)
    database.migrate()
    with database.engine.begin() as connection:
        connection.execute(text("UPDATE removals SET withdrawn_at = '2031-05-01 00:00:00'"))
    with pytest.raises(RuntimeError, match="removals"):
        to_revision(database.engine, "0001", down=True)
    with database.engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM removals WHERE withdrawn_at IS NOT NULL")) == 1
    database.close()


EARLIER = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")


def fill_added(engine: Engine) -> None:
    """Write rows into the tables that later revisions added, as far as the database has them."""
    tables = MetaData()
    tables.reflect(engine)
    common = {"survey_id": "v", "created": MOMENT, "document": {"who": "Fitter C", "what": "note"}}
    rows = {
        "choices": {"id": "c", "version": 2, "part": "planning"} | common,
        "ticks": {"id": "k", "card": "SK1-1", "fingerprint": "f"} | common,
    }
    with engine.begin() as connection:
        for name, row in rows.items():
            if name in tables.tables:
                connection.execute(tables.tables[name].insert().values(row))


def held(engine: Engine) -> dict[str, list[dict[str, Any]]]:
    """Read every row of every table but what follows from the others."""
    tables = MetaData()
    tables.reflect(engine)
    kept = {
        name: table for name, table in tables.tables.items() if not name.startswith(("search", "alembic"))
    }
    with engine.connect() as connection:
        return {
            name: [
                dict(row)
                for row in connection.execute(select(table).order_by(*table.primary_key)).mappings()
            ]
            for name, table in kept.items()
        }


def written_at(engine: Engine, revision: str) -> None:
    """Make a database of a revision with rows in it, as the release of that time left it.

    From 0004 on the history is kept: the rows are in it as the upgrade from 0003 found them.
    """
    to_revision(engine, min(revision, "0003"))
    fill(engine)
    fill_added(engine)
    to_revision(engine, revision)


def check_upgrade(url: str, revision: str, folder: Path) -> None:
    """Upgrade a filled database of a revision; every value is still there and verification is sound."""
    database = Database(url)
    written_at(database.engine, revision)
    before = held(database.engine)
    assert sum(map(len, before.values())) >= len(PARTS) + 2
    database.migrate()
    after = held(database.engine)
    for table, rows in before.items():
        kept = [{name: row[name] for name in rows[0]} for row in after[table]] if rows else []
        assert kept[: len(rows)] == rows, table
        assert table.startswith("history") or len(after[table]) == len(rows), table
    files = PictureFiles(None, folder=folder / "pictures", incoming=folder / "incoming")
    report = verify_store(database, files)
    database.close()
    assert report.faults == []
    assert report.rows >= len(PARTS) + 2


@pytest.mark.parametrize("revision", EARLIER)
def test_every_earlier_sqlite_store_comes_up_whole(tmp_path: Path, revision: str) -> None:
    """A store of any earlier version is brought to this one with every value it had, and verifies."""
    check_upgrade(f"sqlite:///{tmp_path / 'corrosion.sqlite3'}", revision, tmp_path)


@pytest.mark.parametrize("revision", EARLIER)
def test_every_earlier_postgresql_store_comes_up_whole(
    postgresql: str, tmp_path: Path, revision: str
) -> None:
    """The same on PostgreSQL."""
    check_upgrade(postgresql, revision, tmp_path)


def test_every_earlier_version_is_tried() -> None:
    """A new migration makes its predecessor an earlier version, which must be listed here."""
    script = ScriptDirectory(str(Path(api.__file__).parent / "migrations"))
    known = [one.revision for one in script.walk_revisions()]
    assert sorted(known) == [*EARLIER, script.get_current_head()]
