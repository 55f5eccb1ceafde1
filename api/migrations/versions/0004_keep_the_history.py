"""Keep the history of every change, begun with a line for each row as it is found."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

from api.history.chain import START_HASH, HistoryEntry
from api.history.diff import changes
from api.history.record import BATCH, chained
from api.history.scope import state_of

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

FOUND = (
    # table, key, column naming its survey, column naming its structure
    ("structures", "id", "", "id"),
    ("pictures", "sha256", "", ""),
    ("surveys", "id", "id", "structure_id"),
    ("photos", "id", "survey_id", ""),
    ("removals", "id", "survey_id", ""),
    ("readings", "id", "survey_id", ""),
    ("choices", "id", "survey_id", ""),
    ("ticks", "id", "survey_id", ""),
)
NOT_RECORDED = {"surveys": "revision"}
REFUSAL = "a line of the history is never changed or deleted"


def upgrade() -> None:
    """Apply the change."""
    op.create_table(
        "history",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("table_name", sa.String(length=40), nullable=False),
        sa.Column("row_id", sa.String(length=400), nullable=False),
        sa.Column("survey_id", sa.String(length=32), nullable=True),
        sa.Column("structure_id", sa.String(length=32), nullable=True),
        sa.Column("action", sa.String(length=20), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_history")),
    )
    op.create_index(op.f("ix_history_survey_id_seq"), "history", ["survey_id", "seq"])
    op.create_index(op.f("ix_history_structure_id_seq"), "history", ["structure_id", "seq"])
    op.create_index(op.f("ix_history_table_name_row_id_seq"), "history", ["table_name", "row_id", "seq"])
    op.create_index(op.f("ix_history_table_name_seq"), "history", ["table_name", "seq"])
    op.create_table(
        "history_head",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history_head")),
    )
    _record_what_is_there()
    _guard()


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
    history = sa.table("history", sa.column("action"))
    changed = sa.select(sa.func.count()).select_from(history).where(history.c.action != "as found")
    if op.get_bind().scalar(changed):
        raise RuntimeError("the history has lines, which the older program cannot keep.")
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP TRIGGER history_is_kept ON history")
        op.execute("DROP TRIGGER history_is_not_emptied ON history")
        op.execute("DROP TRIGGER history_head_is_kept ON history_head")
        op.execute("DROP FUNCTION history_refuse()")
    op.drop_table("history_head")
    op.drop_table("history")


def _record_what_is_there() -> None:
    bind = op.get_bind()
    tables = sa.MetaData()
    tables.reflect(bind, only=["history", "history_head", *(name for name, *_ in FOUND)])
    seq, previous, rows = 0, START_HASH, []
    for line in _lines(tables):
        linked, row = chained(line, seq + 1, previous)
        seq, previous = linked.seq, linked.hash
        rows.append(row)
        if len(rows) == BATCH:
            bind.execute(tables.tables["history"].insert(), rows)
            rows = []
    if rows:
        bind.execute(tables.tables["history"].insert(), rows)
    bind.execute(tables.tables["history_head"].insert().values(id=1, seq=seq, hash=previous))


def _lines(tables: sa.MetaData) -> Iterator[HistoryEntry]:
    moment = datetime.now(UTC)
    for name, key, survey, structure in FOUND:
        table = tables.tables[name]
        columns = [column for column in table.c if column.name != NOT_RECORDED.get(name)]
        found = op.get_bind().execute(sa.select(*columns).order_by(table.c[key]))
        for row in found.mappings():
            state = state_of(row)
            yield HistoryEntry(
                seq=0,
                at=moment,
                actor_key="upgrade",
                actor_name="upgrade of the program",
                via="command",
                table=name,
                row_id=str(state[key]),
                survey_id=state.get(survey),
                structure_id=state.get(structure),
                action="as found",
                before=None,
                after=changes({}, state)[1],
                reason="There before the history was kept.",
                previous="",
            )


def _guard() -> None:
    """Let the database itself refuse to change or delete a line, or to move the head back."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION history_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
        )
        op.execute(
            "CREATE TRIGGER history_is_kept BEFORE UPDATE OR DELETE ON history "
            "FOR EACH ROW EXECUTE FUNCTION history_refuse()"
        )
        op.execute(
            "CREATE TRIGGER history_is_not_emptied BEFORE TRUNCATE ON history "
            "FOR EACH STATEMENT EXECUTE FUNCTION history_refuse()"
        )
        op.execute(
            "CREATE TRIGGER history_head_is_kept BEFORE DELETE ON history_head "
            "FOR EACH ROW EXECUTE FUNCTION history_refuse()"
        )
        return
    for name, what in (
        ("history_is_kept", "UPDATE ON history"),
        ("history_is_not_emptied", "DELETE ON history"),
        ("history_head_is_kept", "DELETE ON history_head"),
    ):
        op.execute(f"CREATE TRIGGER {name} BEFORE {what} BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END")
