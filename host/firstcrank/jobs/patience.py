"""A PostgreSQL connection that does not wait for ever: a server that hangs, or a network that drops everything, ends in an error.

The server's own statement time-out can't help where the server itself hangs; this one counts silence on the connection.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from time import monotonic
from typing import TYPE_CHECKING, Protocol, TypeVar, cast

if TYPE_CHECKING:
    from psycopg import Connection as PostgresConnection
    from psycopg.abc import PQGen
    from psycopg.rows import TupleRow
    from sqlalchemy import URL, Connection

CONNECT_S = 10
SILENCE_S = 20.0  # the slowest search of 50,000 starts takes a fiftieth of it
LONG_S = 600.0  # while tables are migrated or all rows are sorted
LOCK_MS = 15_000
INTERVAL_S = 0.1  # psycopg's own: how often it looks whether the socket is ready
RV = TypeVar("RV")


class Silent(Protocol):
    """A connection with the silence that is borne on it."""

    silence_s: float


def connector(url: URL) -> Callable[[], PostgresConnection[TupleRow]]:
    """Makes connections to a URL's server, each with these time-outs."""
    import psycopg

    class PatientConnection(psycopg.Connection["TupleRow"]):
        """`silence_s`: how long the server may say nothing while it is waited for."""

        silence_s = SILENCE_S

        def wait(self, gen: PQGen[RV], interval: float = INTERVAL_S, timeout: float | None = None) -> RV:
            """As psycopg's, and gives up after that much silence; the connection is closed then."""
            try:
                listening = _listening(gen, self)
                return super().wait(listening, interval) if timeout is None else super().wait(listening, interval, timeout)
            except TimeoutError as error:
                self.pgconn.finish()
                raise psycopg.OperationalError(str(error)) from None

    arguments, options = url.get_dialect()().create_connect_args(url)
    options = {"connect_timeout": CONNECT_S, "application_name": "firstcrank", **options}

    def connect() -> PostgresConnection[TupleRow]:
        connection = PatientConnection.connect(*arguments, **options)
        connection.execute(_settings())  # not as the connection's own options: some poolers refuse them
        connection.commit()
        return connection

    return connect


def _settings() -> bytes:
    limits = {
        "statement_timeout": int(SILENCE_S * 1000),
        "lock_timeout": LOCK_MS,
        "idle_in_transaction_session_timeout": int(LONG_S * 1000),
    }
    return "; ".join(f"SET {name} = {value}" for name, value in limits.items()).encode("ascii")


def _listening(gen: PQGen[RV], connection: Silent) -> PQGen[RV]:
    """What psycopg waits for, with an end: each of its turns at which the socket is not ready is silence."""
    heard = monotonic()
    try:
        wanted = next(gen)
        while True:
            ready = yield wanted
            now = monotonic()
            if ready:
                heard = now
            elif now - heard > connection.silence_s:
                raise TimeoutError(f"no answer for {connection.silence_s:.0f} s")
            wanted = gen.send(ready)
    except StopIteration as end:
        return cast("RV", end.value)


@contextlib.contextmanager
def patient(connection: Connection) -> Iterator[None]:
    """For work of one transaction that may take minutes: no time-out of a statement, and a long silence is borne."""
    from sqlalchemy import text

    if connection.dialect.name != "postgresql":
        yield
        return
    driver = cast(Silent, connection.connection.driver_connection)
    connection.execute(text("SET LOCAL statement_timeout = 0"))
    connection.execute(text("SET LOCAL lock_timeout = 0"))
    connection.execute(text("SET LOCAL idle_in_transaction_session_timeout = 0"))  # while a backup is proved elsewhere
    usual, driver.silence_s = driver.silence_s, LONG_S
    try:
        yield
    finally:
        driver.silence_s = usual  # the connection goes back to the others
