"""Simulated starts made once in the parent: every child inherits them, so that a mutant's tests pay for judging alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from firstcrank_sim.board import to_trace as sampled
from firstcrank_sim.scenarios import catalogue


def install() -> None:
    """Remember what the simulator returns, by its arguments. To be called before any test is imported."""
    from tests.characterization import corpus

    for module, name in ((corpus, "made"), (catalogue, "simulate"), (catalogue, "simulate_many"), (sampled, "to_trace")):
        setattr(module, name, _remembered(getattr(module, name)))


def _remembered(function: Callable[..., Any]) -> Callable[..., Any]:
    """By value where the arguments have one, else by identity; the arguments are kept, so that no identity is used again."""
    seen: dict[Any, tuple[Any, Any]] = {}

    def remembered(*args: Any, **more: Any) -> Any:
        key = (tuple(map(_key, args)), tuple((name, _key(value)) for name, value in sorted(more.items())))
        if key not in seen:
            seen[key] = (function(*args, **more), (args, more))
        return seen[key][0]

    return remembered


def _key(value: Any) -> Any:
    if isinstance(value, list | tuple):
        return tuple(map(_key, value))
    return value if value is None or isinstance(value, str | int | float | bool) else id(value)
