"""Brings a store's tables up to date. Alembic is imported only where they are not: it takes long."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import OperationalError

from firstcrank.errors import StoreError
from firstcrank.jobs.patience import patient
from firstcrank.jobs.revision import MIGRATIONS, head_revision

if TYPE_CHECKING:
    from alembic.config import Config

LOCK_KEY = 7_319_004  # PostgreSQL advisory lock, so that two bays do not migrate at once


def stored_revision(engine: Engine) -> str | None:
    """The revision that the store's own table names; None for an empty store."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def migrate(engine: Engine, target: str = "head") -> None:
    """To the newest schema, or to a revision by its number. Raises StoreError for a store of a newer firstcrank."""
    current = stored_revision(engine)
    if current == head_revision() and target == "head":
        return
    from alembic import command
    from alembic.script import ScriptDirectory

    with engine.connect() as connection:
        known = {script.revision for script in ScriptDirectory.from_config(_config(connection)).walk_revisions()}
    if current is not None and current not in known:
        raise StoreError(
            "the record store was written by a newer firstcrank: update this one (pip install --upgrade firstcrank)"
        )
    with engine.begin() as connection, patient(connection):  # another bay may be migrating
        if engine.dialect.name == "postgresql":
            connection.execute(text(f"SELECT pg_advisory_xact_lock({LOCK_KEY})"))
        elif engine.dialect.name == "sqlite" and current is None:
            connection.exec_driver_sql("PRAGMA journal_mode = WAL")
        try:
            command.upgrade(_config(connection), target)
        except OperationalError as error:
            if "already exists" not in str(error):  # another program made the tables at the same moment
                raise


def _config(connection: Connection) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config
