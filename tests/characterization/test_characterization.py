"""The judge finds in every start of the corpus what it found when the corpus was last looked through.

This says that something changed, not that it is wrong: right and wrong are held by tests/aim, tests/properties and tests/strangers.
After a change that is meant: `python -m tests.characterization.write`, look at every difference, then `--keep`.
"""

from __future__ import annotations

import pytest

from .corpus import at_hand, made
from .expected import expected
from .reduced import differences, found_in


@pytest.mark.parametrize("name", at_hand())
def test_the_judge_finds_what_it_found(name: str) -> None:
    now = found_in(made(name))
    assert not differences(expected()[name], now), (
        f"python -m tests.characterization.write shows all: {differences(expected()[name], now)[:6]}"
    )


def test_a_difference_is_seen() -> None:
    kept = {"a": [1.0, {"b": "PASS"}], "c": 3}
    assert not differences(kept, {"a": [1.0000001, {"b": "PASS"}], "c": 3})
    assert differences(kept, {"a": [1.01, {"b": "PASS"}], "c": 3}) == [".a[0]: 1.0 kept, 1.01 now"]
    assert differences(kept, {"a": [1.0, {"b": "FAIL"}], "c": 3})
    assert differences(kept, {"a": [1.0], "c": 3})
    assert differences(kept, {})
