"""Keep people, their sessions and tokens."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Apply the change."""
    op.create_table(
        "accounts",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", MOMENT, nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("display_name", sa.String(length=120), nullable=False),
        sa.Column("roles", sa.String(length=100), nullable=False),
        sa.Column("certificate_number", sa.String(length=80), nullable=False),
        sa.Column("certificate_kind", sa.String(length=120), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("must_change", sa.Boolean(), nullable=False),
        sa.Column("disabled_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accounts")),
        sa.UniqueConstraint("name", name=op.f("uq_accounts_name")),
    )
    op.create_table(
        "sessions",
        *_secret_of_account("sessions"),
        sa.Column("last_seen", MOMENT, nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("address", sa.String(length=64), nullable=False),
        sa.Column("browser", sa.String(length=200), nullable=False),
    )
    op.create_index(op.f("ix_sessions_account_id"), "sessions", ["account_id"])
    op.create_table(
        "tokens",
        *_secret_of_account("tokens"),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("scope", sa.String(length=8), nullable=False),
        sa.Column("expires", MOMENT, nullable=False),
        sa.Column("last_used", MOMENT, nullable=True),
        sa.Column("revoked_at", MOMENT, nullable=True),
    )
    op.create_index(op.f("ix_tokens_account_id"), "tokens", ["account_id"])
    op.create_table(
        "throttle",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last", MOMENT, nullable=False),
        sa.Column("blocked_until", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_throttle")),
    )
    op.create_index(op.f("ix_throttle_last"), "throttle", ["last"])


def _secret_of_account(table: str) -> list[sa.Column[object] | sa.Constraint]:
    return [
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("account_id", sa.String(length=32), nullable=False),
        sa.Column("created", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f(f"fk_{table}_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("secret_hash", name=op.f(f"uq_{table}_secret_hash")),
    ]


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
    if op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table("accounts"))):
        raise RuntimeError("table 'accounts' has rows, which the older program cannot hold.")
    for table in ("throttle", "tokens", "sessions", "accounts"):
        op.drop_table(table)
