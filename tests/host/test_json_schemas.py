"""What each `--json` prints and `jobs export` writes, by the real commands, against the published schemas, closed.

The schemas are made from the types (docs/json_schemas.py). Published they are open, so that keys can be added; here a key that they do
not name fails. Errors planted into what was printed are refused.
"""

from __future__ import annotations

import contextlib
import copy
import importlib.util
import io
import json
import re
import shutil
import zipfile
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from jsonschema import Draft202012Validator, ValidationError

from firstcrank.cli.main import main
from firstcrank.jobs import records
from firstcrank.jobs.contents import FolderContents
from firstcrank.jobs.filing import attach
from firstcrank.jobs.reading import Reading
from firstcrank.jobs.store import open_store

from .sim_recording import make, recorded
from .test_customer_page import filed
from .test_help import COMMANDS

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden" / "data"
FOLDER = ROOT / "host" / "firstcrank" / "data" / "schemas"
NAMES = ("judge", "doctor", "board-check", "board-info", "wire", "wire-terminals", "divider", "job")
OF_THE_BOARD = "board-info"  # its firmware may say more than the host knows
UNKNOWN = "a_key_that_nobody_described"

SIMULATED = ("healthy", "feed_dead_in_start", "short_crank", "marigold_trap")
RUNS = ("", "--awg 2/0", "--mm2 2.5", "--mm2 50 --cranking", "--awg 16 --return wire --temperature 60 --limit 0.5")
NETWORKS = (
    "",
    "--system 24",
    "--lowest -2 --highest 4 --dropout 1m --converter MCP3208",
    "--converter RP2350",
    "--check 4x7.5k+3k,6k8,10n,4k7",
    "--check 82k,6k8",
    "--check 82k,6k8 --clamp none",
    "--check 4x3k+3k,62k,10n,4k7,22k --lowest -2 --highest 3.8 --dropout 1m",
)
BOARDS = ("healthy", "healthy,solder=1", "corrupted_bytes", "healthy_24v", "ground_engine")


@cache
def schemas_py() -> ModuleType:
    """docs/json_schemas.py."""
    spec = importlib.util.spec_from_file_location("json_schemas", ROOT / "docs" / "json_schemas.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def published(name: str) -> dict[str, Any]:
    """The schema as it comes with the program."""
    table: dict[str, Any] = json.loads((FOLDER / f"{name}.schema.json").read_text("utf-8"))
    return table


def closed(name: str) -> dict[str, Any]:
    """The same with no room for keys that it does not name; but for what a board says of itself."""
    table = published(name)
    if name != OF_THE_BOARD:
        for node in nodes(table):
            if "properties" in node:
                assert "additionalProperties" not in node
                node["additionalProperties"] = False
    return table


def nodes(node: object) -> Iterator[dict[str, Any]]:
    """Every object of a schema, itself first."""
    if isinstance(node, dict):
        yield node
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from nodes(inner)


def trouble(schema: dict[str, Any], value: object) -> list[str]:
    """What is wrong with a value, a line each; of values that may be of two kinds, what is wrong with it as each."""
    return [
        f"{one.json_path}: {one.message[-300:]}"
        for error in Draft202012Validator(schema).iter_errors(value)
        for one in leaves(error)
    ]


def leaves(error: ValidationError) -> list[ValidationError]:
    """The errors that an error is made of."""
    return [one for inner in error.context or () for one in leaves(inner)] or [error]


def fits(schema: dict[str, Any], value: object) -> bool:
    """Whether nothing is wrong with a value."""
    return bool(Draft202012Validator(schema).is_valid(value))


def parsed(text: str) -> Any:
    """Strict JSON: NaN and Infinity, which Python would take, are none."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def printed(*arguments: str) -> list[Any]:
    """What a command prints, a line an object, and nothing else."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), pytest.raises(SystemExit):
        main(list(arguments))
    return [parsed(line) for line in out.getvalue().splitlines()]


class Made(dict[str, list[Any]]):
    """By schema: what the commands print and write, made when it is asked for."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder

    def __missing__(self, name: str) -> list[Any]:
        self[name] = MAKERS[name](self._folder)
        return self[name]


@pytest.fixture(scope="module")
def everything(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    """Of different starts, computers, boards, runs, networks, jobs."""
    folder = tmp_path_factory.mktemp("json")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FIRSTCRANK_SETTINGS", str(folder / "settings.toml"))
        patch.setenv("FIRSTCRANK_STORE", str(folder / "shop.sqlite"))
        open_store(str(folder / "shop.sqlite")).close()
        yield Made(folder)


def judged(folder: Path) -> list[Any]:
    """Simulated starts, with other leads too; recordings and CSV files of earlier versions; a start of the record by its number."""
    files = []
    for name in SIMULATED:
        (folder / f"{name}.fcr").write_bytes(recorded(name))
        files.append(folder / f"{name}.fcr")
    leads = ("battery", "key_switch", "module_supply", "module_ground", "starter_coil")
    make("module_supply_drop", folder / "leads.fcr", leads=leads)
    files += [
        folder / "leads.fcr",
        *sorted((GOLDEN / "recordings").glob("*.fcr"))[::4],
        GOLDEN / "csv" / "exported_feed_loose.csv",
    ]
    found = printed("judge", "--json", *map(str, files))
    assert [one["file"] for one in found] == [str(file) for file in files]
    with open_store(str(folder / "judged.sqlite")) as store:
        records.create_job(store, "1")
        number = attach(store, "1", folder / "feed_dead_in_start.fcr")
    (kept,) = printed("judge", "--json", str(number), "--store", str(folder / "judged.sqlite"))
    return [*found, kept]


def diagnosed(folder: Path) -> list[Any]:
    """Computers with a board, without one, with settings that cannot be read, with a store that is none; and the bundle's own."""
    found = []
    for port in ("sim:healthy", "sim:other_firmware", "/dev/no_such_port"):
        found += printed("doctor", "--json", "--port", port)
    (folder / "none.sqlite").write_text("no store")
    found += printed("doctor", "--json", "--port", "sim:healthy", "--store", str(folder / "none.sqlite"))
    bundle = folder / "help.zip"
    found += printed("doctor", "--json", "--port", "sim:healthy", "--bundle", str(bundle), "--no-recording")
    with zipfile.ZipFile(bundle) as parts:
        found.append(parsed(parts.read("doctor.json").decode("utf-8")))
        assert trouble(published("board-info"), parsed(parts.read("board.json").decode("utf-8"))) == []
    (folder / "settings.toml").write_text("port = ")
    found += printed("doctor", "--json", "--port", "sim:healthy")
    (folder / "settings.toml").unlink()
    assert {line["well"] for one in found for line in one["looked"]} == {True, False}
    return found


def handed_over(folder: Path) -> list[Any]:
    """A job with notes, photos, a measurement and a start whose recording is gone; one of a logger's CSV; an empty one."""
    place, out = filed(folder), folder / "handed"
    with open_store(place) as store:
        records.add_measurement(store, "1207", "rest voltage", 12.6, "V", "meter 2")
        assert isinstance(store.contents, FolderContents)
        store.contents.path(records.job_detail(store, "1207").starts[1]["content_hash"]).unlink()
        records.create_job(store, "8")
        reading = Reading(recorded_utc="2026-05-01T10:00:00+00:00", answers={"cylinders": 6})
        attach(store, "8", GOLDEN / "csv" / "exported_feed_loose.csv", reading=reading)
        records.create_job(store, "9")
    assert [export(place, number, out) for number in ("1207", "8", "9")] == [4, 0, 0]
    jobs = [out / number for number in ("1207", "8", "9")]
    for job in jobs:
        assert (job / "job.schema.json").read_text("utf-8") == (FOLDER / "job.schema.json").read_text("utf-8")
    return [parsed((job / "job.json").read_text("utf-8")) for job in jobs]


MAKERS: dict[str, Callable[[Path], list[Any]]] = {
    "judge": judged,
    "doctor": diagnosed,
    "board-check": lambda _: each(BOARDS[:4], "board check --json --port sim:"),
    "board-info": lambda _: each(BOARDS, "board info --json --port sim:"),
    "wire": lambda _: each(RUNS, "wire --json --length 2m --amps 6 "),
    "wire-terminals": lambda _: each(("",), "wire --terminals --json"),
    "divider": lambda _: each(NETWORKS, "divider --json "),
    "job": handed_over,
}


def each(ways: Iterable[str], command: str) -> list[Any]:
    """What a command prints in different ways."""
    return [one for way in ways for one in printed(*(command + way).split())]


def export(place: str, number: str, folder: Path) -> int:
    with pytest.raises(SystemExit) as left, contextlib.redirect_stdout(io.StringIO()):
        main(["jobs", "export", "--job", number, str(folder), "--store", place])
    return int(left.value.code or 0)


def test_schemas_and_page_are_what_the_types_give() -> None:
    made: dict[Path, str] = schemas_py().texts()
    assert {path.name for path in FOLDER.iterdir()} == {f"{name}.schema.json" for name in NAMES}
    assert set(made) == {*FOLDER.iterdir(), ROOT / "docs" / "json.md"}
    for path, text in made.items():
        assert path.read_text("utf-8") == text, f"{path}: run make schemas"


def test_every_option_that_prints_json_has_its_schema() -> None:
    """The commands that have one, by their own options; a new one wants a schema, a place here and on the page."""
    with_option = {
        name.removeprefix("firstcrank ")
        for name, command in COMMANDS.items()
        if any("--json" in parameter.opts for parameter in command.params)
    }
    assert with_option == {name.replace("board-", "board ") for name in NAMES if name not in ("wire-terminals", "job")}
    page = (ROOT / "docs" / "json.md").read_text("utf-8")
    for name in NAMES:
        assert f"(../host/firstcrank/data/schemas/{name}.schema.json)" in page


@pytest.mark.parametrize("name", NAMES)
def test_a_published_schema_is_one_of_2020_12_says_its_number_and_is_open(name: str) -> None:
    schema = published(name)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    number = 2 if name == "judge" else 1
    assert schema["title"].startswith("firstcrank ")
    assert schema["title"].endswith(f", schema {number}")
    assert [node for node in nodes(schema) if node.get("additionalProperties") is False] == []
    assert [node for node in nodes(schema) if "properties" in node and not node.get("description")] == []
    if name in ("judge", "job"):
        assert schema["properties"]["schema"] == {"const": number}


@pytest.mark.parametrize("name", NAMES)
def test_what_is_printed_fits_the_closed_schema(everything: Made, name: str) -> None:
    values = everything[name]
    assert len(values) >= {"wire-terminals": 1, "job": 3}.get(name, 4)
    schema = closed(name)
    assert [line for value in values for line in trouble(schema, value)] == []


def test_a_job_that_an_earlier_version_filed_fits_what_is_published(tmp_path: Path) -> None:
    """It has two keys that are written no more, whether a finding bears on the feed's verdict and the wide codes' error; none is amiss."""
    shutil.copytree(GOLDEN / "store", tmp_path / "old")
    assert export(str(tmp_path / "old" / "shop.sqlite"), "1207", tmp_path / "handed") == 0
    job = parsed((tmp_path / "handed" / "1207" / "job.json").read_text("utf-8"))
    assert {"schema", "feed"} & set(job["starts"][0]["judgement"]) == set(), "it is of schema 1"
    assert trouble(published("job"), job) == []
    beside = re.findall(r"\('(\w+)' was unexpected\)", "\n".join(trouble(closed("job"), job)))
    assert set(beside) == {"blocks", "spike_v"}


@pytest.mark.parametrize("name", NAMES)
def test_every_key_that_is_described_is_printed_somewhere(everything: Made, name: str) -> None:
    schema = published(name)
    described = {path for value in everything[name] for path, _, _ in keys(schema, schema, value, "")}
    page = (ROOT / "docs" / "json.md").read_text("utf-8")
    table = page.split(f"<!-- {name}: by make schemas -->", 1)[1].split("<!-- end -->", 1)[0]
    listed = set(re.findall(r"^\| `([^`]+)`", table, re.M))
    rare = {
        "board-info": {"short_of_memory", "alone_error", "error", "restarts", "causes", "missed", "waits"},
        "job": {f"starts[].reading.answers.{name}" for name in ("charger_connected", "hold_on_s", "known_load_ohm")}
        | {"starts[].reading.answers.engine_running", "starts[].reading.answers.temperature_c"}
        | {"starts[].reading.answers.feed_kind"},
    }
    assert listed - described == rare.get(name, set())


def resolved(schema: dict[str, Any], node: dict[str, Any], value: object) -> dict[str, Any]:
    """The node behind references, and of several the one that a value may be of."""
    while "$ref" in node:
        node = schema["$defs"][node["$ref"].rpartition("/")[2]]
    for option in node.get("anyOf", ()):
        if value is not None and option != {"type": "null"}:
            return resolved(schema, option, value)
    return node


def keys(schema: dict[str, Any], node: dict[str, Any], value: Any, at: str) -> Iterator[tuple[str, dict[str, Any], str]]:
    """Of a printed value, every key that the schema describes: its path, the object that holds it, its name there."""
    node = resolved(schema, node, value)
    if isinstance(value, list):
        for entry in value:
            yield from keys(schema, node.get("items", {}), entry, f"{at}[]")
    elif isinstance(value, dict):
        for key in list(value):
            path = f"{at}.{key}" if at else key
            if key in node.get("properties", {}):
                yield path, value, key
                yield from keys(schema, node["properties"][key], value[key], path)
            elif isinstance(node.get("additionalProperties"), dict):
                yield from keys(schema, node["additionalProperties"], value[key], f"{at}.*")


def short(value: Any) -> Any:
    """The same with at most three entries in each list."""
    if isinstance(value, dict):
        return {key: short(inner) for key, inner in value.items()}
    return [short(entry) for entry in value[:3]] if isinstance(value, list) else value


def once_each(schema: dict[str, Any], values: list[Any]) -> Iterator[tuple[str, int]]:
    """Each path once, with the number of a value that has it."""
    seen = set()
    for number, value in enumerate(values):
        for path, _, _ in keys(schema, schema, value, ""):
            if path not in seen:
                seen.add(path)
                yield path, number


@pytest.mark.parametrize("name", NAMES)
def test_planted_errors_are_refused(everything: Made, name: str) -> None:
    """At every key in turn: it is missing, its value is of another type, another stands beside it."""
    schema, tight = published(name), closed(name)
    values = [short(value) for value in everything[name]]
    planted = 0
    for path, number in once_each(schema, values):

        def changed(path: str = path, number: int = number) -> tuple[Any, dict[str, Any], str]:
            value = copy.deepcopy(values[number])
            holder, key = next((h, k) for p, h, k in keys(schema, schema, value, "") if p == path)
            return value, holder, key

        value, holder, key = changed()
        node = described(schema, path)
        del holder[key]
        assert fits(schema, value) == (key not in node["required"]), f"{path} is missing"
        value, holder, key = changed()
        holder[key] = [[]]
        assert not fits(schema, value), f"{path} is of another type"
        value, holder, key = changed()
        holder[UNKNOWN] = 1
        assert fits(tight, value) == (name == OF_THE_BOARD), f"beside {path}"
        assert fits(schema, value), f"{path}: what is published has room"
        planted += 3
    assert planted >= 3 * 5


def described(schema: dict[str, Any], path: str) -> dict[str, Any]:
    """The node whose key a path ends in."""
    node = schema
    for step in re.split(r"[.]", path)[:-1]:
        name, lists = step.rstrip("[]"), step.count("[]")
        node = node["additionalProperties"] if name == "*" else node["properties"][name]
        node = resolved(schema, node, ())
        for _ in range(lists):
            node = resolved(schema, node["items"], ())
    return node


@pytest.mark.parametrize(
    ("name", "path", "wrong"),
    [
        ("judge", ("verdict",), "PERHAPS"),
        ("judge", ("schema",), 3),
        ("judge", ("findings", 0, "result"), "good"),
        ("judge", ("findings", 0, "at_s"), "3 s"),
        ("judge", ("phases", 0, "name"), "key_off"),
        ("board-check", ("checks", 0, "outcome"), "OK"),
        ("job", ("starts", 0, "content_hash"), "0123"),
        ("job", ("starts", 0, "uuid"), "twelve"),
        ("job", ("starts", 0, "state"), "repaired"),
        ("job", ("job", "number"), ""),
        ("wire", ("awg", "drop_ok"), "yes"),
        ("divider", ("networks", 0, "stress", 0, "volts"), None),
    ],
)
def test_words_patterns_and_nulls_are_held(everything: Made, name: str, path: tuple[Any, ...], wrong: object) -> None:
    value = copy.deepcopy(everything[name][0])
    assert trouble(published(name), value) == []
    holder = value
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = wrong
    at = "$" + "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    assert {line.partition(": ")[0] for line in trouble(published(name), value)} == {at}


def test_help_prints_each_schema(capsys: pytest.CaptureFixture[str]) -> None:
    for topic in ("json", *(f"{name}.schema.json" for name in NAMES)):
        with pytest.raises(SystemExit) as left:
            main(["help", topic])
        assert not left.value.code
        out = capsys.readouterr().out
        if topic == "json":
            assert sorted(re.findall(r"^  (\S+)$", out, re.M)) == sorted(f"{name}.schema.json" for name in NAMES)
        else:
            assert json.loads(out) == json.loads((FOLDER / topic).read_text("utf-8"))
