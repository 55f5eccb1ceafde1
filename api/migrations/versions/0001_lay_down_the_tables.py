"""Lay down the tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply the change."""
    op.create_table(
        "pictures",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("media_type", sa.String(length=80), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_pictures")),
    )
    op.create_table(
        "structures",
        sa.Column("name", sa.String(length=400), nullable=False),
        sa.Column("units", sa.String(length=2), nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_structures")),
    )
    op.create_table(
        "surveys",
        sa.Column("structure_id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=400), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["structure_id"], ["structures.id"], name=op.f("fk_surveys_structure_id_structures")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_surveys")),
    )
    op.create_index(op.f("ix_surveys_structure_id"), "surveys", ["structure_id"])
    op.create_table(
        "photos",
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("picture_sha256", sa.String(length=64), nullable=True),
        sa.Column("upload_name", sa.String(length=400), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["picture_sha256"], ["pictures.sha256"], name=op.f("fk_photos_picture_sha256_pictures")
        ),
        sa.ForeignKeyConstraint(["survey_id"], ["surveys.id"], name=op.f("fk_photos_survey_id_surveys")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
        sa.UniqueConstraint("survey_id", "key", name=op.f("uq_photos_survey_id_key")),
    )
    op.create_index(op.f("ix_photos_survey_id_picture_sha256"), "photos", ["survey_id", "picture_sha256"])
    op.create_table(
        "readings",
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["survey_id"], ["surveys.id"], name=op.f("fk_readings_survey_id_surveys")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
        sa.UniqueConstraint("survey_id", "key", name=op.f("uq_readings_survey_id_key")),
    )
    op.create_table(
        "removals",
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["survey_id"], ["surveys.id"], name=op.f("fk_removals_survey_id_surveys")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_removals")),
        sa.UniqueConstraint("survey_id", "key", name=op.f("uq_removals_survey_id_key")),
    )


def downgrade() -> None:
    """Take the change back."""
    op.drop_table("removals")
    op.drop_table("readings")
    op.drop_index(op.f("ix_photos_survey_id_picture_sha256"), table_name="photos")
    op.drop_table("photos")
    op.drop_index(op.f("ix_surveys_structure_id"), table_name="surveys")
    op.drop_table("surveys")
    op.drop_table("structures")
    op.drop_table("pictures")
