"""Verify that every row is what the history says it became, and that none is missing from it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from sqlalchemy import func, select, tuple_
from sqlalchemy.orm import Session

import api.people.tables
import api.sealing.tables
import api.search.tables  # noqa: F401 - each adds its tables to what is verified
from api.history.chain import HistoryEntry, Json, entry_from
from api.history.diff import apply, changes
from api.history.faults import StoreReport, shown
from api.history.raw import raw_columns, stored_value
from api.history.scope import Scope, scopes, state_of
from api.history.tables import HistoryRow
from api.history.words import subject
from corrosion.intake import Progress

PAGE = 200


def verify_rows(session: Session, report: StoreReport, progress: Progress) -> None:
    """Compare every covered row with what the history makes of it; add what is wrong to the report."""
    covered = scopes()
    counts = {
        scope.table.name: session.scalar(select(func.count()).select_from(scope.table)) or 0
        for scope in covered
    }
    total = sum(counts.values())
    for scope in covered:
        seen: set[str] = set()
        for page in _pages(session, scope):
            _compare_page(session, scope, page, report)
            seen |= page.keys()
            report.rows += len(page)
            progress("rows", report.rows, total)
        _find_gone(session, scope, seen, report)
    progress("rows", total, total)


def replay(lines: list[HistoryEntry]) -> tuple[Json | None, list[tuple[int, str]]]:
    """Follow a row through its lines.

    Returns
    -------
    state : dict or None
        What it must be now; None if it must not be there.
    unseen : list of (int, str)
        Line and path where a line found another value than the lines before it left.
    """
    state: Json | None = None
    unseen: list[tuple[int, str]] = []
    for line in lines:
        if line.after is None:
            state = None
            continue
        if line.before is None:
            state = {}
        elif state is None:
            state = {}
            unseen.append((line.seq, ""))
        unseen += [(line.seq, path) for path in apply(state, line.before or {}, line.after)]
    return state, unseen


def _pages(session: Session, scope: Scope) -> Iterator[dict[str, Json]]:
    """Yield a table's rows by the history's names of them, page by page in the order of their keys."""
    key = tuple(scope.table.primary_key)
    statement = select(*raw_columns(scope.table, without=scope.skipped)).order_by(*key).limit(PAGE)
    last: tuple[Any, ...] | None = None
    while True:
        after = statement if last is None else statement.where(tuple_(*key) > tuple_(*last))
        rows = session.execute(after).mappings().all()
        if not rows:
            return
        read = [
            {name: stored_value(scope.table.c[name], value) for name, value in row.items()} for row in rows
        ]
        yield {scope.row_id_of(row): state_of(row, scope) for row in read}
        last = tuple(rows[-1][column.name] for column in key)


def _compare_page(session: Session, scope: Scope, page: dict[str, Json], report: StoreReport) -> None:
    statement = select(HistoryRow.seq, HistoryRow.body, HistoryRow.hash).where(
        HistoryRow.table_name == scope.table.name, HistoryRow.row_id.in_(list(page))
    )
    lines: dict[str, list[HistoryEntry]] = defaultdict(list)
    for _seq, body, hash_ in session.execute(statement.order_by(HistoryRow.seq)):
        try:
            entry = entry_from(body, hash_)
        except ValueError:
            continue  # The chain's check has named it.
        lines[entry.row_id].append(entry)
    for row_id, state in page.items():
        place = f"{subject(scope.table.name, state)} ({scope.table.name} {row_id})"
        if row_id not in lines:
            report.add("row", place, "no line of the history is about it: it was put in past the program")
            continue
        expected, unseen = replay(lines[row_id])
        for seq, path in unseen:
            report.add(
                "row",
                place,
                f"line {seq} found another {path or 'row'} than the lines before it left: changed unseen",
            )
        for problem in _differing(expected, state):
            report.add("row", place, problem)


def _differing(expected: Json | None, state: Json) -> Iterator[str]:
    if expected is None:
        yield "the history says that it is gone"
        return
    old, new = changes(expected, state)
    for path in sorted(old.keys() | new.keys()):
        column = path.split("/")[1]
        if column not in expected and new.get(path) is None:
            continue  # A column that a later program added, and that nobody has filled.
        was = shown(old[path]) if path in old else "nothing"
        is_now = shown(new[path]) if path in new else "nothing"
        yield f"{path[1:]} is {is_now}, the history says {was}"


def _find_gone(session: Session, scope: Scope, seen: set[str], report: StoreReport) -> None:
    statement = (
        select(HistoryRow.row_id, func.max(HistoryRow.seq))
        .where(HistoryRow.table_name == scope.table.name)
        .group_by(HistoryRow.row_id)
    )
    for row_id, seq in session.execute(statement):
        if row_id in seen:
            continue
        body = session.scalar(select(HistoryRow.body).where(HistoryRow.seq == seq))
        try:
            entry = entry_from(body or "", "")
        except ValueError:
            continue
        if entry.after is not None and entry.row_id == row_id:
            report.add(
                "row", f"{scope.table.name} {row_id}", f"it is gone; line {seq} of the history still has it"
            )
