"""The database: engine, sessions, migrations. SQLite by default, PostgreSQL by URL."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util.exc import CommandError
from pydantic_core import from_json
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, IntegrityError, OperationalError, SQLAlchemyError
from sqlalchemy.orm import Session
from sqlalchemy.orm.exc import StaleDataError

from api.errors import ConflictError, StaleError
from api.history.record import RecordingSession, settle
from corrosion.errors import StorageError

# How long a writer waits for another before it gives up, in seconds.
BUSY_SECONDS = 30
POOL_SIZE = 20
MIGRATIONS = Path(__file__).parent / "migrations"


class Database:
    """One database; sessions are handed out by `reading` and `writing`.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.

    Raises
    ------
    StorageError
        If the URL cannot be used.
    """

    def __init__(self, url: str) -> None:
        try:
            parsed = make_url(url)
            self.is_sqlite = parsed.get_backend_name() == "sqlite"
            self.engine = _open(parsed.render_as_string(hide_password=False), sqlite=self.is_sqlite)
        except (ArgumentError, ModuleNotFoundError, SQLAlchemyError) as error:
            raise StorageError(
                f"the database URL cannot be used ({type(error).__name__}).",
                place="CORROSION_DATABASE_URL",
                remedy="Write it as sqlite:////path/file or postgresql+psycopg://user@host/name.",
            ) from error
        self._writer = self.engine.execution_options(corrosion_writes=True)

    def migrate(self) -> None:
        """Bring the tables to this program's version, in one transaction.

        Raises
        ------
        StorageError
            If the database cannot be reached or was written by a newer program.
        """
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS))
        try:
            with self._writer.begin() as connection:
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
        except CommandError as error:
            raise StorageError(
                f"the database has a version this program does not know ({error}).",
                remedy="Use the release of the program that wrote it, or a newer one.",
            ) from error
        except OperationalError as error:
            raise StorageError(
                f"the database cannot be opened ({error.orig}).",
                remedy="Check the URL, the rights on the folder and that the server runs.",
            ) from error

    def check_version(self) -> None:
        """Check that the tables are of this program's version, without changing them.

        Raises
        ------
        StorageError
            If not, or if the database cannot be read.
        """
        wanted = ScriptDirectory(str(MIGRATIONS)).get_current_head()
        with _told("read"), self.engine.connect() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
        if found != wanted:
            raise StorageError(
                f"the database has version {found or 'none'}, this program's is {wanted}.",
                remedy="Start the service once with this program, or use the program that wrote it.",
            )

    def ping(self) -> None:
        """Ask the database for an answer; `StorageError` if there is none."""
        try:
            with self.engine.connect() as connection:
                connection.execute(text("SELECT 1"))
        except SQLAlchemyError as error:
            raise StorageError(
                "the database does not answer.", remedy="Check that it runs and that its disk is not full."
            ) from error

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that sees one moment of the database and writes nothing."""
        with _told("read"), Session(self.engine, autoflush=False, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def one_moment(self) -> Iterator[Session]:
        """Give a reading session that sees one moment however long it takes, on PostgreSQL too."""
        level = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        engine = self.engine.execution_options(**level)
        with _told("read"), Session(engine, autoflush=False, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Give a session whose changes all happen at its end, or not at all, and go into the history.

        Raises
        ------
        StaleError
            If another edit of the same row was faster.
        ConflictError
            If an identifier is already taken.
        """
        with _told("written"), RecordingSession(self._writer, expire_on_commit=False) as session:
            try:
                yield session
                settle(session)
                session.commit()
            except StaleDataError as error:
                raise StaleError(
                    "the version edited is no longer the current one.",
                    remedy="Read it again, look at what changed, and repeat the edit.",
                ) from error
            except IntegrityError as error:
                raise ConflictError(
                    "an identifier in this request is already taken.",
                    remedy="Read the list again and choose another one.",
                ) from error

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


@contextmanager
def _told(what: str) -> Iterator[None]:
    """Turn a full disk, a lost server or a lock held too long into a `StorageError`."""
    try:
        yield
    except OperationalError as error:
        raise StorageError(
            f"the database could not be {what}; nothing was changed.",
            remedy="Try again; if it fails again, check that it runs and that its disk is not full.",
        ) from error


def _open(url: str, *, sqlite: bool) -> Engine:
    arguments: dict[str, Any] = {"timeout": BUSY_SECONDS} if sqlite else {}
    engine = create_engine(
        url,
        connect_args=arguments,
        pool_size=POOL_SIZE,
        max_overflow=POOL_SIZE * 2,
        pool_pre_ping=not sqlite,
        json_serializer=partial(json.dumps, allow_nan=False, ensure_ascii=False),
        json_deserializer=_read_json,
    )
    if sqlite:
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _read_json(text: str | bytes) -> Any:
    """Read stored JSON: the same values as the standard library, several times faster on many marks."""
    try:
        return from_json(text)
    except ValueError:
        return json.loads(text)  # Nested deeper than the fast reader goes.


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver would open transactions by its own rules, too late to be sure of a snapshot.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    # FULL: an answered write survives a power cut, not only a killed process.
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes the write lock at once: a lock upgraded later fails when another was faster.
    writes = connection.get_execution_options().get("corrosion_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
