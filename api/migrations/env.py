"""Alembic environment: runs the migrations on the connection that `Database.migrate` opened."""

from __future__ import annotations

from alembic import context

import api.history.tables
import api.people.tables
import api.sealing.tables
import api.search.tables  # noqa: F401 - each adds its tables to the metadata
from api.tables import Base


def run() -> None:
    """Run the migrations in the caller's transaction, so that a killed upgrade leaves nothing half done."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=Base.metadata,
        render_as_batch=True,
        transactional_ddl=True,
    )
    context.run_migrations()


run()
