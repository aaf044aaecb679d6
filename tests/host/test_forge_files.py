"""Workflows and forms for a public forge, which run nowhere yet, against the published schemas, and their commands against the repository.

The schemas are those of schemastore.org that check-jsonschema carries.
"""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest
from ruamel.yaml import YAML

ROOT = Path(__file__).resolve().parents[2]
FORGE = ROOT / ".github"
WORKFLOWS = sorted((FORGE / "workflows").glob("*.yml"))
KINDS = {
    "vendor.github-workflows": WORKFLOWS,
    "vendor.dependabot": [FORGE / "dependabot.yml"],
    "vendor.github-issue-forms": sorted((FORGE / "ISSUE_TEMPLATE").glob("*.yml")),
}


def checked(schema: str, *files: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", schema, *map(str, files)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("schema", KINDS)
def test_files_keep_the_published_schema(schema: str) -> None:
    assert KINDS[schema]
    done = checked(schema, *KINDS[schema])
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("schema", "right", "wrong"),
    [
        ("vendor.github-workflows", "runs-on: ubuntu-latest", "run-on: ubuntu-latest"),
        ("vendor.github-workflows", "timeout-minutes: 350", "timeout-minutes: [350]"),
        ("vendor.dependabot", "interval:", "every:"),
        ("vendor.github-issue-forms", "  - type: textarea", "  - type: text area"),
    ],
)
def test_a_planted_fault_is_found(schema: str, right: str, wrong: str, tmp_path: Path) -> None:
    text = KINDS[schema][0].read_text("utf-8")
    assert right in text
    bad = tmp_path / "bad.yml"
    bad.write_text(text.replace(right, wrong), "utf-8")
    assert checked(schema, bad).returncode != 0


def commands() -> list[str]:
    """Every shell line of the workflows, with every value of the matrix that one stands for."""
    found: list[str] = []
    for path in WORKFLOWS:
        for job in YAML(typ="safe").load(path.read_text("utf-8"))["jobs"].values():
            matrix = job.get("strategy", {}).get("matrix", {})
            for step in job["steps"]:
                line = step.get("run", "")
                asked = re.fullmatch(r"\$\{\{ matrix\.(\w+) \}\}", line)
                found += matrix[asked[1]] if asked else [line] if line else []
    return found


@pytest.mark.parametrize("command", commands())
def test_commands_name_what_is_there(command: str) -> None:
    parsed = subprocess.run(["bash", "-n"], input=command, capture_output=True, text=True, check=False)
    assert parsed.returncode == 0, parsed.stderr
    for module in re.findall(r"python -m ([\w.]+)", command):
        spec = importlib.util.find_spec(module)
        assert spec is not None, module
        if spec.submodule_search_locations is not None:
            assert importlib.util.find_spec(f"{module}.__main__") is not None, f"{module} can't be run"
    for target in re.findall(r"\bmake ([\w-]+)", command):
        assert re.search(rf"^{target}:", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE), target
    for path in re.findall(r"(?<= )tests/[\w/.]+", command):
        assert (ROOT / path).exists(), path
    for file in re.findall(r"-c (\S+\.txt)", command):
        assert (ROOT / file).exists(), file
