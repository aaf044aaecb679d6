"""Size of the base install: `python -m tests.host.base_install` makes a fresh environment, installs the checkout, measures with du.

Prints the whole environment, what pip and setuptools take in it, and the difference, which is the install; then starts it.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
MOST_MB = 135


def size_mb(folder: Path) -> int:
    """Megabytes on disk, by du."""
    done = subprocess.run(["du", "-sm", str(folder)], capture_output=True, text=True, check=True)
    return int(done.stdout.split()[0])


def main() -> int:
    """0 where the install is small enough and starts."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        environment = folder / "venv"
        subprocess.run([sys.executable, "-m", "venv", str(environment)], check=True)
        empty_mb = size_mb(environment)
        python = environment / ("Scripts" if sys.platform == "win32" else "bin") / "python"
        pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        subprocess.run([*pip, str(ROOT)], check=True)
        whole_mb = size_mb(environment)
        subprocess.run(
            [str(python), "-m", "firstcrank.cli.main", "jobs", "list", "--store", str(folder / "s.sqlite")], check=True
        )
        refused = subprocess.run(
            [str(python), "-m", "firstcrank.cli.main", "demo"], capture_output=True, text=True, check=False
        )
    print(f"environment {whole_mb} MB, of which pip and what it needs {empty_mb} MB: install {whole_mb - empty_mb} MB")
    print(f"without the extra, the demo says: {refused.stderr.strip()}")
    return int(whole_mb - empty_mb > MOST_MB or "firstcrank[sim]" not in refused.stderr)


if __name__ == "__main__":
    sys.exit(main())
