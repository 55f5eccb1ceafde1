"""Keep signatures, seals and archived records."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

TABLES = ("record_files", "citations", "seals", "signatures")


def upgrade() -> None:
    """Apply the change."""
    op.create_table(
        "signatures",
        sa.Column("id", sa.String(length=32), nullable=False),
        _survey(),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        *_by(),
        sa.Column("document", sa.JSON(), nullable=False),
        _of_survey("signatures"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signatures")),
    )
    op.create_index(op.f("ix_signatures_survey_id_created"), "signatures", ["survey_id", "created"])
    op.create_table(
        "seals",
        _survey(),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        *_by(),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("state", sa.String(length=64), nullable=False),
        sa.Column("no_decision", sa.String(length=4000), nullable=False),
        sa.Column("structure", sa.JSON(), nullable=False),
        sa.Column("results", sa.JSON(), nullable=False),
        sa.Column("frozen", sa.Text(), nullable=False),
        sa.Column("kept", sa.Text(), nullable=False),
        sa.Column("kept_digest", sa.String(length=64), nullable=False),
        _of_survey("seals"),
        sa.PrimaryKeyConstraint("survey_id", name=op.f("pk_seals")),
    )
    op.create_table(
        "citations",
        sa.Column("id", sa.String(length=32), nullable=False),
        _survey(),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("cited_id", sa.String(length=400), nullable=False),
        sa.Column("cited_name", sa.String(length=400), nullable=False),
        sa.Column("cited_revision", sa.Integer(), nullable=False),
        sa.Column("cited_digest", sa.String(length=64), nullable=False),
        sa.Column("reason", sa.String(length=4000), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        *_by(),
        _of_survey("citations"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_citations")),
    )
    op.create_index("uq_citations_survey_kind", "citations", ["survey_id", "kind"], unique=True)
    op.create_index(op.f("ix_citations_cited_id"), "citations", ["cited_id"])
    op.create_table(
        "record_files",
        _survey(),
        sa.Column("path", sa.String(length=1000), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        _of_survey("record_files"),
        sa.PrimaryKeyConstraint("survey_id", "path", name=op.f("pk_record_files")),
    )


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
    for table in TABLES:
        if op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table(table))):
            raise RuntimeError(f"table {table!r} has rows, which the older program cannot hold.")
    for table in TABLES:
        op.drop_table(table)


def _survey() -> sa.Column[str]:
    return sa.Column("survey_id", sa.String(length=32), nullable=False)


def _by() -> tuple[sa.Column[str], sa.Column[str]]:
    return (
        sa.Column("by_key", sa.String(length=64), nullable=False),
        sa.Column("by_name", sa.String(length=400), nullable=False),
    )


def _of_survey(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["survey_id"], ["surveys.id"], name=op.f(f"fk_{table}_survey_id_surveys")
    )
