"""A small store in which everything has happened once, and ways to tamper with it past the program."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Column, Connection, Table, select

from api.database import Database
from api.exchange import Exchange
from api.files import PictureFiles
from api.history.faults import StoreReport
from api.history.verify import verify_store
from api.people.tables import AccountRow
from api.photos import PhotoReader
from api.planning import Planner
from api.proposals import Proposals
from api.results import Results
from api.services import Services
from api.tables import ReadingRow, RemovalRow, TickRow, UtcDateTime
from api.uploads import Uploads
from corrosion.model import Structure, ThicknessReading
from corrosion.model.planning import Planning
from corrosion.suggest import Suggestion
from corrosion.terms import MarkKind
from tests.api.samples import READING, STRUCTURE, picture, survey_file

PHOTOS = 3


@dataclass
class Store:
    """A database and its pictures."""

    database: Database
    files: PictureFiles
    folder: Path

    def verify(self, noted: str = "") -> StoreReport:
        """Verify it."""
        return verify_store(self.database, self.files, noted=noted)


def open_store(url: str, folder: Path) -> Store:
    """Open a store, its database brought up to date."""
    database = Database(url)
    database.migrate()
    files = PictureFiles(None, folder=folder / "pictures", incoming=folder / "incoming")
    return Store(database, files, folder)


def live_through(store: Store) -> str:
    """Let every use case that writes happen once; return the survey's id."""
    database = store.database
    services, exchange = Services(database), Exchange(database)
    survey = exchange.import_file(json.dumps(survey_file()).encode(), place="test").row.id
    structure = services.survey(survey).structure
    changed = Structure.model_validate(STRUCTURE | {"zone": "331"})
    services.edit_structure(structure.id, structure.version, changed, "mm")
    view = services.survey(survey)
    head = json.loads(json.dumps(view.row.document))
    head["survey"]["inspector"] = "Inspector B"
    services.edit_survey(survey, view.row.version, head, "First look")
    _upload(store, survey)
    _edit_parts(services, survey)
    _propose(store, survey)
    planner = Planner(database, exchange, Results(database, exchange))
    planner.choose(survey, "planning", 0, Planning(merge=False))
    planner.choose(survey, "planning", 1, Planning(merge=True))
    document = {"who": "Fitter C", "what": "note", "when": "2031-04-18T10:00:00+00:00", "note": ""}
    with database.writing() as session:
        session.add(TickRow(survey_id=survey, card="SK1-1", fingerprint="f", document=document))
        session.add(
            AccountRow(
                name="ada",
                display_name="A",
                roles="clerk",
                password_hash="$argon2id$x",  # noqa: S106
                must_change=True,
            )
        )
    return survey


def _upload(store: Store, survey: str) -> None:
    reader = PhotoReader(max_bytes=10**7, max_megapixels=4)
    uploads = Uploads(store.database, store.files, reader)
    names = ["f1.jpg", *(f"IMG_{n}.jpg" for n in range(1, PHOTOS))]
    for seed, name in enumerate(names):
        incoming = store.files.receive(10**7)
        incoming.write(picture(seed, size=(64, 48)))
        done = uploads.enter(survey, uploads.prepare(incoming, name), {})
        assert done.status == ("matched" if name == "f1.jpg" else "stored"), done


def _edit_parts(services: Services, survey: str) -> None:
    photo = services.photos(survey)[0].row
    marks = json.loads(json.dumps(photo.document["marks"]))
    marks[0]["depths"][0]["value"] = 0.34
    services.edit_photo(photo.id, photo.version, {"marks": marks[::-1], "note": "seen twice"})
    reading = services.entries(ReadingRow, survey)[0]
    services.edit_entry(
        ReadingRow, reading.id, 1, ThicknessReading.model_validate(READING | {"value": 0.95})
    )
    removal = services.entries(RemovalRow, survey)[0]
    services.withdraw(RemovalRow, removal.id, 1, "entered for the wrong member")


def suggestion(x: float, y: float, radius: float = 6.0) -> Suggestion:
    """Make a round outline as a search would have found it."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
    return Suggestion(ring, MarkKind.PIT, "drawn, version 1", {"radius_px": radius}, 0.5, 0.5)


def _propose(store: Store, survey: str) -> None:
    view = Services(store.database).photos(survey)[0]
    proposals = Proposals(store.database)
    found = [suggestion(16, 16), suggestion(40, 16), suggestion(40, 36)]
    first, second, _ = proposals.keep(view.row.id, str(view.row.picture_sha256), found, "sweep").rows
    proposals.accept(first.id, view.row.document["marks"][0]["id"], edited=True)
    proposals.drop(second.id)


@contextmanager
def behind_the_back(database: Database) -> Iterator[Connection]:
    """Give a connection on which the database itself guards nothing."""
    with database.engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        if database.is_sqlite:
            # On the driver's own connection: within a transaction the pragma would do nothing.
            driver.execute("PRAGMA foreign_keys=OFF")
            for name in ("history_is_kept", "history_is_not_emptied", "history_head_is_kept"):
                driver.execute(f"DROP TRIGGER IF EXISTS {name}")
        else:
            connection.exec_driver_sql("SET session_replication_role = replica")
        yield connection
        connection.commit()
        if database.is_sqlite:
            driver.execute("PRAGMA foreign_keys=ON")
        else:
            connection.exec_driver_sql("SET session_replication_role = DEFAULT")
            connection.commit()


def altered(column: Column[Any], value: Any) -> Any:
    """Make another value of the same kind."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1
    if isinstance(value, datetime):
        return value + timedelta(microseconds=1)
    if isinstance(value, dict):
        return _altered_document(value)
    if value is None:
        return datetime(2031, 5, 1, tzinfo=UTC) if isinstance(column.type, UtcDateTime) else "x"
    return value[:-1] + ("0" if value[-1:] != "0" else "1")


def _altered_document(document: Mapping[str, Any]) -> Any:
    """Change the deepest last value of a document a little."""
    copy = json.loads(json.dumps(document))
    here: Any = copy
    while True:
        keys = list(here) if isinstance(here, dict) else list(range(len(here)))
        deeper = [key for key in keys if isinstance(here[key], dict | list) and here[key]]
        if not deeper:
            break
        here = here[deeper[-1]]
    if not keys:
        here["x"] = 1
        return copy
    old = here[keys[-1]]
    here[keys[-1]] = old + 1e-9 if isinstance(old, float) else "altered"
    return copy


def one_row(connection: Connection, table: Table, *which: Any) -> dict[str, Any]:
    """Read the first row of a table (of those that fit `which`)."""
    key = list(table.primary_key)
    return dict(connection.execute(select(table).where(*which).order_by(*key).limit(1)).mappings().one())


def whole(report: StoreReport) -> str:
    """Write all faults as one text."""
    return "\n".join(f"{fault.kind} {fault.place}: {fault.problem}" for fault in report.faults)
