"""Keep people, their sessions and tokens."""

from __future__ import annotations

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply the change."""


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
