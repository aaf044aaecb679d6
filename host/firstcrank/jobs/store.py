"""Opens the record store: a SQLite file by default, any SQLAlchemy URL if told; brings its tables up to date."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import OperationalError, SQLAlchemyError

from firstcrank.errors import StoreError
from firstcrank.extras import extra_packages
from firstcrank.jobs.contents import Contents, DatabaseContents, FolderContents

if TYPE_CHECKING:
    from alembic.config import Config

ENVIRONMENT = "FIRSTCRANK_STORE"
MIGRATIONS = Path(__file__).parent / "migrations"
BUSY_MS = 30_000
LOCK_KEY = 7_319_004  # PostgreSQL advisory lock, so that two bays do not migrate at once


class Store:
    """An open store. `engine` for queries, `contents` for recordings and photos. Close it when done."""

    def __init__(self, engine: Engine, contents: Contents, name: str) -> None:
        self.engine, self.contents, self.name = engine, contents, name

    def close(self) -> None:
        """Gives all connections back."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def default_place() -> str:
    """The environment's store, else a file in the platform's data folder."""
    from platformdirs import user_data_path

    return os.environ.get(ENVIRONMENT) or str(user_data_path("firstcrank", appauthor=False) / "firstcrank.sqlite")


def open_store(place: str | None = None, scratch: bool = False) -> Store:
    """A store by file name or SQLAlchemy URL. Creates and migrates it. `scratch`: soon deleted, nothing is synced.

    Raises StoreError where it cannot be reached or written, or was written by a newer firstcrank.
    """
    place = place or default_place()
    try:
        url, folder = _url(place)
        if folder is not None:
            folder.mkdir(parents=True, exist_ok=True)
        with extra_packages("postgres"):
            engine = create_engine(url, future=True, pool_pre_ping=url.get_backend_name() == "postgresql")
    except (OSError, SQLAlchemyError, ImportError, ValueError) as error:
        raise StoreError(f"the record store {_public(place)} cannot be opened: {_first_line(error)}") from error
    if url.get_backend_name() == "sqlite":
        event.listen(engine, "connect", _scratch_pragmas if scratch else _sqlite_pragmas)
    beside = None if folder is None else folder / (Path(place).stem + "-recordings")
    contents: Contents = DatabaseContents(engine) if beside is None else FolderContents(beside, not scratch)
    try:
        _migrate(engine)
    except StoreError:
        engine.dispose()
        raise
    except (SQLAlchemyError, OSError) as error:
        engine.dispose()
        raise StoreError(f"the record store {_public(place)} cannot be used: {_first_line(error)}") from error
    return Store(engine, contents, _public(place))


def _url(place: str) -> tuple[URL, Path | None]:
    """SQLAlchemy URL, and the folder of a SQLite file. A file name may hold any sign, a question mark too."""
    if "://" not in place:
        path = Path(place).expanduser().resolve()
        return URL.create("sqlite", database=str(path)), path.parent
    if place.startswith("postgresql://"):
        return make_url("postgresql+psycopg://" + place.removeprefix("postgresql://")), None
    if place.startswith("sqlite:///"):
        return make_url(place), Path(place.removeprefix("sqlite:///")).resolve().parent
    return make_url(place), None


def _sqlite_pragmas(connection: sqlite3.Connection, _: object) -> None:
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.close()


def _scratch_pragmas(connection: sqlite3.Connection, record: object) -> None:
    _sqlite_pragmas(connection, record)
    connection.execute("PRAGMA synchronous = OFF")


def _config(connection: Connection) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def head_revision() -> str:
    """The newest schema revision that this program knows: the number in the last migration's file name."""
    names = [entry.name for entry in (MIGRATIONS / "versions").iterdir()]
    return max(name[1:5] for name in names if name.startswith("v") and name[1:5].isdigit())


def _stored_revision(engine: Engine) -> str | None:
    """The revision that the store's own table names; None for an empty store."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def _migrate(engine: Engine, target: str = "head") -> None:
    """Alembic is imported where the store's revision is another one than this program's, and only there: it takes long."""
    current = _stored_revision(engine)
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
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text(f"SELECT pg_advisory_xact_lock({LOCK_KEY})"))
        elif engine.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA journal_mode = WAL") if current is None else None
        try:
            command.upgrade(_config(connection), target)
        except OperationalError as error:
            if "already exists" not in str(error):  # another program made the tables at the same moment
                raise


def _public(place: str) -> str:
    """The place without a password."""
    scheme, found, rest = place.partition("://")
    if not found or "@" not in rest:
        return place
    return f"{scheme}://...@{rest.rpartition('@')[2]}"


def _first_line(error: BaseException) -> str:
    return str(getattr(error, "orig", None) or error).strip().splitlines()[0]
