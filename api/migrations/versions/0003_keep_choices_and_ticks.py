"""Keep each survey's planning and decision, and the log of its bench cards."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply the change."""
    op.create_table(
        "choices",
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("part", sa.String(length=20), nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["survey_id"], ["surveys.id"], name=op.f("fk_choices_survey_id_surveys")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_choices")),
    )
    op.create_index("uq_choices_survey_part", "choices", ["survey_id", "part"], unique=True)
    op.create_table(
        "ticks",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("card", sa.String(length=80), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["survey_id"], ["surveys.id"], name=op.f("fk_ticks_survey_id_surveys")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticks")),
    )
    op.create_index(op.f("ix_ticks_survey_id_card"), "ticks", ["survey_id", "card"])


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
    for table in ("choices", "ticks"):
        if op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table(table))):
            raise RuntimeError(f"table {table!r} has rows, which the older program cannot hold.")
    op.drop_index(op.f("ix_ticks_survey_id_card"), table_name="ticks")
    op.drop_table("ticks")
    op.drop_index("uq_choices_survey_part", table_name="choices")
    op.drop_table("choices")
