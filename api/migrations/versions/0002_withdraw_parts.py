"""Let photos, removals and readings be withdrawn: the row stays, its key is free again."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

TABLES = ("photos", "removals", "readings")


def upgrade() -> None:
    """Apply the change."""
    standing = sa.text("withdrawn_at IS NULL")
    for table in TABLES:
        with op.batch_alter_table(table) as batch:
            batch.add_column(sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True))
            batch.add_column(sa.Column("withdrawn_reason", sa.String(length=400), nullable=True))
            batch.drop_constraint(op.f(f"uq_{table}_survey_id_key"), type_="unique")
        op.create_index(
            f"uq_{table}_standing_key",
            table,
            ["survey_id", "key"],
            unique=True,
            sqlite_where=standing,
            postgresql_where=standing,
        )


def downgrade() -> None:
    """Take the change back, as long as nothing was withdrawn: it would come back to life."""
    for table in TABLES:
        rows = sa.table(table, sa.column("withdrawn_at"))
        count = sa.select(sa.func.count()).select_from(rows).where(rows.c.withdrawn_at.is_not(None))
        if op.get_bind().scalar(count):
            raise RuntimeError(f"table {table!r} has withdrawn rows, which the older program would count.")
    for table in TABLES:
        op.drop_index(f"uq_{table}_standing_key", table_name=table)
        with op.batch_alter_table(table) as batch:
            batch.create_unique_constraint(op.f(f"uq_{table}_survey_id_key"), ["survey_id", "key"])
            batch.drop_column("withdrawn_reason")
            batch.drop_column("withdrawn_at")
