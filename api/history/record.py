"""Writing the history: every change of a covered row becomes a line, in the transaction of the change.

A `RecordingSession` notes which rows a flush touches and what the database held of them before. At the
end `settle` reads the same rows again and writes the differences. Both states are read from the
database, so a line says what is stored, whatever a use case did to its objects.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Table, event, insert, inspect, select, tuple_, update
from sqlalchemy.orm import ORMExecuteState, Session, UOWTransaction

from api.actor import current_actor
from api.history.chain import Action, HistoryEntry, Json, canonical, digest, entry_json
from api.history.diff import changes
from api.history.scope import Scope, scope_of, state_of
from api.history.tables import HistoryHeadRow, HistoryRow
from api.tables import now
from corrosion.errors import StorageError

TOUCHED = "history_touched"
REASON = "history_reason"
BATCH = 200
"""Rows read or written at a time: a bound on memory, and below every driver's limit of parameters."""

Key = tuple[Any, ...]
Touched = dict[str, dict[Key, Json | None]]
"""By table and primary key: the state before this transaction, None if the row was not there."""


class RecordingSession(Session):
    """A session whose changes are written into the history by `settle`."""


def because(session: Session, reason: str) -> None:
    """Give the reason for what this transaction changes; it is recorded with each line."""
    session.info[REASON] = reason


def settle(session: Session) -> None:
    """Write a line for every covered row that the transaction has changed so far.

    `Database.writing` calls it before it commits. The head is locked here, as late as can be: from then
    on other writers of covered rows wait, so that the lines get their numbers one after the other.
    """
    if not isinstance(session, RecordingSession):
        return
    session.flush()
    touched: Touched = session.info.pop(TOUCHED, {})
    reason = session.info.get(REASON, "")
    lines: list[HistoryEntry] = []
    for table, before in touched.items():
        scope = scope_of(table)
        if scope is not None:
            lines += _lines(session, scope, before, reason)
    if lines:
        _append(session, lines)


@event.listens_for(RecordingSession, "before_flush")
def _note_changes(session: Session, _context: UOWTransaction, _instances: object) -> None:
    """Read what the database holds of rows about to change, once per transaction."""
    touched: Touched = session.info.setdefault(TOUCHED, {})
    for row in session.deleted:
        if _scope(row) is not None:
            raise StorageError(
                f"a row of {_table(row).name!r} was to be deleted; nothing was changed.",
                remedy="Nothing is deleted here: withdraw it, or mark it as superseded.",
            )
    wanted: dict[str, list[Key]] = {}
    for row in session.dirty:
        scope = _scope(row)
        if scope is not None and session.is_modified(row):
            key = _key(row)
            if key not in touched.setdefault(scope.table.name, {}):
                wanted.setdefault(scope.table.name, []).append(key)
    for name, keys in wanted.items():
        scope = scope_of(name)
        if scope is not None:
            stored = _stored(session, scope, keys)
            touched[name] |= {key: stored.get(scope.row_id(key)) for key in keys}


@event.listens_for(RecordingSession, "after_flush")
def _note_additions(session: Session, _context: UOWTransaction) -> None:
    """Note the rows that a flush has added; only now do they have their keys."""
    touched: Touched = session.info[TOUCHED]
    for row in session.new:
        scope = _scope(row)
        if scope is not None:
            touched.setdefault(scope.table.name, {}).setdefault(_key(row), None)


@event.listens_for(RecordingSession, "do_orm_execute")
def _refuse_bulk(state: ORMExecuteState) -> None:
    """Refuse statements that would change covered columns past the objects, and so past the history."""
    if not (state.is_insert or state.is_update or state.is_delete):
        return
    statement: Any = state.statement
    scope = scope_of(statement.table.name)
    if scope is None:
        return
    # SQLAlchemy gives the columns of an update nowhere else.
    columns = {getattr(one, "name", one) for one in (getattr(statement, "_values", None) or {})}
    if not state.is_update or not columns or columns - scope.skipped:
        raise StorageError(
            f"a statement on {statement.table.name!r} would bypass the history; nothing was changed.",
            remedy="Change the rows through their objects.",
        )


def _table(row: object) -> Table:
    state: Any = inspect(row)
    table: Table = state.mapper.local_table
    return table


def _scope(row: object) -> Scope | None:
    return scope_of(_table(row).name)


def _key(row: object) -> Key:
    state: Any = inspect(row)
    return tuple(state.identity or state.mapper.primary_key_from_instance(row))


def _stored(session: Session, scope: Scope, keys: Sequence[Key]) -> dict[str, Json]:
    """Read the states of some rows straight from the database, by the history's names of them."""
    table = scope.table
    named = tuple(table.primary_key)
    columns = [column for column in table.c if column.name not in scope.skipped]
    found: dict[str, Json] = {}
    for some in _batches(keys):
        which = (
            named[0].in_([key[0] for key in some]) if len(named) == 1 else tuple_(*named).in_(list(some))
        )
        rows = session.connection().execute(select(*columns).where(which)).mappings()
        found |= {scope.row_id_of(row): state_of(row, scope) for row in rows}
    return found


def _lines(
    session: Session, scope: Scope, before: dict[Key, Json | None], reason: str
) -> Iterator[HistoryEntry]:
    stored = _stored(session, scope, list(before))
    for key, old in before.items():
        row_id = scope.row_id(key)
        made = entry_of_change(scope, row_id, old, stored.get(row_id), reason)
        if made is not None:
            yield made


def entry_of_change(
    scope: Scope, row_id: str, old: Json | None, new: Json | None, reason: str = ""
) -> HistoryEntry | None:
    """Make the line of a change, not yet in the chain; None if nothing changed."""
    before, after = _change(old, new)
    if not before and not after:
        return None
    state: Json = new or old or {}
    actor = current_actor()
    withdrawn = (
        old is not None and old.get("withdrawn_at") is None and state.get("withdrawn_at") is not None
    )
    action: Action = "changed"
    if old is None:
        action = "added"
    elif new is None:
        action = "deleted"
    elif withdrawn:
        action, reason = "withdrawn", reason or str(state.get("withdrawn_reason") or "")
    return HistoryEntry(
        seq=0,
        at=now(),
        actor_key=actor.key,
        actor_name=actor.name,
        via=actor.via,
        table=scope.table.name,
        row_id=row_id,
        survey_id=state.get(scope.survey),
        structure_id=state.get(scope.structure),
        action=action,
        before=before,
        after=after,
        reason=reason,
        previous="",
    )


def _change(old: Json | None, new: Json | None) -> tuple[Json | None, Json | None]:
    if old is None or new is None:
        return (changes(old, {})[0] if old else None), (changes({}, new)[1] if new else None)
    return changes(old, new)


def chained(line: HistoryEntry, seq: int, previous: str) -> tuple[HistoryEntry, Json]:
    """Put a line after another: give it its number and hash. Also return its row in the table."""
    linked = replace(line, seq=seq, previous=previous)
    body = canonical(entry_json(linked))
    linked = replace(linked, hash=digest(body))
    row = {
        "seq": linked.seq,
        "at": linked.at,
        "table_name": linked.table,
        "row_id": linked.row_id,
        "survey_id": linked.survey_id,
        "structure_id": linked.structure_id,
        "action": linked.action,
        "hash": linked.hash,
        "body": body,
    }
    return linked, row


def _append(session: Session, lines: list[HistoryEntry]) -> None:
    connection = session.connection()
    head = HistoryHeadRow.__table__
    seq, previous = connection.execute(select(head.c.seq, head.c.hash).with_for_update()).one()
    moment = now()
    for some in _batches(lines):
        rows = []
        for line in some:
            linked, row = chained(replace(line, at=moment), seq + 1, previous)
            seq, previous = linked.seq, linked.hash
            rows.append(row)
        connection.execute(insert(HistoryRow), rows)
    connection.execute(update(HistoryHeadRow).values(seq=seq, hash=previous))


def _batches(items: Sequence[Any]) -> Iterable[Sequence[Any]]:
    return (items[start : start + BATCH] for start in range(0, len(items), BATCH))
