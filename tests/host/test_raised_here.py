"""Which exceptions leave a piece of source by its own `raise`, as the check of docstrings reads it."""

from __future__ import annotations

import ast

import pytest

from firstcrank import errors
from tests.host.raised_here import Names, raised


def away(text: str) -> KeyError | OSError:
    return KeyError(text) if text else OSError(text)


def unknown(text: str) -> Exception:
    return KeyError(text)


def silent(text: str):  # type: ignore[no-untyped-def]
    return KeyError(text)


@pytest.mark.parametrize(
    ("body", "classes"),
    [
        ("raise KeyError(1)", {KeyError}),
        ("raise KeyError", {KeyError}),
        ("if x:\n    for y in x:\n        with y:\n            raise KeyError(1)", {KeyError}),
        ("match x:\n    case 1:\n        raise KeyError(1)", {KeyError}),
        ("raise KeyError(1) if x else OSError(1)", {KeyError, OSError}),
        ("raise away('')", {KeyError, OSError}),
        ("raise unknown('')", set()),
        ("raise silent('')", set()),
        ("raise refused(1)", set()),
        ("try:\n    raise KeyError(1)\nexcept LookupError:\n    pass", set()),
        ("try:\n    raise KeyError(1)\nexcept (OSError, KeyError):\n    pass", set()),
        ("try:\n    raise KeyError(1)\nexcept OSError:\n    pass", {KeyError}),
        ("try:\n    raise KeyError(1)\nexcept:\n    pass", set()),
        ("try:\n    raise KeyError(1)\nexcept BaseException:\n    clean()\n    raise", {KeyError}),
        ("try:\n    raise KeyError(1)\nexcept KeyError as error:\n    raise OSError(1) from error", {OSError}),
        ("try:\n    f()\nexcept KeyError:\n    raise", {KeyError}),
        ("try:\n    f()\nexcept KeyError as error:\n    if x:\n        raise error", {KeyError}),
        ("try:\n    f()\nexcept Exception:\n    raise", set()),
        ("try:\n    f()\nexcept KeyError:\n    pass\nelse:\n    raise KeyError(1)", {KeyError}),
        ("try:\n    f()\nfinally:\n    raise KeyError(1)", {KeyError}),
        ("def inner():\n    raise KeyError(1)", set()),
        ("raise errors.StoreError(1)", {errors.StoreError}),
    ],
)
def test_what_leaves_a_function_is_read_from_its_source(body: str, classes: set[type]) -> None:
    assert set(raised(ast.parse(body).body, Names(globals()))) == classes


class Owner:
    """A class with helpers that make the exception to raise."""

    def _method(self) -> KeyError:
        return KeyError(1)

    @staticmethod
    def _static(text: str) -> OSError:
        return OSError(text)


@pytest.mark.parametrize(
    ("call", "classes"), [("self._method()", {KeyError}), ("self._static('')", {OSError}), ("self.no()", set())]
)
def test_a_method_that_makes_the_exception_is_resolved_by_its_annotation(call: str, classes: set[type]) -> None:
    assert set(raised(ast.parse(f"raise {call}").body, Names(globals(), Owner))) == classes
