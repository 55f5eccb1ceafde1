"""Verify that the chain of the history is unbroken and ends where its head says."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.history.chain import START_HASH, HistoryEntry, digest, entry_from, time_text
from api.history.faults import StoreReport
from api.history.log import Head
from api.history.raw import raw_columns, stored_value
from api.history.tables import HistoryHeadRow, HistoryRow
from corrosion.intake import Progress

PAGE = 500


@dataclass
class _Link:
    """Where the walk along the chain stands: the line last seen, and the hashes it may go by."""

    seq: int = 0
    hashes: set[str] = field(default_factory=lambda: {START_HASH})


def verify_chain(session: Session, report: StoreReport, noted: str, progress: Progress) -> None:
    """Walk along the whole history; add what is wrong to the report.

    Parameters
    ----------
    noted : str
        Hash of a line as noted elsewhere; it must still be in the chain. Empty: none was noted.
    """
    table = HistoryRow.__table__
    total = session.scalar(select(func.count()).select_from(table)) or 0
    link = _Link()
    noted_at: int | None = 0 if noted == START_HASH else None
    statement = select(*raw_columns(table)).order_by(table.c.seq)
    found = session.connection().execution_options(yield_per=PAGE).execute(statement).mappings()
    for step, raw in enumerate(found, start=1):
        row = {name: stored_value(table.c[name], value) for name, value in raw.items()}
        _check_line(row, link, report)
        if row["hash"] == noted and digest(str(row["body"])) == noted:
            noted_at = link.seq
        if step % PAGE == 0:
            progress("history", step, total)
    progress("history", total, total)
    report.lines = total
    _check_head(session, link, report)
    if noted and noted_at is None:
        report.add(
            "history", "noted head", f"no line has the hash noted elsewhere, {noted}: lines were rewritten"
        )
    elif noted:
        report.notes.append(f"The head noted elsewhere is line {noted_at} of {link.seq}.")


def _check_line(row: dict[str, Any], link: _Link, report: StoreReport) -> None:
    seq, body, hash_ = row["seq"], str(row["body"]), str(row["hash"])
    place = f"line {seq}"
    if not isinstance(seq, int):
        report.add("history", place, "its number is not a number")
        return
    gap = seq - link.seq - 1
    if gap:
        report.add("history", _lines(link.seq + 1, seq - 1), "missing: deleted, or renumbered")
    computed = digest(body)
    if computed != hash_:
        report.add("history", place, "its text and its hash do not belong together: one was changed")
    entry = _read(body, hash_)
    if entry is None:
        report.add("history", place, "its text cannot be read")
    else:
        for problem in _differing(row, entry):
            report.add("history", place, problem)
        if not gap and entry.previous not in link.hashes:
            report.add(
                "history", place, f"it does not follow line {link.seq}: one of them was replaced or moved"
            )
    link.seq, link.hashes = seq, {hash_, computed}


def _read(body: str, hash_: str) -> HistoryEntry | None:
    try:
        return entry_from(body, hash_)
    except ValueError:
        return None


def _differing(row: dict[str, Any], entry: HistoryEntry) -> list[str]:
    """Compare the columns beside a line's text with the text."""
    pairs = {
        "seq": entry.seq,
        "at": time_text(entry.at),
        "table_name": entry.table,
        "row_id": entry.row_id,
        "survey_id": entry.survey_id,
        "structure_id": entry.structure_id,
        "action": entry.action,
    }
    beside = {
        name: time_text(row[name]) if isinstance(row[name], datetime) else row[name] for name in pairs
    }
    return [
        f"column {name!r} says {beside[name]!r}, its text {value!r}"
        for name, value in pairs.items()
        if beside[name] != value
    ]


def _check_head(session: Session, link: _Link, report: StoreReport) -> None:
    heads = session.execute(select(HistoryHeadRow.seq, HistoryHeadRow.hash)).all()
    if len(heads) != 1:
        report.add("history", "head", f"there are {len(heads)} heads, not one")
        return
    head = report.head = Head(*heads[0])
    if head.seq > link.seq:
        report.add("history", _lines(link.seq + 1, head.seq), "missing: cut off at the end")
    elif head.seq < link.seq:
        report.add(
            "history",
            "head",
            f"it says the history ends with line {head.seq}, but there is line {link.seq}",
        )
    elif head.hash not in link.hashes:
        report.add("history", "head", f"its hash is not that of line {head.seq}: one of them was changed")


def _lines(first: int, last: int) -> str:
    return f"line {first}" if first == last else f"lines {first} to {last}"
