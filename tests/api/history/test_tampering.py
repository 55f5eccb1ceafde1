"""Whatever is changed past the program is found and named, on both databases."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import Column, Connection, delete, func, insert, select, text, update
from sqlalchemy.exc import SQLAlchemyError

from api.history.chain import digest
from api.history.log import head
from api.history.scope import Scope, scopes
from api.history.tables import HistoryHeadRow, HistoryRow
from api.tables import PhotoRow, PictureRow, RemovalRow
from tests.api.history.stores import Store, altered, behind_the_back, one_row, whole

LINES: Any = HistoryRow.__table__
HEAD: Any = HistoryHeadRow.__table__


def filled(store: Store) -> list[Scope]:
    """List the covered tables that hold anything."""
    with store.database.reading() as session:
        return [one for one in scopes() if session.scalar(select(func.count()).select_from(one.table))]


def test_a_store_that_only_the_program_wrote_is_sound(store: Store) -> None:
    """After every use case has written once, verification finds nothing and has read everything."""
    report = store.verify()
    assert whole(report) == ""
    assert {one.table.name for one in filled(store)} >= {
        "structures", "surveys", "pictures", "photos", "removals", "readings", "choices", "ticks",
        "accounts",
    }  # fmt: skip
    with store.database.reading() as session:
        for scope in filled(store):
            name = scope.table.name
            rows = session.scalar(select(func.count()).select_from(scope.table))
            lines = session.scalar(
                select(func.count(LINES.c.row_id.distinct())).where(LINES.c.table_name == name)
            )
            assert lines == rows, name
        assert report.head == head(session)
    assert report.files == 3


def test_any_changed_column_of_any_row_is_named(store: Store) -> None:
    """Each column of a row of each covered table, once changed, is named with its row and its field."""
    tables = filled(store)
    columns = {one.table.name: [c for c in one.table.c if c.name not in one.skipped] for one in tables}
    for number in range(max(map(len, columns.values()))):
        with behind_the_back(store.database) as connection:
            # One column of each table at a time: the tables' faults are told apart by their names.
            changed = [
                (one, *_alter(connection, one.table, columns[one.table.name][number]))
                for one in tables
                if number < len(columns[one.table.name])
            ]
        found = [fault for fault in store.verify().faults if fault.kind == "row"]
        with behind_the_back(store.database) as connection:
            for scope, column, before, after in changed:
                _restore(connection, scope.table, column, before, after)
        for scope, column, _, after in changed:
            name = scope.row_id_of(after)
            mine = [one.problem for one in found if one.place.endswith(f"({scope.table.name} {name})")]
            assert mine, (scope.table.name, column.name, found)
            assert column.primary_key or all(column.name in one for one in mine), (column.name, mine)
    assert sum(map(len, columns.values())) > 60
    assert store.verify().sound


def test_any_changed_column_of_any_line_is_named(store: Store) -> None:
    """Each column of the first, a middle and the last line, once changed, is named, and no other line."""
    last = store.verify().lines
    lines = (1, last // 2, last)
    for column in LINES.c:
        changed = []
        for seq in lines[-1:] if column.primary_key else lines:
            with behind_the_back(store.database) as connection:
                changed.append(_alter(connection, LINES, column, LINES.c.seq == seq))
        found = store.verify().faults
        with behind_the_back(store.database) as connection:
            for _, before, after in changed:
                _restore(connection, LINES, column, before, after)
        named = {fault.place for fault in found if fault.place.startswith("line ")}
        wanted = (
            {f"line {last}", f"line {last + 1}"} if column.primary_key else {f"line {n}" for n in lines}
        )
        assert named == wanted, (column.name, found)
    assert store.verify().sound


def _alter(connection: Connection, table: Any, column: Column[Any], *which: Any) -> tuple[Any, ...]:
    """Change one column of one row; return the column and the row before and after."""
    before = one_row(connection, table, *which)
    after = before | {column.name: altered(column, before[column.name])}
    here = [key == before[key.name] for key in table.primary_key]
    connection.execute(update(table).where(*here).values({column.name: after[column.name]}))
    return column, before, after


def _restore(connection: Connection, table: Any, column: Column[Any], before: Any, after: Any) -> None:
    there = [key == after[key.name] for key in table.primary_key]
    connection.execute(update(table).where(*there).values({column.name: before[column.name]}))


def test_deleted_lines_are_named(store: Store) -> None:
    """Lines taken out are named by their numbers: the first, one between and the last."""
    last = store.verify().lines
    gone = [1, last // 2, last]
    with behind_the_back(store.database) as connection:
        connection.execute(delete(LINES).where(LINES.c.seq.in_(gone)))
    found = whole(store.verify())
    for seq in gone:
        assert f"history line {seq}: missing" in found


def test_swapped_and_forged_lines_are_named(store: Store) -> None:
    """Lines that change places are named, and one forged with a right hash does not carry the next."""
    with behind_the_back(store.database) as connection:
        rows = connection.execute(select(LINES).where(LINES.c.seq.in_([4, 5]))).mappings().all()
        connection.execute(delete(LINES).where(LINES.c.seq.in_([4, 5])))
        connection.execute(insert(LINES), [{**row, "seq": 9 - row["seq"]} for row in rows])
        body = connection.scalar(select(LINES.c.body).where(LINES.c.seq == 9))
        assert body is not None
        forged = body.replace("local user", "someone else")
        assert forged != body
        connection.execute(update(LINES).where(LINES.c.seq == 9).values(body=forged, hash=digest(forged)))
    found = whole(store.verify())
    assert "history line 4:" in found
    assert "history line 5:" in found
    assert "history line 10: it does not follow line 9" in found


def test_a_history_cut_off_with_its_head_needs_a_noted_head(store: Store) -> None:
    """Cutting off the end and moving the head back with it fools all but a head noted elsewhere."""
    noted = store.verify().head
    assert noted is not None
    with store.database.writing() as session:
        row = session.scalars(select(RemovalRow)).one()
        row.withdrawn_reason = "forged"
    assert store.verify(noted.hash).sound
    with behind_the_back(store.database) as connection:
        rows = connection.execute(select(LINES).order_by(LINES.c.seq.desc()).limit(2)).mappings().all()
        connection.execute(delete(LINES).where(LINES.c.seq == rows[0]["seq"]))
        connection.execute(
            update(RemovalRow.__table__).values(withdrawn_reason="entered for the wrong member", version=2)  # type: ignore[arg-type]
        )
        connection.execute(update(HEAD).values(seq=rows[1]["seq"], hash=rows[1]["hash"]))
    assert store.verify().sound
    assert store.verify(noted.hash).sound
    found = whole(store.verify(rows[0]["hash"]))
    assert "noted head" in found
    assert rows[0]["hash"] in found


def test_a_changed_head_is_named(store: Store) -> None:
    """A head that points elsewhere than to the last line, or is doubled, is found."""
    true = store.verify().head
    assert true is not None
    for values in ({"seq": 3}, {"seq": 99}, {"hash": "0" * 64}):
        with behind_the_back(store.database) as connection:
            connection.execute(update(HEAD).values(values))
        found = whole(store.verify())
        assert "history head" in found or "cut off at the end" in found
        with behind_the_back(store.database) as connection:
            connection.execute(update(HEAD).values(seq=true.seq, hash=true.hash))
    with behind_the_back(store.database) as connection:
        connection.execute(insert(HEAD).values(id=2, seq=1, hash="0" * 64))
    assert "there are 2 heads" in whole(store.verify())


def test_rows_gone_planted_or_changed_before_an_edit_are_named(store: Store) -> None:
    """A deleted row, one that no line is about, and a change hidden by a proper edit after it."""
    removals: Any = RemovalRow.__table__
    photos: Any = PhotoRow.__table__
    with behind_the_back(store.database) as connection:
        removal = one_row(connection, removals)
        connection.execute(insert(removals).values({**removal, "id": "planted", "key": "R9"}))
        connection.execute(delete(removals).where(removals.c.id == removal["id"]))
        photo = one_row(connection, photos)
        document = photo["document"] | {"note": "planted"}
        connection.execute(update(photos).where(photos.c.id == photo["id"]).values(document=document))
    with store.database.writing() as session:
        edited = session.get_one(PhotoRow, photo["id"])
        edited.document = edited.document | {"note": "edited"}
    lines = whole(store.verify()).splitlines()
    assert f"row removals {removal['id']}: it is gone; line 16 of the history still has it" in lines
    assert any("removals planted" in line and "put in past the program" in line for line in lines)
    assert any(photo["id"] in line and "found another /document/note" in line for line in lines)


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_documents_that_cannot_be_read_are_named(store: Store) -> None:
    """A document that is no JSON and a time that is none do not stop it; PostgreSQL would refuse them."""
    with behind_the_back(store.database) as connection:
        connection.execute(text("UPDATE photos SET document = '{\"id\": ' WHERE position = 0"))
        connection.execute(text("UPDATE removals SET withdrawn_at = 'soon'"))
        connection.execute(text("UPDATE history SET at = 'soon' WHERE seq = 3"))
        connection.execute(text("UPDATE history SET body = substr(body, 2) WHERE seq = 5"))
    found = whole(store.verify())
    for named in ("document is", 'withdrawn_at is "soon"', "history line 3:", "history line 5:"):
        assert named in found


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_every_damaged_picture_is_named(store: Store) -> None:
    """One flipped byte, one lost and one shortened original: each is named by its photo."""
    with store.database.reading() as session:
        photos = session.scalars(select(PhotoRow).order_by(PhotoRow.position)).all()
        originals = set(session.scalars(select(PictureRow.sha256)))
    hashes = [str(row.picture_sha256) for row in photos]
    paths = [store.folder / "pictures" / "sha256" / one[:2] / one for one in hashes]
    assert {path.name for path in paths} == originals
    for number, path in enumerate(paths):
        whole_file = path.read_bytes()
        for place in (0, len(whole_file) // 2, len(whole_file) - 1):
            flipped = bytearray(whole_file)
            flipped[place] ^= 1
            path.write_bytes(flipped)
            (fault,) = store.verify().faults
            assert f"photo {photos[number].key!r} of survey 'First look'" in fault.place
            assert "bytes were changed" in fault.problem
        path.write_bytes(whole_file)
    assert store.verify().sound
    paths[0].unlink()
    paths[1].write_bytes(paths[1].read_bytes()[:-1])
    problems = {fault.place.split(" ")[1]: fault.problem for fault in store.verify().faults}
    assert "not in the picture store" in problems["'f1'"]
    assert "bytes, not" in problems["'IMG_1'"]


def test_the_database_refuses_to_change_the_history(store: Store) -> None:
    """Both databases refuse, by themselves, to change or delete a line or to delete the head."""
    statements = [update(LINES).values(hash="0" * 64), delete(LINES), delete(HEAD)]
    for statement in statements:
        with (
            pytest.raises(SQLAlchemyError, match="never changed or deleted"),
            store.database.engine.begin() as one,
        ):
            one.execute(statement)
    assert store.verify().sound
