"""Parts that are installed on request, `pip install firstcrank[NAME]`: a missing package is named with the extra that brings it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from firstcrank.errors import MissingExtraError

# extra -> (what it is for, the packages that pyproject.toml lists for it, by import name)
EXTRAS: dict[str, tuple[str, tuple[str, ...]]] = {
    "sim": ("the simulated vehicle", ("scipy",)),
    "report": ("plots as pictures and reports as PDF", ("matplotlib", "typst")),
    "design": ("the input designer", ("eseries",)),
    "parquet": ("Parquet files", ("pyarrow",)),
    "mdf": ("ASAM MDF files", ("asammdf",)),
    "postgres": ("a record store shared on PostgreSQL", ("psycopg",)),
}


@contextmanager
def extra_packages(name: str) -> Iterator[None]:
    """Around the imports of an extra's packages. Raises MissingExtraError, which says what to install, where one is missing."""
    purpose, packages = EXTRAS[name]
    try:
        yield
    except ModuleNotFoundError as error:
        package = (error.name or "").partition(".")[0]
        if package not in packages:
            raise
        raise MissingExtraError(
            f"{purpose} needs the package {package}, which is not installed: python -m pip install 'firstcrank[{name}]' "
            "(or firstcrank[all])"
        ) from error
