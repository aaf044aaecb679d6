"""What has been changed on purpose since the golden files were made. Everything that is not written here must stay.

A row is written in the same commit as the change that makes it needed, and says why the new verdict is the right one.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Change:
    """The verdict that is right now and why it is; `cause` is the first likely cause now, None where there is none."""

    verdict: str
    cause: str | None
    why: str


@dataclass(frozen=True, slots=True)
class Reading:
    """Files that are read otherwise now: a pattern of their names, one of the places in their digest, and why it is right."""

    files: str
    places: str
    why: str


# What is read otherwise now.
READINGS: tuple[Reading, ...] = (
    Reading(
        r".*\.fcr",
        r"/calibration/(notes.*|channels/\w+\[[23456]\])",
        "an older calibration says that it is one; uncertainties are kept with six figures; what the wide codes add has terms of its own",
    ),
    Reading(
        r".*\.fcr",
        r"/channels/\w+/uncertainty\[[0123]\]",
        "uncertainties are kept with six figures; the usual terms of an older calibration stand in terms of their own",
    ),
    Reading(
        r".*(mapped|comma)\.csv|slow_in_ms\.tsv",
        r"/channels/\w+/uncertainty\[[13]\]",
        "a logger's channel has its own resolution (in the offset) and noise, estimated from its readings: its uncertainty is larger",
    ),
    Reading(
        r"bins_lost\.fcr",
        r"/holes_s",
        "the board counts what is lost at once and sends what is older first: the hole stands where the index jumps, and only there",
    ),
)

# Case of expected.json -> what is right now.
VERDICTS: dict[str, Change] = {
    name: Change(
        "NO VERDICT",
        None,
        "an export without its header has lost the recording's limits, answers and uncertainty, and nothing proves what they were",
    )
    for name in ("exported_feed_loose.csv", "exported_two_leads.csv")
}

# Word of an old file (a lead's role, a cause, a limit) -> the word that the program has for it now.
RENAMED: dict[str, str] = {}
