"""Every change of a covered row becomes a line of the chain, in the transaction of the change."""

from __future__ import annotations

import ast
import hashlib
import json
import threading
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import delete, func, insert, select, update

import api
from api.actor import Actor, Role, acting_as
from api.database import Database
from api.history.book import History
from api.history.chain import START_HASH
from api.history.log import Wanted, entries_of, head
from api.history.record import because
from api.history.scope import scope_of, scopes
from api.history.tables import HistoryRow
from api.services import Services
from api.tables import Base, PhotoRow, StructureRow, SurveyRow, TickRow
from corrosion.errors import StorageError
from corrosion.model import Structure
from tests.api.history.stores import Store, open_store
from tests.api.samples import STRUCTURE
from tests.api.test_migrations import fill, to_revision

sqlite_alone = pytest.mark.parametrize("store", ["sqlite"], indirect=True)

LEFT_OUT = {
    "history", "history_head",  # the history itself
    "search_entries", "search_states",  # made anew from the surveys at any time
    "sessions", "throttle",  # who is at the door
}  # fmt: skip
"""Tables without a history. A new one must be thought about here."""

NOT_RECORDED = {("repository.py", "update", "SurveyRow"), ("people/sessions.py", "update", "TOKENS")}
"""Updates of columns that are not recorded: `revision`, `last_used`."""

PLAIN_HASHES = {
    ("pictures", "sha256"), ("photos", "picture_sha256"), ("record_files", "sha256"),
    ("seals", "kept_digest"), ("proposals", "picture_sha256"),
}  # fmt: skip
"""Columns that sound like a secret and are none."""


def lines_in(store: Store) -> int:
    """Count the lines."""
    with store.database.reading() as session:
        return session.scalar(select(func.count()).select_from(HistoryRow)) or 0


def test_every_table_is_covered_or_left_out_on_purpose() -> None:
    """A table nobody thought about fails here, and so does a secret that would be copied."""
    covered = {one.table.name for one in scopes()}
    assert set(Base.metadata.tables) - covered == LEFT_OUT
    for scope in scopes():
        for column in scope.table.c:
            sounds_secret = any(word in column.name for word in ("hash", "secret", "password", "sha256"))
            kept = (scope.table.name, column.name) in PLAIN_HASHES or column.name in scope.digested
            assert not sounds_secret or kept, (scope.table.name, column.name)


@sqlite_alone
def test_anyone_can_check_the_chain_with_a_hash_alone(store: Store) -> None:
    """Each line's text has the SHA-256 (FIPS 180-4) beside it and names that of the line before."""
    with store.database.reading() as session:
        rows = session.execute(
            select(HistoryRow.seq, HistoryRow.body, HistoryRow.hash).order_by(HistoryRow.seq)
        )
        previous = START_HASH
        for number, (seq, body, hash_) in enumerate(rows, start=1):
            assert seq == number
            assert hashlib.sha256(body.encode()).hexdigest() == hash_
            assert json.loads(body)["previous"] == previous
            # RFC 8785, 3.2: no white space, members sorted; names here are ASCII.
            assert list(json.loads(body)) == sorted(json.loads(body))
            assert body == json.dumps(
                json.loads(body), sort_keys=True, separators=(",", ":"), ensure_ascii=False
            )
            previous = hash_
        assert head(session) == (seq, previous)


@sqlite_alone
def test_a_line_says_who_what_and_why(store: Store) -> None:
    """Name, way in, reason, before and after stand in the line."""
    actor = Actor("k1", "Inspector A", frozenset({Role.INSPECTOR}), "token")
    with acting_as(actor), store.database.writing() as session:
        because(session, "card misread")
        photo = session.scalars(select(PhotoRow)).first()
        assert photo is not None
        photo.document = photo.document | {"station": "12"}
        survey = photo.survey_id
    with store.database.reading() as session:
        line = entries_of(session, survey)[-1]
    assert (line.actor_key, line.actor_name, line.via) == ("k1", "Inspector A", "token")
    assert (line.table, line.row_id, line.action, line.reason) == (
        "photos",
        photo.id,
        "changed",
        "card misread",
    )
    assert line.before is not None
    assert line.after is not None
    assert line.after["/document/station"] == "12"
    assert set(line.before) == {"/document/station", "/version"}


@sqlite_alone
def test_no_secret_is_copied(store: Store) -> None:
    """The hash of a password is in no line, only that it changed."""
    with store.database.reading() as session:
        bodies = list(session.scalars(select(HistoryRow.body).where(HistoryRow.table_name == "accounts")))
    assert bodies
    assert not any("argon2" in body for body in bodies)
    assert hashlib.sha256(b'"$argon2id$x"').hexdigest() in bodies[0]


@sqlite_alone
def test_lines_about_accounts_are_for_administrators(store: Store) -> None:
    """Who else reads the whole history does not see people's accounts; an administrator does."""
    book, wanted = History(store.database), Wanted(limit=1000)
    everything = {line.entry.table for line in book.lines(wanted)}
    with acting_as(Actor("k1", "Clerk", frozenset({Role.CLERK}), "session")):
        assert {line.entry.table for line in book.lines(wanted)} == everything - {"accounts"}
        assert book.lines(Wanted(tables=("accounts",))) == []
    assert "accounts" in everything


@sqlite_alone
def test_what_is_taken_back_leaves_no_line(store: Store) -> None:
    """A transaction that fails and a savepoint that is rolled back write nothing; what stays is written."""
    before = lines_in(store)
    with pytest.raises(ZeroDivisionError), store.database.writing() as session:  # noqa: PT012
        session.scalars(select(StructureRow)).one().name = "lost"
        session.flush()
        raise ZeroDivisionError
    assert lines_in(store) == before
    with store.database.writing() as session:
        structure = session.scalars(select(StructureRow)).one()
        survey = session.scalars(select(SurveyRow.id)).one()
        nested = session.begin_nested()
        structure.name = "lost"
        session.add(TickRow(survey_id=survey, card="lost", fingerprint="f", document={}))
        session.flush()
        nested.rollback()
        session.add(TickRow(survey_id=survey, card="kept", fingerprint="f", document={}))
    assert lines_in(store) == before + 1
    assert store.verify().sound


@sqlite_alone
def test_a_document_changed_in_place_is_told_as_stored(store: Store) -> None:
    """A use case that changes its copy of a document first still gets the true before."""
    with store.database.writing() as session:
        structure = session.scalars(select(StructureRow)).one()
        structure.document["zone"] = "999"
        structure.document = dict(structure.document)
    assert store.verify().sound


@sqlite_alone
def test_what_would_pass_by_the_history_is_refused(store: Store) -> None:
    """Deleting a row and changing rows in bulk are refused; counting a survey's revision is not."""
    statements = [
        update(PhotoRow).values(upload_name="x"),
        delete(PhotoRow),
        insert(StructureRow).values(id="x", version=1, name="x", units="mm", document={}),
    ]
    for statement in statements:
        with pytest.raises(StorageError, match="bypass"), store.database.writing() as session:
            session.execute(statement)
    with pytest.raises(StorageError, match="deleted"), store.database.writing() as session:
        session.delete(session.scalars(select(StructureRow)).one())
    with store.database.writing() as session:
        session.execute(update(SurveyRow).values(revision=SurveyRow.revision + 1))
        session.execute(update(SurveyRow.__table__).values(revision=9))  # type: ignore[arg-type]
    assert store.verify().sound


def test_writers_at_the_same_time_make_one_chain(store: Store) -> None:
    """Lines of writers that meet are numbered one after the other; none is lost."""
    services, before, failed = Services(store.database), lines_in(store), []

    def write(name: str) -> None:
        try:
            for _ in range(5):
                services.add_structure(Structure.model_validate(STRUCTURE | {"name": name}), "mm")
        except Exception as error:  # noqa: BLE001 - shown by the assertion below
            failed.append(error)

    threads = [threading.Thread(target=write, args=(f"S{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert lines_in(store) == before + 20
    assert store.verify().sound


def _calls(path: Path) -> list[tuple[int, str, str]]:
    """List what a module calls that writes past a session's objects: line, function, first argument."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        function = node.func
        name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
        plain = isinstance(function, ast.Name)
        first = ast.unparse(node.args[0]) if node.args else ""
        if (plain and name in {"insert", "update", "delete", "text", "Session"}) or name in {
            "exec_driver_sql", "bulk_save_objects", "bulk_insert_mappings", "bulk_update_mappings",
            "insert_from_select",
        }:  # fmt: skip
            found.append((node.lineno, name, first))
    return found


def test_no_code_writes_past_the_objects() -> None:
    """No module but the database's own and those of tables left out writes by statement or raw SQL."""
    unlogged = {"SESSIONS", "THROTTLE", "SearchStateRow", "SearchEntryRow"}
    root = Path(api.__file__).parent
    for path in sorted(root.rglob("*.py")):
        inside = path.relative_to(root).as_posix()
        if inside.startswith(("history/", "migrations/", "web/")) or inside == "database.py":
            continue
        for line, name, first in _calls(path):
            if (inside, name, first) in NOT_RECORDED:
                continue
            harmless = name == "text" and not any(
                word in first.upper() for word in ("INSERT", "UPDATE", "DELETE", "TRUNCATE")
            )
            raw_index = inside in {"search/engine.py", "search/indexer.py"}
            assert harmless or first in unlogged or raw_index, f"{inside}:{line} {name}({first})"
    for name in ("sessions", "throttle", "search_states", "search_entries"):
        assert scope_of(name) is None


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_an_older_store_is_taken_over_as_found(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """Each row of a database from before the history gets a line, and the store is then sound."""
    url = f"sqlite:///{tmp_path / 'corrosion.sqlite3'}"
    if kind == "postgresql":
        url = request.getfixturevalue("postgresql")
    database = Database(url)
    to_revision(database.engine, "0003")
    fill(database.engine)
    with pytest.raises(StorageError, match="version 0003"):
        database.check_version()
    database.close()
    store = open_store(url, tmp_path)
    with store.database.reading() as session:
        lines: list[Any] = list(session.execute(select(HistoryRow.table_name, HistoryRow.action)))
    assert sorted(lines) == sorted(
        [(name, "as found") for name in ("structures", "surveys", "photos", "removals", "readings")]
    )
    assert store.verify().sound
    with store.database.writing() as session:
        session.get_one(PhotoRow, "photos").upload_name = "IMG_2.jpg"
    assert store.verify().sound
    store.database.close()
