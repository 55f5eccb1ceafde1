"""Alembic migrations of the service's tables; run by `api.database.Database.migrate`."""
