"""The history as people read it: lines in words, newest first."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import repository as repo
from api.actor import Role, current_actor
from api.database import Database
from api.history.chain import HistoryEntry, Json
from api.history.log import Head, Wanted, head, page_of
from api.history.scope import scope_of
from api.history.words import KINDS, NAMED_BY, Said, say, subject
from api.tables import Base, StructureRow, SurveyRow


@dataclass(frozen=True)
class Line:
    """One line of the history in words.

    Attributes
    ----------
    survey_name : str or None
        Name of the survey it belongs to; None where it belongs to none.
    """

    entry: HistoryEntry
    said: Said
    survey_name: str | None


class History:
    """Use cases on the history; it is written by the database's sessions themselves."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def lines(self, wanted: Wanted) -> list[Line]:
        """Return lines in words, newest first; `NotFoundError` if there is no such survey.

        Lines about accounts are for administrators alone.
        """
        if Role.ADMINISTRATOR not in current_actor().roles:
            wanted = replace(wanted, without=(*wanted.without, *KINDS["people"][1]))
        with self._database.reading() as session:
            if wanted.survey_id is not None:
                repo.find(session, SurveyRow, wanted.survey_id)
            entries = list(page_of(session, wanted))
            names = _names(session, entries)
            surveys = _surveys(session, entries)
            units = _units(session, entries)
        lines = []
        for entry in entries:
            name = names.get((entry.table, entry.row_id)) or subject(entry.table, _first_state(entry))
            survey_name, structure = surveys.get(entry.survey_id or "", (None, entry.structure_id))
            said = say(entry, name, units.get(structure or "", "mm"))
            lines.append(Line(entry, said, survey_name))
        return lines

    def head(self) -> Head:
        """Return the number and hash of the last line."""
        with self._database.reading() as session:
            return head(session)


def _first_state(entry: HistoryEntry) -> Json:
    """Return the columns that a line itself tells of its row."""
    told = entry.after or entry.before or {}
    return {path[1:]: value for path, value in told.items() if path.count("/") == 1}


def _names(session: Session, entries: list[HistoryEntry]) -> dict[tuple[str, str], str]:
    """Name rows as they are called now: a line tells only what changed."""
    wanted: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        wanted[entry.table].add(entry.row_id)
    names: dict[tuple[str, str], str] = {}
    for table_name, row_ids in wanted.items():
        scope = scope_of(table_name) if table_name in Base.metadata.tables else None
        if scope is None or len(scope.table.primary_key) != 1:
            continue
        (key,) = scope.table.primary_key
        columns = [scope.table.c[name] for name in NAMED_BY if name in scope.table.c and name != key.name]
        for row in session.execute(select(key, *columns).where(key.in_(row_ids))).mappings():
            names[table_name, str(row[key.name])] = subject(table_name, dict(row))
    return names


def _surveys(session: Session, entries: list[HistoryEntry]) -> dict[str, tuple[str | None, str | None]]:
    """Return name and structure of the surveys that lines belong to."""
    wanted = {entry.survey_id for entry in entries if entry.survey_id is not None}
    statement = select(SurveyRow.id, SurveyRow.name, SurveyRow.structure_id).where(SurveyRow.id.in_(wanted))
    return {
        row.id: (row.name or "Survey without a name", row.structure_id)
        for row in session.execute(statement)
    }


def _units(session: Session, entries: list[HistoryEntry]) -> dict[str, str]:
    """Return the unit of every structure that lines concern."""
    surveys = {entry.survey_id for entry in entries if entry.survey_id is not None}
    own = {entry.structure_id for entry in entries if entry.structure_id is not None}
    through = select(SurveyRow.structure_id).where(SurveyRow.id.in_(surveys))
    statement = select(StructureRow.id, StructureRow.units).where(
        StructureRow.id.in_(own) | StructureRow.id.in_(through)
    )
    return {row.id: row.units for row in session.execute(statement)}
