"""A PostgreSQL server of the test's own, on a socket in a temporary folder, started as a user that is not root."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


def _programs() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    on_path = shutil.which("initdb")
    if found and (found[0] / "initdb").exists():
        return found[0]
    if on_path:
        return Path(on_path).parent
    pytest.skip("no PostgreSQL server programs here (Debian package postgresql)")


def _as_other_user(folder: Path) -> list[str]:
    """PostgreSQL refuses root: as root the server runs as the package's own user."""
    if os.geteuid() != 0:
        return []
    try:
        owner = pwd.getpwnam("postgres")
    except KeyError:
        pytest.skip("PostgreSQL refuses root and there is no user 'postgres'")
    os.chown(folder, owner.pw_uid, owner.pw_gid)
    return ["runuser", "-u", "postgres", "--"]


@contextlib.contextmanager
def server() -> Iterator[Callable[[str], str]]:
    """A running server: a call with a name makes an empty database and returns its URL."""
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed (firstcrank[postgres])")
    programs = _programs()
    with tempfile.TemporaryDirectory(prefix="fcpg") as name:
        folder = Path(name)
        prefix = _as_other_user(folder)
        data = folder / "data"

        def run(*command: str) -> None:
            subprocess.run([*prefix, *command], check=True, capture_output=True, cwd="/")

        def database(called: str) -> str:
            run(str(programs / "createdb"), "-h", str(folder), "-U", "bay", called)
            return f"postgresql://bay@/{called}?host={folder}"

        run(str(programs / "initdb"), "-D", str(data), "-A", "trust", "-U", "bay", "-E", "UTF8", "--no-sync")
        options = f"-k {folder} -c listen_addresses='' -c fsync=off"
        run(str(programs / "pg_ctl"), "-D", str(data), "-w", "-o", options, "-l", str(folder / "log"), "start")
        try:
            yield database
        finally:
            with contextlib.suppress(subprocess.CalledProcessError):
                run(str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop")


@contextlib.contextmanager
def shared_store() -> Iterator[str]:
    """URL of an empty database on a server of its own, which a test may stop or kill."""
    with server() as database:
        yield database("shop")
