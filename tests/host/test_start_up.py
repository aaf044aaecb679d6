"""What the program imports to start: click alone for help, no SQLAlchemy for a list of jobs, nothing of an extra in the base."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from firstcrank.errors import MissingExtraError
from firstcrank.extras import EXTRAS, extra_packages
from firstcrank.jobs.revision import head_revision

HOST = Path(__file__).parents[2] / "host"
PROJECT = tomllib.loads((HOST.parent / "pyproject.toml").read_text("utf-8"))["project"]
IMPORT_NAMES = {"psycopg[binary]": "psycopg"}
# Loads what the base does: record, judge, live screen, jobs, report as a page, the board commands.
BASE = [
    "firstcrank.cli.main",
    "firstcrank.cli.record",
    "firstcrank.cli.judge",
    "firstcrank.cli.visit_screen",
    "firstcrank.cli.show",
    "firstcrank.cli.jobs",
    "firstcrank.cli.report",
    "firstcrank.cli.compare",
    "firstcrank.cli.export",
    "firstcrank.cli.board",
    "firstcrank.cli.limits",
    "firstcrank.cli.wire",
    "firstcrank.recorder",
    "firstcrank.analysis.verdict",
    "firstcrank.tracefiles.table",
    "firstcrank.tracefiles.export",
    "firstcrank.jobs.filing",
    "firstcrank.jobs.export",
    "firstcrank.jobs.trends",
    "firstcrank.report.html",
    "firstcrank.report.pdf",
    "firstcrank.report.plots",
    "firstcrank.report.gather",
    "firstcrank.link.open",
    "firstcrank.link.serial_port",
    "firstcrank.board.install",
    "firstcrank.calibrating.procedure",
]


def outside_after(code: str) -> set[str]:
    """Top names of the modules outside the standard library and this repository that are loaded after `code`."""
    script = f"""
import contextlib, io, json, sys
with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
    {code}
names = {{name.partition(".")[0] for name in sys.modules}}
outside = [n for n in names if "site-packages" in str(getattr(sys.modules.get(n), "__file__", ""))]
print(json.dumps(outside))
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_help_imports_click_alone() -> None:
    before = outside_after("pass")
    assert outside_after("from firstcrank.cli.main import main; main(['--help'])") - before == {"click"}


def test_a_list_of_jobs_needs_neither_sqlalchemy_nor_numpy(tmp_path: Path) -> None:
    store = str(tmp_path / "shop.sqlite")
    made = outside_after(f"from firstcrank.cli.main import main; main(['jobs', 'new', '1', '--store', {store!r}])")
    assert "alembic" in made, "the first one makes the tables"
    run = f"from firstcrank.cli.main import main; main(['jobs', 'list', '--store', {store!r}])"
    loaded = outside_after(run)
    assert "rich" in loaded
    assert not loaded & {"sqlalchemy", "alembic", "numpy", "matplotlib", "jinja2"}


def test_the_newest_revision_is_alembics_head() -> None:
    from importlib import resources

    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(resources.files("firstcrank.jobs") / "migrations"))
    config.set_main_option("path_separator", "os")
    assert head_revision() == ScriptDirectory.from_config(config).get_current_head()


def test_the_base_is_imported_without_any_extra() -> None:
    blocked = [package for _, packages in EXTRAS.values() for package in packages]
    lines = "; ".join(f"import {module}" for module in BASE)
    code = f"import sys; sys.modules.update(dict.fromkeys({blocked!r})); {lines}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_extras_are_those_of_pyproject_and_none_is_in_the_base() -> None:
    listed = PROJECT["optional-dependencies"]
    for name, (_, packages) in EXTRAS.items():
        wanted = [requirement.partition(">")[0].partition("=")[0] for requirement in listed[name]]
        assert [IMPORT_NAMES.get(package, package) for package in wanted] == list(packages), name
    assert listed["all"] == [f"firstcrank[{','.join(n for n in listed if n in EXTRAS)}]"]
    base = {requirement.partition(">")[0] for requirement in PROJECT["dependencies"]}
    assert not base & {package for _, packages in EXTRAS.values() for package in packages}


@pytest.mark.parametrize("name", list(EXTRAS))
def test_a_missing_package_names_its_extra(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    package = EXTRAS[name][1][0]
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(MissingExtraError, match=rf"{package}.*firstcrank\[{name}\]"), extra_packages(name):
        __import__(package)


def test_another_missing_module_is_no_extras_fault() -> None:
    with pytest.raises(ModuleNotFoundError, match="no_such_module_at_all"), extra_packages("report"):
        __import__("no_such_module_at_all")
