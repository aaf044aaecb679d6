"""Alembic migrations of the record store, oldest first in versions/."""
