"""Keep what is searched: the index, saved searches, retention labels."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

KEPT = ("retention_marks", "retention_labels", "saved_searches")
ORDERS = ("date", "depth", "worst", "station", "title")
WORDS = {
    "sqlite": (
        (
            "CREATE VIRTUAL TABLE search_words USING fts5(words, content='search_entries', "
            "content_rowid='id', tokenize='ascii', detail='none', columnsize=0, prefix='2 3 4')"
        ),
        (
            "CREATE TRIGGER search_entries_added AFTER INSERT ON search_entries BEGIN "
            "INSERT INTO search_words(rowid, words) VALUES (new.id, new.words); END"
        ),
        (
            "CREATE TRIGGER search_entries_removed AFTER DELETE ON search_entries BEGIN "
            "INSERT INTO search_words(search_words, rowid, words) VALUES ('delete', old.id, old.words); END"
        ),
    ),
    "postgresql": (
        (
            "CREATE TABLE search_words (entry_id bigint PRIMARY KEY "
            "REFERENCES search_entries (id) ON DELETE CASCADE, words tsvector NOT NULL)"
        ),
        # Without the pending list: every search would look through it until the next clean-up.
        "CREATE INDEX ix_search_words_words ON search_words USING gin (words) WITH (fastupdate = off)",
    ),
}
"""The word index of each database.

SQLite: the entries hold the words, the index points to them; "ascii" takes all that is not ASCII, and so
the mark of facts, as part of a word.
"""


def upgrade() -> None:
    """Apply the change."""
    _make_index()
    for statement in WORDS[op.get_bind().dialect.name]:
        op.execute(statement)
    _make_saved()
    _make_retention()


def _make_index() -> None:
    op.create_table(
        "search_entries",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("tie", sa.BigInteger(), nullable=False),
        sa.Column("scope_id", sa.String(length=32), nullable=False),
        sa.Column("structure_id", sa.String(length=32), nullable=False),
        sa.Column("survey_id", sa.String(length=32), nullable=True),
        sa.Column("what", sa.String(length=10), nullable=False),
        sa.Column("ref", sa.String(length=400), nullable=False),
        sa.Column("title", sa.String(length=400), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("zone", sa.String(length=10), nullable=True),
        sa.Column("member", sa.String(length=80), nullable=True),
        sa.Column("face", sa.String(length=5), nullable=True),
        sa.Column("kind", sa.String(length=12), nullable=True),
        sa.Column("verdict", sa.String(length=20), nullable=True),
        sa.Column("station_text", sa.String(length=80), nullable=False),
        sa.Column("depth_text", sa.String(length=2), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("date_key", sa.String(length=10), nullable=False),
        sa.Column("depth_key", sa.Float(), nullable=False),
        sa.Column("worst_key", sa.Float(), nullable=False),
        sa.Column("station_key", sa.Float(), nullable=False),
        sa.Column("title_key", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_search_entries")),
    )
    op.create_index(op.f("ix_search_entries_scope_id"), "search_entries", ["scope_id"])
    for order in ORDERS:
        op.create_index(f"ix_search_entries_{order}", "search_entries", [f"{order}_key", "tie"])
    op.create_table(
        "search_states",
        sa.Column("scope_id", sa.String(length=32), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("structure_version", sa.Integer(), nullable=False),
        sa.Column("signatures", sa.Integer(), nullable=False),
        sa.Column("form", sa.Integer(), nullable=False),
        sa.Column("indexed", sa.DateTime(timezone=True), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("scope_id", name=op.f("pk_search_states")),
    )


def _make_saved() -> None:
    op.create_table(
        "saved_searches",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("owner", sa.String(length=80), nullable=False),
        sa.Column("owner_name", sa.String(length=400), nullable=False),
        sa.Column("shared", sa.Boolean(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_saved_searches")),
    )
    op.create_index(op.f("ix_saved_searches_owner"), "saved_searches", ["owner"])


def _make_retention() -> None:
    op.create_table(
        "retention_labels",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_retention_labels")),
    )
    op.create_table(
        "retention_marks",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("survey_id", sa.String(length=32), nullable=False),
        sa.Column("label_id", sa.String(length=32), nullable=False),
        sa.Column("starts", sa.String(length=10), nullable=True),
        sa.Column("due", sa.String(length=10), nullable=True),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_by", sa.String(length=400), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lifted_reason", sa.String(length=400), nullable=True),
        sa.ForeignKeyConstraint(
            ["survey_id"], ["surveys.id"], name=op.f("fk_retention_marks_survey_id_surveys")
        ),
        sa.ForeignKeyConstraint(
            ["label_id"], ["retention_labels.id"], name=op.f("fk_retention_marks_label_id_retention_labels")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_retention_marks")),
    )
    op.create_index(op.f("ix_retention_marks_survey_id"), "retention_marks", ["survey_id"])
    op.create_index(op.f("ix_retention_marks_due"), "retention_marks", ["due"])


def downgrade() -> None:
    """Take the change back, as long as nothing but the index, which is derived, would be lost."""
    for name in KEPT:
        if op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table(name))):
            raise RuntimeError(f"table {name!r} has rows, which the older program cannot hold.")
    op.drop_table("search_words")
    for name in (*KEPT, "search_states", "search_entries"):
        op.drop_table(name)
