"""One moment of a running database as a file, and back.

SQLite by its online backup, PostgreSQL by its own tools.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from alembic.migration import MigrationContext
from sqlalchemy import Connection, create_engine, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from corrosion.errors import StorageError
from corrosion.intake import Progress

PAGES = 2048
BUSY_SECONDS = 30.0
Kind = Literal["sqlite", "postgresql"]

# Every table that names files of the picture store, with the columns of hash and size.
FILES_OF = {"pictures": ("sha256", "size_bytes"), "record_files": ("sha256", "size")}


@dataclass(frozen=True)
class Snapshot:
    """What a copy of the database holds.

    Attributes
    ----------
    revision : str
        Version of the tables.
    head : (int, str) or None
        Number and hash of the history's last line; None if the tables are older than the history.
    files : dict of str to int
        Files of the picture store it refers to: SHA-256 and size.
    """

    kind: Kind
    revision: str
    head: tuple[int, str] | None
    files: dict[str, int]


def kind_of_url(url: str) -> Kind:
    """Tell which database a URL means.

    Raises
    ------
    StorageError
        If it is one that cannot be backed up.
    """
    try:
        name = make_url(url).get_backend_name()
    except ArgumentError:
        name = ""
    if name == "sqlite":
        return "sqlite"
    if name == "postgresql":
        return "postgresql"
    raise StorageError(
        "this database cannot be backed up or restored.",
        place="CORROSION_DATABASE_URL",
        remedy="Write it as sqlite:////path/file or postgresql+psycopg://user@host/name.",
    )


def copy_database(url: str, target: Path, tell: Progress) -> Snapshot:
    """Write one moment of a database, which others may go on writing to, to a file.

    Raises
    ------
    StorageError
        If it cannot be read, is damaged, or a tool for it is missing.
    """
    if kind_of_url(url) == "sqlite":
        return _copy_sqlite(Path(make_url(url).database or ""), target, tell)
    return _dump_postgresql(url, target, tell)


def _copy_sqlite(source: Path, target: Path, tell: Progress) -> Snapshot:
    if not source.exists():
        raise StorageError("there is no database here.", place=str(source), remedy="Check the path.")
    try:
        with closing(sqlite3.connect(source, timeout=BUSY_SECONDS, isolation_level=None)) as running:
            # An open reading transaction holds one moment: writers neither wait nor start the copy anew.
            running.execute("BEGIN")
            running.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            with closing(sqlite3.connect(target, isolation_level=None)) as copy:
                running.backup(
                    copy,
                    pages=PAGES,
                    sleep=0,
                    progress=lambda _status, left, total: tell("database", total - left, total),
                )
                # Otherwise the copy would need a second file beside it as soon as someone looks into it.
                copy.execute("PRAGMA journal_mode=DELETE")
                (sound,) = copy.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.Error as error:
        raise StorageError(
            f"the database cannot be copied ({error}).",
            place=str(source),
            remedy="Check the disks; if the database is damaged, restore an earlier backup.",
        ) from error
    if sound != "ok":
        raise StorageError(
            f"the database is damaged ({sound}); no backup was made of it.",
            place=str(source),
            remedy="Restore an earlier backup into a new folder and verify that.",
        )
    with _connected(f"sqlite:///{target}") as connection:
        return _snapshot(connection, "sqlite")


@contextmanager
def _connected(url: str, **options: str) -> Iterator[Connection]:
    try:
        engine = create_engine(url, **options)
        try:
            with engine.connect() as connection:
                yield connection
        finally:
            engine.dispose()
    except (SQLAlchemyError, ModuleNotFoundError) as error:
        raise StorageError(
            f"the database cannot be read ({type(error).__name__}).",
            remedy="Check the URL, that the server runs and that the service has run on it.",
        ) from error


def _snapshot(connection: Connection, kind: Kind) -> Snapshot:
    tables = set(inspect(connection).get_table_names())
    revision = MigrationContext.configure(connection).get_current_revision()
    if revision is None:
        raise StorageError(
            "the database holds no store of this program.",
            remedy="Give the service's own database with --data or CORROSION_DATABASE_URL.",
        )
    files: dict[str, int] = {}
    for table, (sha256, size) in FILES_OF.items():
        if table in tables:
            query = f"SELECT {sha256}, {size} FROM {table} ORDER BY 1"  # noqa: S608 - names of ours
            files |= {row[0]: row[1] for row in connection.execute(text(query))}
    head = None
    if "history_head" in tables:
        row = connection.execute(text("SELECT seq, hash FROM history_head")).one()
        head = (row[0], row[1])
    return Snapshot(kind, revision, head, files)


def _dump_postgresql(url: str, target: Path, tell: Progress) -> Snapshot:
    tool = _tool("pg_dump")
    tell("database", 0, 1)
    with _connected(url, isolation_level="REPEATABLE READ") as connection:
        # The dump sees the very moment that is looked at here.
        moment = connection.scalar(text("SELECT pg_export_snapshot()"))
        options = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={moment}"]
        _run([tool, *options, f"--file={target}"], url)
        snapshot = _snapshot(connection, "postgresql")
    tell("database", 1, 1)
    return snapshot


def tables_in(url: str) -> list[str]:
    """List the tables of a PostgreSQL database."""
    with _connected(url) as connection:
        return sorted(inspect(connection).get_table_names())


def restore_postgresql(dump: Path, url: str) -> None:
    """Put a dump into an empty database: all of it or nothing.

    Raises
    ------
    StorageError
        If `pg_restore` is missing or fails.
    """
    options = ["--no-owner", "--no-privileges", "--single-transaction", "--exit-on-error"]
    _run([_tool("pg_restore"), *options, str(dump)], url)


def _tool(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise StorageError(
            f"the program {name!r} is not on this machine.",
            place="PATH",
            remedy="Install PostgreSQL's client programs, of the server's version or newer.",
        )
    return found


def _run(command: list[str], url: str) -> None:
    parsed = make_url(url)
    # A password among the arguments could be read by everybody on the machine.
    secret = {} if parsed.password is None else {"PGPASSWORD": str(parsed.password)}
    address = parsed.set(drivername="postgresql", password=None).render_as_string()
    done = subprocess.run(  # noqa: S603 - the program found by its name, no shell
        [*command, f"--dbname={address}"],
        env=os.environ | secret,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    if done.returncode:
        said = (done.stderr.strip().splitlines() or ["no reason given"])[0]
        raise StorageError(
            f"{Path(command[0]).name} failed ({said}).",
            remedy="Check the server, its rights, and that its client programs are not older than it.",
        )
