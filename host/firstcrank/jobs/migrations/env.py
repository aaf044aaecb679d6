"""Run by Alembic: migrates over the connection that the store hands in."""

from __future__ import annotations

from alembic import context

from firstcrank.jobs.schema import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
