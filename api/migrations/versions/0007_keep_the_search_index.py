"""Keep what is searched."""

from __future__ import annotations

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply the change."""


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
