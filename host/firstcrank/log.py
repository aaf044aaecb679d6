"""Loggers of the packages: silent until somebody asks for a file with `--log`. Nothing of them ever reaches a screen."""

from __future__ import annotations

import logging

ROOT = "firstcrank"


def logger(module: str) -> logging.Logger:
    """The logger of a module, by its `__name__`.

    Without a handler of its own Python would print warnings on standard error: a handler that does nothing stands at the root.
    """
    root = logging.getLogger(ROOT)
    if not root.handlers:
        root.addHandler(logging.NullHandler())
    return logging.getLogger(module)
