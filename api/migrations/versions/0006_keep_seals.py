"""Keep signatures, seals and archived records."""

from __future__ import annotations

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply the change."""


def downgrade() -> None:
    """Take the change back, as long as nothing would be lost by it."""
