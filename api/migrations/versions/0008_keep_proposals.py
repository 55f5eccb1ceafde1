"""Keep the outlines that the program proposes, and what was decided about each."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply the change."""
    op.create_table(
        "proposals",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("photo_id", sa.String(length=32), nullable=False),
        sa.Column("photo_key", sa.String(length=80), nullable=False),
        sa.Column("picture_sha256", sa.String(length=64), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("asked", sa.String(length=10), nullable=False),
        sa.Column("score", sa.Float(), nullable=False),
        sa.Column("method", sa.String(length=400), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by_key", sa.String(length=64), nullable=False),
        sa.Column("by_name", sa.String(length=400), nullable=False),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("decided_key", sa.String(length=64), nullable=True),
        sa.Column("decided_name", sa.String(length=400), nullable=True),
        sa.Column("mark", sa.String(length=80), nullable=True),
        sa.Column("edited", sa.Boolean(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        _refers("survey_id", "surveys", "id"),
        _refers("photo_id", "photos", "id"),
        _refers("picture_sha256", "pictures", "sha256"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proposals")),
    )
    op.create_index("uq_proposals_photo_key", "proposals", ["photo_id", "key"], unique=True)
    op.create_index(op.f("ix_proposals_photo_id_state"), "proposals", ["photo_id", "state"])
    op.create_index(op.f("ix_proposals_survey_id_state"), "proposals", ["survey_id", "state"])


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
    if op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table("proposals"))):
        raise RuntimeError("table 'proposals' has rows, which the older program cannot hold.")
    op.drop_table("proposals")


def _refers(column: str, table: str, key: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [f"{table}.{key}"], name=op.f(f"fk_proposals_{column}_{table}")
    )
