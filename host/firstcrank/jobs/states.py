"""What a shop says of a start after it was filed: before or after the repair, or that it does not count. Never what the judge says."""

from __future__ import annotations

from enum import StrEnum


class StartState(StrEnum):
    """`NOT_VALID`: recorded wrongly (a lead off, the wrong circuit). `WITHDRAWN`: filed by mistake. Neither counts as the vehicle's."""

    NONE = ""
    BEFORE = "before repair"
    AFTER = "after repair"
    NOT_VALID = "not valid"
    WITHDRAWN = "withdrawn"


UNCOUNTED = (StartState.NOT_VALID, StartState.WITHDRAWN)
TYPED = {str(state).replace(" ", "-"): state for state in StartState if state} | {"none": StartState.NONE}


def counts(state: str) -> bool:
    """Whether a start in this state counts in lists, trends and checklists."""
    return state not in UNCOUNTED
